"""Background work: checks of work logs, and what lists of people leave to do."""

from celery import shared_task
from django.utils import timezone

from audit.services import people_lists, work_log_checks

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


@shared_task(name=people_lists.SEND_LINKS)
def send_links(list_id: int) -> int:
    """Send the links of one list of people; an unknown one is nobody's work."""
    return people_lists.send_links(list_id)


@shared_task(name="people_lists.send_due_links")
def send_due_links() -> int:
    """Send the links that a lost message or a dead worker left; run by beat."""
    return people_lists.send_due_links()


@shared_task(name="people_lists.forget_expired")
def forget_expired_lists() -> int:
    """Delete the lists that nobody took in while they were kept; run by beat."""
    return people_lists.forget_expired(timezone.now())
