"""Mails and reminders of somebody whose name is erased."""

from collections.abc import Iterator
from email import message_from_bytes
from email.policy import SMTP

from django.db.models import Q

from assessments.models import Paper
from people.models import Person
from people.ports import Erasure
from reminders.models import CalendarFeed, MailChoice, Message, Reminder
from reminders.queries.readers import usable_address
from training.models import ClassLetter, ToolOutOfService

from .sweep import let_wait_again


def erase_mails(erasure: Erasure) -> None:
    """Empty the mails to them and about them, and drop their reminders, feed and choices.

    A mail that has not gone out is withdrawn, and what it held of others goes into a later one.
    That there was one, its day and Message-ID stay.
    """
    person = erasure.person
    about = Message.objects.filter(reminders__person=person)
    addresses = {address for text in erasure.texts if (address := usable_address(text))}
    naming = {*_to_leads_about(erasure), *_notes_of(person)}
    theirs = Message.objects.filter(
        Q(person=person)
        | Q(pk__in=about.values("pk"))
        | Q(pk__in=naming)
        | Q(recipient__in=addresses)
    )
    keys = list(theirs.values_list("pk", flat=True))
    messages = Message.objects.filter(pk__in=keys)
    # What is being sent just now may reach its reader, and nobody is reminded twice; what is held
    # here nobody takes up any more.
    free = list(
        messages.unsent()
        .unclaimed(erasure.at)
        .select_for_update(of=("self",))
        .order_by("pk")
        .values_list("pk", flat=True)
    )
    messages.unsent().update(withdrawn_at=erasure.at, why_withdrawn=erasure.reason[:200])
    messages.update(raw=b"", subject="", answer="")
    for message in messages.filter(Q(person=person) | Q(recipient__in=addresses)):
        message.recipient = f"erased-{message.pk}"
        message.save(update_fields=["recipient"])
    Reminder.objects.filter(Q(person=person) | Q(recipient=person)).delete()
    let_wait_again(Reminder.objects.filter(message__in=free))
    CalendarFeed.objects.filter(person=person).delete()
    MailChoice.objects.filter(person=person).delete()


def _to_leads_about(erasure: Erasure) -> Iterator[int]:
    """Mails to line leads that say what those were written who are named in them."""
    letters = ClassLetter.objects.filter(person=erasure.person)
    sent = Message.objects.filter(
        carries=Message.Carries.CLASS_LETTER,
        message_id__contains=".lead@",
        recorded_at__in=set(letters.order_by().values_list("recorded_at", flat=True)),
    )
    for pk, raw in sent.order_by("pk").values_list("pk", "raw"):
        body = message_from_bytes(bytes(raw), policy=SMTP).get_body()
        said = body.get_content() if body is not None else ""
        if any(text in said for text in erasure.texts):
            yield pk


def _notes_of(person: Person) -> Iterator[int]:
    """Notes to others that say who handed a written test out, or took a tool out of service."""
    papers = Paper.objects.filter(handed_out_by__person=person)
    tools = ToolOutOfService.objects.filter(entered_by__person=person)
    for carries, beginning, rows in (
        (Message.Carries.PAPER_NOTE, "paper-", papers),
        (Message.Carries.TOOL_NOTE, "tool-out-", tools),
    ):
        theirs = {f"{beginning}{key}" for key in rows.values_list("pk", flat=True)}
        notes = Message.objects.filter(carries=carries) if theirs else Message.objects.none()
        for pk, message_id in notes.values_list("pk", "message_id"):
            if message_id.partition("@")[0] in theirs:
                yield pk
