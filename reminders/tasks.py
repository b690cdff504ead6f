"""Background work: the hourly sweep, and the sending that it leaves to be done."""

import logging

from celery import shared_task
from django.utils import timezone
from kombu.exceptions import OperationalError

from reminders import ports
from reminders.services import mail, sweep

log = logging.getLogger(__name__)

SWEEP_ENDS_WITHIN_S = 45 * 60  # before the next one
ROUND_S = 240.0  # after which a round of sending leaves the rest to the next
SENDING_ENDS_WITHIN_S = 10 * 60
GRACE_S = 60


@shared_task(
    name="reminders.sweep",
    soft_time_limit=SWEEP_ENDS_WITHIN_S,
    time_limit=SWEEP_ENDS_WITHIN_S + GRACE_S,
)
def sweep_reminders() -> int:
    """Write what is due into messages, then have them sent; run by beat every hour."""
    swept = sweep.sweep(now=timezone.now())
    ports.sweep_done(timezone.now())
    message_count = sum(site.messages for site in swept)
    if message_count:
        try:
            send_due_messages.delay()
        except (OperationalError, OSError) as error:
            log.info("The next round of sending finds the messages by itself: %s", error)
    return message_count


@shared_task(
    name="reminders.send",
    soft_time_limit=SENDING_ENDS_WITHIN_S,
    time_limit=SENDING_ENDS_WITHIN_S + GRACE_S,
)
def send_due_messages() -> int:
    """Send every message whose time has come; run by beat every minute."""
    heartbeat = ports.sending_watch(timezone.now)
    sending_round = mail.send_due_messages(
        clock=timezone.now, heartbeat=heartbeat, within_s=ROUND_S
    )
    return sending_round.sent
