"""Mails and reminders of somebody whose name is erased."""

from django.db.models import Q

from people.ports import Erasure
from reminders.models import CalendarFeed, MailChoice, Message, Reminder


def erase_mails(erasure: Erasure) -> None:
    """Empty the mails to them and about them, and drop their reminders, feed and choices.

    A mail that has not gone out is withdrawn. That there was one, its day and Message-ID stay.
    """
    person = erasure.person
    about = Message.objects.filter(reminders__person=person)
    theirs = Message.objects.filter(
        Q(person=person)
        | Q(pk__in=about.values("pk"))
        | Q(recipient__in=[text for text in erasure.texts if "@" in text])
    )
    keys = list(theirs.values_list("pk", flat=True))
    messages = Message.objects.filter(pk__in=keys)
    messages.unsent().update(withdrawn_at=erasure.at, why_withdrawn=erasure.reason[:200])
    messages.update(raw=b"", subject="", answer="")
    for message in messages.filter(
        Q(person=person) | Q(recipient__in=[text for text in erasure.texts if "@" in text])
    ):
        message.recipient = f"erased-{message.pk}"
        message.save(update_fields=["recipient"])
    Reminder.objects.filter(Q(person=person) | Q(recipient=person)).delete()
    CalendarFeed.objects.filter(person=person).delete()
    MailChoice.objects.filter(person=person).delete()
