"""Addresses of this app, one module a subject."""

from . import health, metrics, setup

app_name = "operations"

urlpatterns = [
    *health.urlpatterns,
    *metrics.urlpatterns,
    *setup.urlpatterns,
]
