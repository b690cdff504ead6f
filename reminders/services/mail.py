"""Sending: each message is claimed, sent outside any transaction, and its fate recorded.

A worker that dies leaves a claim that lapses, and the same bytes with the same Message-ID
go out again: better one mail twice, recognisably, than none.
"""

import logging
import smtplib
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from email import message_from_bytes
from email.message import EmailMessage as MimeMessage
from email.policy import SMTP
from email.utils import parseaddr
from enum import Enum
from types import TracebackType
from typing import Any, cast

from django.conf import settings
from django.core.mail import EmailMessage, get_connection
from django.core.mail.backends.base import BaseEmailBackend
from django.core.mail.backends.smtp import EmailBackend as SmtpBackend
from django.db import transaction
from django.utils.translation import gettext as _

from people.models import User
from records.services import trail
from reminders.domain.reminders import wait_after
from reminders.exceptions import CannotSendAgain
from reminders.models import Message, Reminder
from reminders.models.reminders import MOST_ATTEMPTS
from reminders.queries.pending import check_pending
from reminders.queries.readers import address_of

from .class_letters import addressed_anew, goes_after_another, is_outdated
from .sweep import rewrite_message, withdraw_message

log = logging.getLogger(__name__)

LONGEST_ANSWER = 1000
TRIES_WITHOUT_SERVER = 3


class _FixedMime(MimeMessage):
    """A mail that gives back the bytes it was made from, whatever they are asked for as."""

    raw = b""

    def as_bytes(self, *_args: Any, **_kwargs: Any) -> bytes:
        return self.raw

    def as_string(self, *_args: Any, **_kwargs: Any) -> str:
        return self.raw.decode("ascii", "backslashreplace")


class FixedMail(EmailMessage):
    """Bytes fixed earlier, in the form in which Django's mail back ends take a mail."""

    def __init__(self, recipient: str, raw: bytes) -> None:
        mime = cast(_FixedMime, message_from_bytes(raw, _FixedMime, policy=SMTP))
        mime.raw = raw
        super().__init__(str(mime["Subject"]), from_email=str(mime["From"]), to=[recipient])
        self.mime = mime

    def message(self, **_kwargs: Any) -> Any:
        return self.mime


class MailConnection:
    """A connection to wherever mails go, opened at the first mail and again after an error."""

    def __init__(self) -> None:
        self._connection: BaseEmailBackend | None = None

    def __enter__(self) -> "MailConnection":
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        connection, self._connection = self._connection, None
        if connection is not None:
            try:
                connection.close()
            except (OSError, smtplib.SMTPException):
                log.info("The mail server had closed the connection.")

    def deliver(self, recipient: str, raw: bytes) -> str:
        """Send bytes as they are; return what the mail server answered.

        Raises
        ------
        OSError, SMTPException
            If they were not, or perhaps not, taken.
        """
        try:
            connection = self._open()
            if isinstance(connection, SmtpBackend) and connection.connection:
                return _send_by_smtp(connection.connection, recipient, raw)
            connection.send_messages([FixedMail(recipient, raw)])
        except BaseException:
            self.close()
            raise
        return _("Put into the outbox folder.")

    def _open(self) -> BaseEmailBackend:
        used = self._connection.connection if isinstance(self._connection, SmtpBackend) else None
        if used is not None and not _is_open(used):
            self.close()
        if self._connection is None:
            self._connection = get_connection()
            self._connection.open()
        return self._connection


def _is_open(smtp: smtplib.SMTP) -> bool:
    """Whether a connection that has been used is still there."""
    try:
        return smtp.noop()[0] == 250
    except (OSError, smtplib.SMTPException):
        return False


def _send_by_smtp(smtp: smtplib.SMTP, recipient: str, raw: bytes) -> str:
    """Send by SMTP and keep the answer, which names the mail in the server's own log."""
    sender = parseaddr(settings.DEFAULT_FROM_EMAIL)[1]
    smtp.ehlo_or_helo_if_needed()
    code, answer = smtp.mail(sender)
    if code != 250:
        raise smtplib.SMTPSenderRefused(code, answer, sender)
    code, answer = smtp.rcpt(recipient)
    if code not in (250, 251):
        raise smtplib.SMTPRecipientsRefused({recipient: (code, answer)})
    code, answer = smtp.data(raw)
    if code != 250:
        raise smtplib.SMTPDataError(code, answer)
    return _in_words(code, answer)


def _in_words(code: int, answer: bytes | str) -> str:
    text = answer.decode("utf-8", "replace") if isinstance(answer, bytes) else answer
    return f"{code} {' '.join(text.split())}"[:LONGEST_ANSWER]


def deliver(recipient: str, raw: bytes) -> str:
    """Send one mail as it is; return what the mail server answered."""
    with MailConnection() as mail_connection:
        return mail_connection.deliver(recipient, raw)


# Messages


class SendResult(Enum):
    SENT = "sent"
    REFUSED = "refused"
    NO_SERVER = "no server"
    WITHDRAWN = "withdrawn"
    NOT_DUE = "not due"


def send_message(
    message_id: int,
    *,
    now: datetime,
    on: date | None = None,
    mail_connection: MailConnection | None = None,
) -> SendResult:
    """Send one message if it is still due and still true.

    What is no longer needed is left out of it first. A message of another day than the
    site's waits for the sweep, which puts what still holds into the day's own. A letter about
    a class is true until another about it follows, and goes out after those before it.

    Parameters
    ----------
    message_id : int
    now : datetime
    on : date or None
        The day to judge by; by default the site's.
    mail_connection : MailConnection or None
        A connection to use.
    """
    message = Message.objects.select_related("site").filter(pk=message_id).first()
    if message is None:
        return SendResult.NOT_DUE
    is_letter = message.carries != Message.Carries.REMINDERS
    if not is_letter and on is None and message.day != message.site.today(now):
        return SendResult.NOT_DUE
    # Asked before the claim: a claim of an earlier letter that comes later finds this one.
    if is_letter and goes_after_another(message, now):
        return SendResult.NOT_DUE
    if not Message.objects.claim(message_id, now):
        return SendResult.NOT_DUE
    message.refresh_from_db(fields=["claimed_at", "attempts", "raw", "recipient"])
    raw = _current_bytes(message, now, on or message.site.today(now))
    if raw is None:
        return SendResult.WITHDRAWN
    mine = Message.objects.filter(pk=message_id, claimed_at=now, sent_at__isnull=True)
    try:
        answer = (
            mail_connection.deliver(message.recipient, raw)
            if mail_connection
            else deliver(message.recipient, raw)
        )
    except (OSError, smtplib.SMTPException) as error:
        server_answer, refused = error_answer(error)
        given_up = refused or message.attempts >= MOST_ATTEMPTS
        mine.update(
            claimed_at=None,
            answer=server_answer,
            refused=refused,
            due_at=now + wait_after(message.attempts),
            failed_at=now if given_up else None,
        )
        log.warning("Message %s was not sent: %s", message_id, server_answer)
        return (
            SendResult.REFUSED
            if refused or not _is_server_unreachable(error)
            else SendResult.NO_SERVER
        )
    Message.objects.filter(pk=message_id, sent_at__isnull=True).update(
        sent_at=now, claimed_at=None, answer=answer
    )
    return SendResult.SENT


def _current_bytes(message: Message, now: datetime, day: date) -> bytes | None:
    """The bytes to send, written anew if some of it no longer holds; None if nothing does."""
    if message.carries != Message.Carries.REMINDERS:
        return _current_letter(message, now)
    rows = message.reminders.filter(state=Reminder.State.WRITTEN)
    here: list[Reminder] = []
    elsewhere: list[Reminder] = []
    for row in rows.select_related("person__site", "recipient__site"):
        (here if address_of(row.recipient) == message.recipient else elsewhere).append(row)
    pending = check_pending(here, now, day)
    if not pending.obsolete and not elsewhere:
        return bytes(message.raw)
    letter = rewrite_message(message, pending, elsewhere, now, day)
    return letter.raw if letter else None


def _current_letter(message: Message, now: datetime) -> bytes | None:
    """A letter or note, to the address that its reader has by now; given up if there is none.

    Withdrawn where a later letter has taken its place.
    """
    mine = Message.objects.unsent().filter(pk=message.pk, claimed_at=message.claimed_at)
    if is_outdated(message):
        why = _("A later letter about the class takes its place.")
        mine.update(withdrawn_at=now, claimed_at=None, why_withdrawn=why)
        return None
    address = address_of(message.person) if message.person else message.recipient
    if address == message.recipient:
        return bytes(message.raw)
    if not address:
        why = _("There is no address to write to.")
        mine.update(failed_at=now, claimed_at=None, answer=why)
        return None
    raw = addressed_anew(message, address)
    mine.update(recipient=address, raw=raw)
    message.recipient = address
    return raw


def error_answer(error: Exception) -> tuple[str, bool]:
    """The server's answer in words, and whether it is for good (RFC 5321: a reply 5yz)."""
    if isinstance(error, smtplib.SMTPRecipientsRefused):
        code, answer = next(iter(error.recipients.values()))
        return _in_words(code, answer), code >= 500
    if isinstance(error, smtplib.SMTPResponseException):
        # A sender or password that is refused is the site's to put right, not the reader's.
        for_good = isinstance(error, smtplib.SMTPDataError) and error.smtp_code >= 500
        return _in_words(error.smtp_code, error.smtp_error), for_good
    return f"{type(error).__name__}: {error}"[:LONGEST_ANSWER], False


def _is_server_unreachable(error: Exception) -> bool:
    return not isinstance(error, smtplib.SMTPRecipientsRefused | smtplib.SMTPDataError)


@dataclass
class SendingRound:
    """What one round of sending did."""

    sent: int = 0
    not_sent: int = 0


def send_due_messages(
    *,
    clock: Callable[[], datetime],
    on: date | None = None,
    heartbeat: Callable[[], None] = lambda: None,
    within_s: float | None = None,
) -> SendingRound:
    """Send everything that is due, the oldest first; what beat runs every minute.

    Stops early where there is no mail server to be reached, since the next round is near.

    Parameters
    ----------
    clock : callable
        Gives the instant; asked again for each message, since sending takes its time.
    on : date or None
        The day to judge by; by default that of each site.
    heartbeat : callable
        Called before every message, so that it is seen that the round goes on.
    within_s : float, optional
        Begin no further message after so many seconds; go on to the end by default.
    """
    heartbeat()
    begun = time.monotonic()
    _give_up_after_crashes(clock())
    sending_round, unreachable_count = SendingRound(), 0
    due = Message.objects.due(clock()).order_by("due_at", "pk").values_list("pk", flat=True)
    with MailConnection() as mail_connection:
        for message_id in list(due):
            if within_s is not None and time.monotonic() - begun >= within_s:
                break
            heartbeat()
            result = send_message(message_id, now=clock(), on=on, mail_connection=mail_connection)
            sending_round.sent += result is SendResult.SENT
            sending_round.not_sent += result in (SendResult.REFUSED, SendResult.NO_SERVER)
            unreachable_count = unreachable_count + 1 if result is SendResult.NO_SERVER else 0
            if unreachable_count >= TRIES_WITHOUT_SERVER:
                break
    return sending_round


def _give_up_after_crashes(now: datetime) -> None:
    """Set aside messages whose every attempt ended with the worker's own end."""
    Message.objects.due(now).filter(attempts__gte=MOST_ATTEMPTS).update(
        failed_at=now, claimed_at=None, answer=_("The worker stopped at every attempt.")
    )


@transaction.atomic
def send_again(*, message: Message, actor: User, at: datetime) -> None:
    """Try a message again that had been given up; raise CannotSendAgain for any other.

    On its day, to the same address, the same bytes go out; those of a letter or note on any
    day. Otherwise what still holds goes into the next message to the reader.
    """
    failed = Message.objects.unsent().filter(pk=message.pk, failed_at__isnull=False)
    same_address = message.person is None or address_of(message.person) == message.recipient
    is_letter = message.carries != Message.Carries.REMINDERS
    if is_letter and is_outdated(message):
        raise CannotSendAgain(_("A later letter about the class takes its place."))
    if is_letter and not same_address:
        raise CannotSendAgain(_("The address has changed since. Tell them yourself."))
    if is_letter or (same_address and message.day == message.site.today(at)):
        changed = failed.update(
            failed_at=None, refused=False, attempts=0, claimed_at=None, due_at=at
        )
    else:
        changed = failed.exists() and withdraw_message(
            message.pk, at, _("What it held goes into a later message.")
        )
    if not changed:
        raise CannotSendAgain(_("Only a message that was given up can be sent again."))
    trail.record(actor=actor, act="message sent again", about=message, at=at)


def text_of(message: Message) -> str:
    """The plain text of a message as it goes out."""
    part = message_from_bytes(bytes(message.raw), policy=SMTP).get_body(("plain",))
    return "" if part is None else str(part.get_content())
