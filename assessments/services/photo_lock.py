"""Locking a photograph: whoever measures it, moves it or takes it back meanwhile waits."""

from django.utils.translation import gettext as _

from assessments.exceptions import PhotoTakenBack
from assessments.models import Photo


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


def taken_back_in_words(photo: Photo) -> str:
    return _(
        "%(name)s was taken back by whoever sent it. Open the page anew to see what is there."
    ) % {"name": photo.original_name}
