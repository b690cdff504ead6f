"""Moving the originals of old photographs to the second place that the site's files have."""

import logging
import time
from collections.abc import Callable
from datetime import datetime, timedelta
from functools import partial

from django.db import transaction

from assessments.models import Photo
from operations.backends.two_places import AnotherFile, FilesInTwoPlaces, two_places
from operations.exceptions import HalfShared
from operations.models import MovedPhoto
from operations.queries import old_photos as queries
from people.services.people import lock_person

from .shared_marks import refuse_another_old_photos_folder

log = logging.getLogger(__name__)

WITHIN_S = 2400
AT_ONCE = 200
LEFT_BEHIND_SINCE = timedelta(days=3)


def move_old_photos(*, clock: Callable[[], datetime]) -> int:
    """Move what is old enough, for at most `WITHIN_S`; return how many went.

    Each is copied and read again before anything is decided; then, under the lock that its removal
    takes too, the copy takes its place and the first goes. One that is not as it was written down
    stays, for the verification to tell of. Nothing goes to a folder that is not the one of before.
    """
    places = two_places()
    if places is None:
        return 0
    if not places.second_is_there():
        log.warning("Old photographs are not moved: the disk of OLD_PHOTOS_DIR is not there.")
        return 0
    try:
        refuse_another_old_photos_folder()
    except HalfShared as error:
        log.warning("Old photographs are not moved: %s", error)
        return 0
    until, count, tried = time.monotonic() + WITHIN_S, 0, set[int]()
    _leave_what_a_crash_left(places, clock() - LEFT_BEHIND_SINCE)
    _delete_what_was_removed(places)
    places.mark_second()
    while time.monotonic() < until:
        waiting = queries.photos_to_move(clock()).exclude(pk__in=tried)
        photos = list(waiting[:AT_ONCE])
        if not photos:
            break
        for photo in photos:
            try:
                count += _move(places, photo, clock)
            except (AnotherFile, FileNotFoundError):
                log.warning("Photograph %s is not moved: its file is not as it came.", photo.pk)
                tried.add(photo.pk)
            except OSError as error:
                log.warning("Old photographs are moved no further: %s.", error.strerror)
                return count
            if time.monotonic() > until:
                break
    return count


def _move(places: FilesInTwoPlaces, photo: Photo, clock: Callable[[], datetime]) -> bool:
    name = str(photo.original.name)
    part = places.copy(name, photo.sha256)
    with transaction.atomic():
        lock_person(photo.board.person)
        if not queries.photos_to_move(clock()).filter(pk=photo.pk).exists():
            places.forget_copies(name)  # It was removed meanwhile, or another run was quicker.
            return False
        places.take_copy_in(name, part)
        MovedPhoto.objects.create(photo_number=photo.pk, moved_at=clock())
        transaction.on_commit(partial(places.leave_first, name))
    return True


def _leave_what_a_crash_left(places: FilesInTwoPlaces, since: datetime) -> None:
    """Delete in the first place what was moved and still stands there too."""
    numbers = MovedPhoto.objects.filter(moved_at__gte=since).values_list("pk", flat=True)
    for photo in Photo.every.filter(pk__in=list(numbers)):
        if places.first.exists(str(photo.original.name)):
            places.leave_first(str(photo.original.name))


def _delete_what_was_removed(places: FilesInTwoPlaces) -> None:
    """Delete what went from the records while the disk was away, however long ago that was."""
    for photo in queries.removed_after_moving():
        try:
            places.delete(str(photo.original.name))
        except OSError as error:
            log.warning("What is kept no longer stays on the second disk: %s.", error.strerror)
            return
        MovedPhoto.objects.filter(pk=photo.pk).delete()
