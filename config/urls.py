"""Every address of the site: what each app serves, sign-in, and the administrator's pages."""

from typing import Any

from allauth.account.decorators import secure_admin_login
from allauth.mfa.models import Authenticator
from django.contrib import admin
from django.http import HttpRequest
from django.shortcuts import redirect
from django.urls import include, path

# The administrator's pages ask for the same sign-in as all others, with its rate limits.
admin.site.login = secure_admin_login(admin.site.login)  # type: ignore[method-assign]


def change_password(request: HttpRequest, extra_context: Any = None) -> Any:
    """A password changes on one page alone, which knows of one-time passwords."""
    return redirect("account_change_password")


admin.site.password_change = change_password  # type: ignore[method-assign]

# Second factors are changed by their owner, and reset with a reason, on pages of this site alone.
admin.site.unregister(Authenticator)

urlpatterns = [
    path("", include("operations.urls")),
    path("", include("interfaces.urls")),
    path("", include("audit.urls")),
    path("", include("reminders.urls")),
    path("", include("certification.urls")),
    path("", include("assessments.urls")),
    path("", include("training.urls")),
    path("", include("people.urls")),
    path("account/", include("people.urls.account")),
    path("admin/", admin.site.urls),
]

handler404 = "interfaces.views.api.not_there"
