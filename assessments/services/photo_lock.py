"""Locking a photograph: whoever measures it, moves it or takes it back meanwhile waits."""

from collections.abc import Collection

from django.utils.translation import gettext as _

from assessments.exceptions import NotAPhotograph, PhotoTakenBack
from assessments.models import Photo
from assessments.queries.removed_files import is_file_removed


def lock_photo(photo: Photo, *comes_with: str) -> Photo:
    """The photograph as it is now, locked to the end of the transaction.

    Raises
    ------
    PhotoTakenBack
        If whoever sent it took it back.
    """
    rows = Photo.objects.select_for_update(no_key=True, of=("self",)).filter(pk=photo.pk)
    held = rows.select_related(*comes_with).first() if comes_with else rows.first()
    if held is None:
        raise PhotoTakenBack(taken_back_in_words(photo))
    return held


def lock_photos(keys: Collection[int]) -> None:
    """Have whoever adds something to these photographs wait for the end of the transaction."""
    rows = Photo.every.select_for_update(no_key=True).filter(pk__in=keys).order_by("pk")
    list(rows.values_list("pk", flat=True))


def refuse_removed(photo: Photo) -> None:
    """Lock a photograph; raise NotAPhotograph if its file, or all of it, was removed meanwhile."""
    rows = Photo.every.select_for_update(no_key=True).filter(pk=photo.pk)
    if not rows.values_list("pk", flat=True) or is_file_removed(photo):
        raise NotAPhotograph(_("The photograph is kept no longer."))


def taken_back_in_words(photo: Photo) -> str:
    return _(
        "%(name)s was taken back by whoever sent it. Open the page anew to see what is there."
    ) % {"name": photo.original_name}
