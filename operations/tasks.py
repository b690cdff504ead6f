"""Background work: back-up, verification and removal at night, the trail's end sent, test mails."""

import logging

from celery import shared_task
from django.utils import timezone

from operations.services import (
    back_ups,
    heads,
    mail_trials,
    old_photos,
    retention,
    time_stamps,
    trying_buckets,
    verifying,
)
from records.exceptions import Refusal
from records.queries.heads import head_at

log = logging.getLogger(__name__)

BACK_UP_ENDS_WITHIN_S = 55 * 60
"""What a night has copied stays, so one that is cut short is gone on with by the next."""
GRACE_S = 60


@shared_task(
    name="site.back_up",
    soft_time_limit=BACK_UP_ENDS_WITHIN_S,
    time_limit=BACK_UP_ENDS_WITHIN_S + GRACE_S,
)
def back_up() -> str:
    """Make the back-up of the night, where a folder or bucket is named for it; run by beat."""
    try:
        run = back_ups.back_up_nightly(clock=timezone.now)
    except Refusal as error:  # Health tells it too.
        log.error("No back-up was made: %s", error)
        return ""
    return "" if run is None else run.path


@shared_task(name="site.try_buckets")
def try_buckets() -> None:
    """See that the site's buckets answer, where there are any; every five minutes."""
    trying_buckets.try_buckets(clock=timezone.now)


@shared_task(
    name="retention.remove",
    soft_time_limit=retention.WITHIN_S + 300,
    time_limit=retention.WITHIN_S + 600,
)
def remove_what_is_kept_no_longer() -> int:
    """Remove what each site's rules say, and no more than fits into 40 minutes; once a night."""
    return retention.remove_at_every_site(clock=timezone.now)


@shared_task(
    name="photographs.move_old",
    soft_time_limit=old_photos.WITHIN_S + 300,
    time_limit=old_photos.WITHIN_S + 600,
)
def move_old_photographs() -> int:
    """Move old photographs to the second place, where there is one; once a night."""
    return old_photos.move_old_photos(clock=timezone.now)


@shared_task(name="records.verify")
def verify_records() -> bool | None:
    """Verify everything that was written down; run by beat once a night."""
    run = verifying.verify(clock=timezone.now)
    return None if run is None else run.fits


@shared_task(name="records.publish_head")
def publish_head() -> str:
    """File and mail the end of the trail; run by beat once a day."""
    return str(heads.publish_head(at=timezone.now()) or "")


@shared_task(name="records.stamp_head")
def stamp_head() -> str:
    """Have the end of the trail stamped by the time-stamp server, if there is one; once a day."""
    head = head_at(timezone.now())
    return (time_stamps.stamp_head(head) if head else None) or ""


@shared_task(name="reminders.send_trials")
def send_mail_trials() -> int:
    """Send the test mails that were asked for, by the queue of every other mail."""
    return mail_trials.send_due_trials(clock=timezone.now)
