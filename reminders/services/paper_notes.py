"""A mail to each who is handed a written test, into the outbox in the same act."""

from collections.abc import Collection
from email.headerregistry import Address
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import format_datetime
from urllib.parse import urlsplit

from django.conf import settings
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from assessments.models import Paper
from people.presenters.days import format_letter_day
from people.queries.languages import in_language, language_of
from reminders.models import Message
from reminders.queries.readers import address_of


def send_paper_notes(papers: Collection[Paper]) -> set[int]:
    """Put a mail for each paper into the outbox; the keys of those whose people have an address."""
    messages = [message for paper in papers if (message := _message(paper)) is not None]
    Message.objects.bulk_create(message for _pk, message in messages)
    return {pk for pk, _message in messages}


def _message(paper: Paper) -> tuple[int, Message] | None:
    reader, address = paper.person, address_of(paper.person)
    if not address:
        return None
    host = urlsplit(settings.PUBLIC_URL).hostname
    with in_language(language_of(reader)):
        subject, body = _text(paper)
    mail = EmailMessage(policy=SMTP)
    mail["Message-ID"] = f"<paper-{paper.pk}@{host}>"
    mail["Date"] = format_datetime(paper.recorded_at.astimezone(paper.site.zone))
    mail["From"] = settings.DEFAULT_FROM_EMAIL
    mail["To"] = Address(" ".join(reader.full_name.split()), addr_spec=address)
    mail["Subject"] = subject
    mail["Auto-Submitted"] = "auto-generated"
    mail.set_content(body, cte="quoted-printable")
    mail["Content-Language"] = language_of(reader)
    return paper.pk, Message(
        carries=Message.Carries.PAPER_NOTE,
        message_id=str(mail["Message-ID"]).strip("<>"),
        site=reader.site,
        person=reader,
        recipient=address,
        day=reader.site.today(paper.recorded_at),
        subject=subject,
        raw=mail.as_bytes(),
        due_at=paper.recorded_at,
        recorded_at=paper.recorded_at,
    )


def _text(paper: Paper) -> tuple[str, str]:
    """Subject and body, in the language that is active."""
    test = paper.test
    words = {
        "test": test.title,
        "number": paper.number,
        "day": format_letter_day(paper.not_before),
        "name": paper.handed_out_by.get_full_name(),
        "n": test.minutes,
    }
    limit = ngettext(
        "Once begun, it is over after %(n)d minute.",
        "Once begun, it is over after %(n)d minutes.",
        test.minutes,
    )
    paragraphs = [
        _("%(name)s has handed a written test out to you: %(test)s, paper %(number)s.") % words,
        _("It can be taken from %(day)s on.") % words,
    ]
    if paper.medium == Paper.Medium.SCREEN:
        address = settings.PUBLIC_URL + reverse("assessments:paper_detail", args=[paper.number])
        paragraphs += [limit % words, address]
    else:
        paragraphs += [_("It is taken on paper: %(name)s brings it.") % words]
    subject = _("Written test: %(test)s") % words
    return " ".join(subject.split())[:160], "\n\n".join(paragraphs) + "\n"
