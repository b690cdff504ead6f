"""Addresses of this app, one module a subject."""

from . import health, setup

app_name = "operations"

urlpatterns = [
    *health.urlpatterns,
    *setup.urlpatterns,
]
