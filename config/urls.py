"""Every address of the site: what each app serves, sign-in, and the administrator's pages."""

from django.urls import include, path

urlpatterns = [
    path("", include("certification.urls")),
    path("", include("assessments.urls")),
    path("", include("training.urls")),
    path("account/", include("allauth.account.urls")),
]
