"""Background work: the hourly sweep, and the sending that it leaves to be done."""

import logging

from celery import shared_task
from django.utils import timezone
from kombu.exceptions import OperationalError

from reminders import ports
from reminders.services import mail, sweep

log = logging.getLogger(__name__)


@shared_task(name="reminders.sweep")
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


@shared_task(name="reminders.send")
def send_due_messages() -> int:
    """Send every message whose time has come; run by beat every minute."""
    heartbeat = ports.sending_watch(timezone.now)
    return mail.send_due_messages(clock=timezone.now, heartbeat=heartbeat).sent
