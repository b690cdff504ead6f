"""Every address of the site: what each app serves, sign-in, and the administrator's pages."""

from allauth.account.decorators import secure_admin_login
from django.contrib import admin
from django.urls import include, path

# The administrator's pages ask for the same sign-in as all others, with its rate limits.
admin.site.login = secure_admin_login(admin.site.login)  # type: ignore[method-assign]

urlpatterns = [
    path("", include("operations.urls")),
    path("", include("interfaces.urls")),
    path("", include("audit.urls")),
    path("", include("reminders.urls")),
    path("", include("certification.urls")),
    path("", include("assessments.urls")),
    path("", include("training.urls")),
    path("", include("people.urls")),
    path("account/", include("allauth.account.urls")),
    path("admin/", admin.site.urls),
]

handler404 = "interfaces.views.api.not_there"
