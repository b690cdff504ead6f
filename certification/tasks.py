"""Background work: what beat starts, and what a sweep leaves to be sent."""

import logging

from celery import shared_task
from django.utils import timezone
from kombu.exceptions import OperationalError

from .models import Heartbeat
from .services import (
    health,
    hook_sending,
    hooks,
    known_registers,
    mail,
    reminders,
    work_log_checks,
)

log = logging.getLogger(__name__)


@shared_task
def sweep_reminders() -> int:
    """Write what is due into messages, then have them sent; run by beat every hour."""
    swept = reminders.sweep(now=timezone.now())
    health.note(Heartbeat.Kind.SWEEP, timezone.now())
    health.forget_the_dead(timezone.now())
    written = sum(one.messages for one in swept)
    if written:
        try:
            send_due_messages.delay()
        except (OperationalError, OSError) as error:
            log.info("The next round of sending finds the messages by itself: %s", error)
    return written


@shared_task
def send_due_messages() -> int:
    """Send every message whose time has come; run by beat every minute."""
    noting = health.noting(timezone.now)
    return mail.send_due_messages(clock=timezone.now, alive=noting).sent


@shared_task
def work_out_known_registers() -> bool:
    """Work one round on a register as it was known, and leave the rest to the next message.

    Run by beat every minute, and at once when somebody asks.
    """
    left = known_registers.work_out_next(clock=timezone.now)
    if left:
        try:
            work_out_known_registers.delay()
        except (OperationalError, OSError) as error:
            log.info("The next minute goes on by itself: %s", error)
    return left


@shared_task
def throw_away_old_known_registers() -> int:
    """Make room; run by beat once a day."""
    return known_registers.throw_away_old(now=timezone.now())


@shared_task
def tell_web_hooks() -> int:
    """Write what is news to web hooks, then send what is due; run by beat every minute."""
    hooks.write_news(timezone.now())
    return hook_sending.send_due(clock=timezone.now).taken


@shared_task
def check_work_log(check_id: int) -> bool:
    """Run one work-log check; an unknown one is nobody's work."""
    return work_log_checks.run_check(check_id=check_id, clock=timezone.now)


@shared_task
def check_work_logs() -> int:
    """Run the work-log checks that a lost message or a dead worker left; run by beat."""
    return work_log_checks.run_due_checks(clock=timezone.now)
