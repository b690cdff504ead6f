"""Test mails: asked for, sent by the worker as other mails are, and seen to arrive by their link.

The link proves that the mail came to where somebody reads it, which no answer of a mail server
does. It is signed, so that nobody can make one, and good once.
"""

import logging
import smtplib
from collections.abc import Callable
from datetime import datetime, timedelta
from email.headerregistry import Address
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import format_datetime
from urllib.parse import urlsplit
from uuid import uuid4

import celery
from django.conf import settings
from django.core import signing
from django.db import transaction
from django.urls import reverse
from django.utils.translation import gettext as _
from kombu.exceptions import OperationalError

from operations.exceptions import LinkIsOver, TrialRefused
from operations.models import MailTrial
from operations.models.mail_trials import LINK_IS_GOOD_FOR
from operations.queries.mail_trials import mail_server
from people.models import User
from people.ports import Erasure
from people.queries.languages import in_language, language_of
from records.services import trail
from reminders.services import mail

log = logging.getLogger(__name__)

SALT = "operations.mail_trial"
SEND_TRIALS = "reminders.send_trials"
MOST_AN_HOUR = 10
AGAIN_AFTER = timedelta(seconds=20)


@transaction.atomic
def ask_for_trial(*, recipient: str, actor: User, at: datetime) -> MailTrial:
    """Have a test mail sent to an address.

    Raises
    ------
    TrialRefused
        If one to this address is on its way already, or the actor has asked for many.
    """
    # Two presses of the button would each find that none is on its way.
    User.objects.select_for_update(of=("self",)).get(pk=actor.pk)
    own = MailTrial.objects.filter(asked_by=actor, asked_at__range=(at - timedelta(hours=1), at))
    if own.filter(recipient=recipient, asked_at__gt=at - AGAIN_AFTER).exists():
        raise TrialRefused(
            _("A test mail to %(address)s is on its way already: wait until it is there.")
            % {"address": recipient}
        )
    if own.count() >= MOST_AN_HOUR:
        raise TrialRefused(_("You have asked for ten test mails within an hour: wait a while."))
    trial = MailTrial.objects.create(
        recipient=recipient, server=mail_server(), raw=b"", asked_by=actor, asked_at=at
    )
    trial.raw = _written(trial, at)
    trial.save(update_fields=["raw"])
    trail.record(
        actor=actor,
        act="test mail asked for",
        about=trial,
        payload={"recipient": recipient, "server": trial.server},
        at=at,
    )
    transaction.on_commit(_wake_worker, robust=True)
    return trial


def _wake_worker() -> None:
    """Have it sent at once; a worker that does not hear it finds the row within the minute."""
    try:
        celery.current_app.send_task(SEND_TRIALS)
    except (OperationalError, OSError) as error:
        log.info("The next round finds the test mail by itself: %s", error)


def _written(trial: MailTrial, at: datetime) -> bytes:
    person = trial.asked_by.person
    language = language_of(person)
    link = settings.PUBLIC_URL.rstrip("/") + reverse(
        "operations:mail_arrived", args=[token_of(trial)]
    )
    with in_language(language):
        subject = _("Test mail of Jointworthy")
        body = _(
            "%(name)s asked for this mail at %(place)s, to see whether mail gets through.\n\n"
            "Follow this link to say that it has arrived. It works once, within seven days:\n\n"
            "%(link)s\n\n"
            "Reminders come from the same sender by the same way."
        ) % {"name": str(trial.asked_by), "place": settings.PUBLIC_URL, "link": link}
    message = EmailMessage(policy=SMTP)
    message["Message-ID"] = f"<{uuid4().hex}@{urlsplit(settings.PUBLIC_URL).hostname}>"
    message["Date"] = format_datetime(at.astimezone(person.site.zone) if person else at)
    message["From"] = settings.DEFAULT_FROM_EMAIL
    message["To"] = Address(addr_spec=trial.recipient)
    message["Subject"] = subject
    message["Auto-Submitted"] = "auto-generated"
    message.set_content(body + "\n", cte="quoted-printable")
    message["Content-Language"] = language
    return message.as_bytes()


def send_due_trials(*, clock: Callable[[], datetime]) -> int:
    """Send every test mail that was asked for; return how many went out.

    What the mail server refuses is given up at once: whoever asked wants to know, and asks again.
    """
    sent = 0
    for trial_id in list(MailTrial.objects.due(clock()).values_list("pk", flat=True)):
        now = clock()
        if MailTrial.objects.claim(trial_id, now):
            sent += _send(MailTrial.objects.get(pk=trial_id), now)
    return sent


def _send(trial: MailTrial, now: datetime) -> bool:
    mine = MailTrial.objects.filter(pk=trial.pk, claimed_at=now, sent_at__isnull=True)
    try:
        answer = mail.deliver(trial.recipient, bytes(trial.raw))
    except (OSError, smtplib.SMTPException) as error:
        answer, _for_good = mail.error_answer(error)
        mine.update(claimed_at=None, answer=answer, failed_at=now)
        log.warning("Test mail %s was not sent: %s", trial.pk, answer)
        return False
    mine.update(claimed_at=None, answer=answer, sent_at=now)
    return True


def token_of(trial: MailTrial) -> str:
    """What stands in the link of a test mail, which nobody else can make."""
    return signing.dumps(trial.pk, salt=SALT)


def trial_by(token: str) -> MailTrial:
    """The test mail to whose link this belongs; raise LinkIsOver for any other, or an old one."""
    try:
        number = signing.loads(token, salt=SALT, max_age=LINK_IS_GOOD_FOR)
    except signing.SignatureExpired as error:
        raise LinkIsOver(
            _(
                "This link was good for seven days. Send another test mail from the page "
                "“Setting up”."
            )
        ) from error
    except signing.BadSignature as error:
        raise LinkIsOver(
            _("This link is not whole. Copy all of it from the mail, or open it there.")
        ) from error
    return MailTrial.objects.defer("raw").select_related("asked_by__person__site").get(pk=number)


@transaction.atomic
def note_arrival(*, trial: MailTrial, actor: User | None, at: datetime) -> bool:
    """Note that the link of a test mail was followed; return False where it had been before."""
    unseen = MailTrial.objects.filter(pk=trial.pk, followed_at__isnull=True)
    # Whoever reads it before the worker has noted the answer knows better than the worker.
    if not unseen.update(followed_at=at):
        return False
    trail.record(actor=actor, act="test mail arrived", about=trial, at=at)
    return True


def erase_trials(erasure: Erasure) -> None:
    """Drop the test mails to the addresses of somebody whose name is erased."""
    addresses = [text for text in erasure.texts if "@" in text]
    MailTrial.objects.filter(recipient__in=addresses).delete()
