"""Addresses of this app, one module a subject."""

from . import who_was_that, work_log

app_name = "audit"

urlpatterns = [
    *who_was_that.urlpatterns,
    *work_log.urlpatterns,
]
