"""Background work: checks of work logs."""

from celery import shared_task
from django.utils import timezone

from audit.services import work_log_checks

CHECK_ENDS_WITHIN_S = 25 * 60
GRACE_S = 60


@shared_task(
    name="work_logs.check",
    soft_time_limit=CHECK_ENDS_WITHIN_S,
    time_limit=CHECK_ENDS_WITHIN_S + GRACE_S,
)
def check_work_log(check_id: int) -> bool:
    """Run one work-log check; an unknown one is nobody's work."""
    return work_log_checks.run_check(check_id=check_id, clock=timezone.now)


@shared_task(
    name="work_logs.check_due",
    soft_time_limit=CHECK_ENDS_WITHIN_S,
    time_limit=CHECK_ENDS_WITHIN_S + GRACE_S,
)
def check_work_logs() -> int:
    """Run the work-log checks that a lost message or a dead worker left; run by beat."""
    return work_log_checks.run_due_checks(clock=timezone.now)
