"""The last back-ups, as Health, the set-up page and figures of the site tell of them."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.conf import settings

from operations.models import BackUp

BUCKET = "back_ups"
"""The storage of back-ups, where BACK_UP_URL names one."""


def are_made_at_night() -> bool:
    """Whether a folder or a bucket is named for them."""
    return bool(settings.BACK_UP_DIR) or BUCKET in settings.STORAGES


@dataclass(frozen=True)
class BackUpTruth:
    """What is true of back-ups now.

    Attributes
    ----------
    last : BackUp or None
        The last that holds everything, by hand or at night.
    failed : BackUp or None
        The last that failed, where none has been made since.
    """

    last: BackUp | None
    failed: BackUp | None

    def age(self, now: datetime) -> timedelta | None:
        """How old what the last one holds is."""
        return None if self.last is None else now - self.last.begun_at


def back_up_truth() -> BackUpTruth:
    last, failed = BackUp.objects.made().first(), BackUp.objects.failed().first()
    if last and failed and failed.begun_at < last.begun_at:
        failed = None
    return BackUpTruth(last, failed)
