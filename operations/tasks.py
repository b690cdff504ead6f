"""Background work: the records are verified while nobody works."""

from celery import shared_task
from django.utils import timezone

from operations.services import verifying


@shared_task(name="records.verify")
def verify_records() -> bool | None:
    """Verify everything that was written down; run by beat once a night."""
    run = verifying.verify(clock=timezone.now)
    return None if run is None else run.fits
