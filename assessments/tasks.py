"""Background work: what can wait while somebody goes on grading."""

from celery import shared_task

from .models import Photo
from .services import photos

SWEPT_OFTEN = 5_000  # photographs, the latest


@shared_task
def make_renditions(photo_id: int) -> int:
    """Make the smaller sizes of one photograph; an unknown one is nobody's work."""
    photo = Photo.objects.filter(pk=photo_id).first()
    return photos.make_renditions(photo) if photo else 0


@shared_task
def make_missing_renditions(everywhere: bool = False) -> int:
    """Make what a lost message left undone; run by beat, of all photographs once a day."""
    return photos.make_missing_renditions(latest=None if everywhere else SWEPT_OFTEN)
