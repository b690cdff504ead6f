"""Which photographs were moved to the second place that files have."""

from django.db import models


class MovedPhoto(models.Model):
    """That the original of a photograph is in the second place, by the photograph's number.

    No key to its row, which may be removed later; of one running site, and in no back-up: a
    restored one begins with all files in the first place.
    """

    photo_number = models.BigIntegerField(primary_key=True)
    moved_at = models.DateTimeField()

    def __str__(self) -> str:
        return str(self.photo_number)
