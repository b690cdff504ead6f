"""What is kept about reminders of somebody, and mails to them."""

from collections.abc import Iterator

from django.utils.translation import gettext_lazy as _

from people.models import Person
from people.ports import DataTable
from reminders.models import CalendarFeed, MailChoice, Message, Reminder

RECORDED = _("instant at which it was recorded, UTC")


def personal_data(person: Person) -> Iterator[DataTable]:
    yield DataTable(
        "reminders",
        _("Reminders about them"),
        {
            "about": ("source", _("what they are about")),
            "ends_on": ("ends_on", _("last good day")),
            "days_before": ("step", _("days before; -1 is the day after")),
            "reader": ("recipient__full_name", _("whom it was for")),
            "state": ("state", _("what became of it")),
            "recorded_at": ("recorded_at", RECORDED),
        },
        Reminder.objects.filter(person=person).order_by("pk"),
        is_result=True,
    )
    yield DataTable(
        "mails",
        _("Mails to them"),
        {
            "message_id": ("message_id", _("Message-ID")),
            "address": ("recipient", _("address")),
            "sent_at": ("sent_at", _("instant it was sent, UTC")),
            "recorded_at": ("recorded_at", RECORDED),
        },
        Message.objects.filter(person=person).order_by("pk"),
    )
    yield DataTable(
        "mail_choice",
        _("How often they chose to be sent lists about others"),
        {"lists": ("lists", _("how often"))},
        MailChoice.objects.filter(person=person).order_by("pk"),
    )
    yield DataTable(
        "calendar",
        _("The private address of their calendar, of which a hash alone is kept"),
        {
            "made_at": ("made_at", _("instant at which it was made, UTC")),
            "in_full": ("in_full", _("whether it says what kind of end it is")),
            "last_read_on": ("last_read_on", _("day on which it was last fetched")),
        },
        CalendarFeed.objects.filter(person=person).order_by("pk"),
    )
