"""A mail to whoever is told that a tool is out of service, into the outbox in the same act."""

from email.headerregistry import Address
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import format_datetime
from urllib.parse import urlsplit

from django.conf import settings
from django.utils.translation import gettext as _

from people.presenters.days import format_letter_day
from people.queries.languages import in_language, language_of
from reminders.models import Message
from reminders.queries.readers import address_of
from training.models import ToolOutOfService


def send_tool_note(out: ToolOutOfService) -> bool:
    """Put the mail into the outbox; False where whoever is told has no address."""
    reader = out.told
    address = address_of(reader) if reader else ""
    if reader is None or not address:
        return False
    host = urlsplit(settings.PUBLIC_URL).hostname
    with in_language(language_of(reader)):
        subject, body = _text(out)
    mail = EmailMessage(policy=SMTP)
    mail["Message-ID"] = f"<tool-out-{out.pk}@{host}>"
    mail["Date"] = format_datetime(out.recorded_at.astimezone(out.tool.site.zone))
    mail["From"] = settings.DEFAULT_FROM_EMAIL
    mail["To"] = Address(" ".join(reader.full_name.split()), addr_spec=address)
    mail["Subject"] = subject
    mail["Auto-Submitted"] = "auto-generated"
    mail.set_content(body, cte="quoted-printable")
    mail["Content-Language"] = language_of(reader)
    Message.objects.create(
        carries=Message.Carries.TOOL_NOTE,
        message_id=str(mail["Message-ID"]).strip("<>"),
        site=reader.site,
        person=reader,
        recipient=address,
        day=reader.site.today(out.recorded_at),
        subject=subject,
        raw=mail.as_bytes(),
        due_at=out.recorded_at,
        recorded_at=out.recorded_at,
    )
    return True


def _text(out: ToolOutOfService) -> tuple[str, str]:
    """Subject and body, in the language that is active."""
    words = {
        "code": out.tool.code,
        "day": format_letter_day(out.first_day),
        "reason": out.reason,
        "name": out.entered_by.get_full_name(),
    }
    paragraphs = [
        _("%(code)s is out of service from %(day)s.") % words,
        _("Reason: %(reason)s") % words,
        _("%(name)s entered this. Keep the tool off the benches until it is put back.") % words,
    ]
    subject = _("Tool %(code)s is out of service") % words
    return " ".join(subject.split())[:160], "\n\n".join(paragraphs) + "\n"
