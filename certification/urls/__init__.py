"""Addresses of this app, one module a subject."""

from . import (
    api,
    bench_check,
    calendars,
    certificates,
    health,
    home,
    hooks,
    mail_choices,
    months,
    paper,
    proposals,
    register,
    reminders,
    standing,
    work_log,
)

app_name = "certification"

urlpatterns = [
    *api.urlpatterns,
    *bench_check.urlpatterns,
    *calendars.urlpatterns,
    *certificates.urlpatterns,
    *health.urlpatterns,
    *home.urlpatterns,
    *hooks.urlpatterns,
    *mail_choices.urlpatterns,
    *months.urlpatterns,
    *paper.urlpatterns,
    *proposals.urlpatterns,
    *register.urlpatterns,
    *reminders.urlpatterns,
    *standing.urlpatterns,
    *work_log.urlpatterns,
]
