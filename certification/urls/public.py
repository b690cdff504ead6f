"""What anybody may open: a certificate by number and code, and what credentials rest on."""

from django.urls import path

from certification.views import public as views

urlpatterns = [
    path("c/", views.public_check, name="public_check"),
    path("c/<path:number>/<str:code>/", views.public_certificate, name="public_certificate"),
    path(".well-known/jwks.json", views.signing_keys, name="signing_keys"),
    path(
        ".well-known/jwt-vc-issuer/credentials/issuer",
        views.issuer_metadata,
        name="issuer_metadata",
    ),
    path("credentials/issuer", views.credential_issuer, name="credential_issuer"),
    path("credentials/status/<int:status_list>", views.status_list, name="status_list"),
]
