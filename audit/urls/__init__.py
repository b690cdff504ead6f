"""Addresses of this app, one module a subject."""

from . import evidence_packs, people_lists, who_was_that, work_log

app_name = "audit"

urlpatterns = [
    *evidence_packs.urlpatterns,
    *people_lists.urlpatterns,
    *who_was_that.urlpatterns,
    *work_log.urlpatterns,
]
