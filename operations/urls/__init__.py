"""Addresses of this app, one module a subject."""

from . import health

app_name = "operations"

urlpatterns = [
    *health.urlpatterns,
]
