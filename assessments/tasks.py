"""Background work: what can wait while somebody goes on grading."""

from celery import shared_task
from django.utils import timezone

from .models import Photo
from .services import papers, photos

SWEPT_OFTEN = 5_000  # photographs, the latest
EVERYWHERE_WITHIN_S = 20 * 60.0
ENDS_WITHIN_S = 25 * 60
GRACE_S = 60
OFTEN_WITHIN_S = 30.0  # so that a backlog never keeps a worker from mails and new photographs


@shared_task(name="photographs.make_renditions")
def make_renditions(photo_id: int) -> int:
    """Make the smaller sizes of one photograph; an unknown one is nobody's work."""
    photo = Photo.objects.filter(pk=photo_id).first()
    return photos.make_renditions(photo) if photo else 0


@shared_task(
    name="photographs.make_missing_renditions",
    soft_time_limit=ENDS_WITHIN_S,
    time_limit=ENDS_WITHIN_S + GRACE_S,
)
def make_missing_renditions(everywhere: bool = False) -> int:
    """Make what a lost message left undone; run by beat, of all photographs once a day."""
    if everywhere:
        return photos.make_missing_renditions(within_s=EVERYWHERE_WITHIN_S)
    return photos.make_missing_renditions(latest=SWEPT_OFTEN, within_s=OFTEN_WITHIN_S)


@shared_task(name="written_tests.close_overdue")
def close_overdue_papers() -> int:
    """End and mark the papers whose time is over; run by beat."""
    return papers.close_overdue(at=timezone.now())
