"""Photographs whose file is removed: the row with its SHA-256 stays, the picture is gone."""

from django.db.models import CharField, Exists, OuterRef, Q
from django.db.models.functions import Cast

from assessments.models import Photo
from records.domain.kinds import kind_of
from records.models import Removal
from records.queries.removals import What, is_removed

PHOTOGRAPH = kind_of(Photo.__name__)


def removed_file() -> Q:
    """Of a photograph: that its file is removed."""
    removals = Removal.objects.filter(
        about_type=PHOTOGRAPH, what=What.FILE, about_id=Cast(OuterRef("pk"), CharField())
    )
    return Q(Exists(removals))


def is_file_removed(photo: Photo) -> bool:
    return is_removed(PHOTOGRAPH, photo.pk, What.FILE)
