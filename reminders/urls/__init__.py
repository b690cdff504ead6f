"""Addresses of this app, one module a subject."""

from . import calendars, mail_choices, reminders

app_name = "reminders"

urlpatterns = [
    *calendars.urlpatterns,
    *mail_choices.urlpatterns,
    *reminders.urlpatterns,
]
