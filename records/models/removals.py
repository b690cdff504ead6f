"""What was removed in good order: rows that are gone, and files, with the entry that says so."""

from django.db import models
from django.utils.translation import gettext_lazy as _

from .trail import TrailEntry


class Removal(models.Model):
    """That a row or a file is gone because somebody decided so: the database lets it go by this.

    Written by ``records.services.removals.remove`` alone, with a trail entry of its own, in the
    transaction that removes.
    """

    class What(models.TextChoices):
        ROW = "row", _("all that was recorded")
        FILE = "file", _("the file")
        NAME = "name", _("who it was")

    about_type = models.CharField(_("kind of thing"), max_length=100)
    about_id = models.CharField(_("number of the thing"), max_length=64)
    what = models.CharField(_("what is gone"), max_length=8, choices=What.choices)
    entry = models.OneToOneField(
        TrailEntry, models.PROTECT, related_name="removal", verbose_name=_("trail entry")
    )

    class Meta:
        verbose_name = _("removal")
        verbose_name_plural = _("removals")
        constraints = [
            models.UniqueConstraint(
                fields=["about_type", "about_id", "what"], name="removal_once_a_thing"
            )
        ]

    def __str__(self) -> str:
        return f"{self.about_type} {self.about_id}"
