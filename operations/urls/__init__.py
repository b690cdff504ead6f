"""Addresses of this app, one module a subject."""

from . import health, metrics, retention, setup

app_name = "operations"

urlpatterns = [
    *health.urlpatterns,
    *metrics.urlpatterns,
    *retention.urlpatterns,
    *setup.urlpatterns,
]
