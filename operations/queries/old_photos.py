"""Which photographs move to the second place next, and how many are there."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.conf import settings
from django.db.models import Exists, OuterRef, QuerySet

from assessments.models import Photo
from assessments.queries.removed_files import removed_file
from operations.backends.two_places import two_places
from operations.models import MovedPhoto
from people.models import Site

from .retention import Line

SHOWN = 20


@dataclass(frozen=True)
class MoveOutlook:
    """What the next run moves at a site.

    Attributes
    ----------
    days : int
        How old a photograph is when it is moved.
    moved, waiting : int
        How many were, and how many are to be.
    lines : list of Line
        The first of the latter.
    is_there : bool
        Whether the second place can be reached now.
    """

    days: int
    moved: int
    waiting: int
    lines: list[Line]
    is_there: bool


def photos_to_move(now: datetime) -> QuerySet[Photo]:
    """Photographs that are old enough and still in the first place, the oldest first."""
    before = now - timedelta(days=settings.OLD_PHOTOS_AFTER_DAYS)
    return (
        Photo.every.filter(~Exists(_moved()), recorded_at__lt=before)
        .exclude(removed_file())
        .select_related("board__person")
        .order_by("recorded_at", "pk")
    )


def removed_after_moving() -> QuerySet[Photo]:
    """Photographs that were moved and whose file was removed since."""
    return Photo.every.filter(removed_file(), Exists(_moved())).order_by("pk")


def move_outlook(site: Site, now: datetime) -> MoveOutlook | None:
    """What the next run moves at a site; None where there is no second place."""
    places = two_places()
    if places is None:
        return None
    waiting = photos_to_move(now).filter(board__site=site)
    moved = Photo.every.filter(Exists(_moved()), board__site=site).exclude(removed_file())
    return MoveOutlook(
        days=settings.OLD_PHOTOS_AFTER_DAYS,
        moved=moved.count(),
        waiting=waiting.count(),
        lines=[
            Line(f"{photo.board.number}, {photo.pk}", site.today(photo.recorded_at))
            for photo in waiting[:SHOWN]
        ],
        is_there=places.second_is_there(),
    )


def _moved() -> QuerySet[MovedPhoto]:
    return MovedPhoto.objects.filter(photo_number=OuterRef("pk"))
