"""Background work: checks of work logs, evidence packs, what lists of people leave to do."""

from celery import shared_task
from django.utils import timezone

from audit.presenters.pack_contents import PackContents
from audit.services import evidence_packs, list_steps, people_lists, work_log_checks

CHECK_ENDS_WITHIN_S = 25 * 60
GRACE_S = 60
LISTS_END_WITHIN_S = 25 * 60
"""A round of one list is short; several may wait."""
PACK_ENDS_WITHIN_S = 55 * 60
"""A round of a pack is short; one large file of it, such as the trail, may take longer."""


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


@shared_task(name=list_steps.SEND_LINKS)
def send_links(list_id: int) -> int:
    """Send the links of one list of people; an unknown one is nobody's work."""
    return people_lists.send_links(list_id)


@shared_task(name="people_lists.send_due_links")
def send_due_links() -> int:
    """Send the links that a lost message or a dead worker left; run by beat."""
    return people_lists.send_due_links()


@shared_task(name=list_steps.WORK)
def work_on_list(list_id: int) -> bool:
    """Go on with a long list of people; an unknown one is nobody's work."""
    return list_steps.work_on(list_id, clock=timezone.now)


@shared_task(
    name="people_lists.work_due",
    soft_time_limit=LISTS_END_WITHIN_S,
    time_limit=LISTS_END_WITHIN_S + GRACE_S,
)
def work_on_lists() -> int:
    """Go on with the long lists that a lost message or a dead worker left; run by beat."""
    return list_steps.work_on_due(clock=timezone.now)


@shared_task(name="people_lists.forget_expired")
def forget_expired_lists() -> int:
    """Delete the lists that nobody took in while they were kept; run by beat."""
    return people_lists.forget_expired(timezone.now())


@shared_task(
    name=evidence_packs.BUILD,
    soft_time_limit=PACK_ENDS_WITHIN_S,
    time_limit=PACK_ENDS_WITHIN_S + GRACE_S,
)
def build_pack(pack_id: int) -> bool:
    """Work one round on an evidence pack; an unknown one is nobody's work."""
    return evidence_packs.build_pack(pack_id=pack_id, clock=timezone.now, contents_of=PackContents)


@shared_task(
    name="evidence_packs.build_due",
    soft_time_limit=PACK_ENDS_WITHIN_S,
    time_limit=PACK_ENDS_WITHIN_S + GRACE_S,
)
def build_packs() -> int:
    """Work on the packs that a round, a lost message or a dead worker left; run by beat."""
    return evidence_packs.build_due_packs(clock=timezone.now, contents_of=PackContents)


@shared_task(name="evidence_packs.throw_away_old")
def throw_away_old_packs() -> int:
    """Delete the files of packs that were kept long enough; run by beat."""
    return evidence_packs.throw_away_old(timezone.now())
