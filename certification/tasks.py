"""Background work: registers as they were known, a round at a time, and plans of classes."""

import logging

from celery import shared_task
from django.utils import timezone
from kombu.exceptions import OperationalError

from certification.services import class_plans, known_registers

log = logging.getLogger(__name__)

THROWING_AWAY_ENDS_WITHIN_S = 25 * 60
GRACE_S = 60


@shared_task(name="known_registers.work_out")
def work_out_known_registers() -> bool:
    """Work one round on a register as it was known, and leave the rest to the next message.

    Run by beat every minute, and at once when somebody asks.
    """
    unfinished = known_registers.work_out_next(clock=timezone.now)
    if unfinished:
        try:
            work_out_known_registers.delay()
        except (OperationalError, OSError) as error:
            log.info("The next minute goes on by itself: %s", error)
    return unfinished


@shared_task(
    name="known_registers.throw_away_old",
    soft_time_limit=THROWING_AWAY_ENDS_WITHIN_S,
    time_limit=THROWING_AWAY_ENDS_WITHIN_S + GRACE_S,
)
def throw_away_old_known_registers() -> int:
    """Make room; run by beat once a day."""
    return known_registers.throw_away_old(now=timezone.now())


@shared_task(name="class_plans.work_out")
def work_out_class_plans() -> bool:
    """Work out one plan of classes, and leave the others to the next message.

    Run by beat every minute, and at once when somebody asks.
    """
    unfinished = class_plans.work_out_next(clock=timezone.now)
    if unfinished:
        try:
            work_out_class_plans.delay()
        except (OperationalError, OSError) as error:
            log.info("The next minute goes on by itself: %s", error)
    return unfinished


@shared_task(name="class_plans.throw_away_old")
def throw_away_old_class_plans() -> int:
    """Make room; run by beat once a day."""
    return class_plans.throw_away_old(now=timezone.now())
