"""Days on which a site does not work, beside those of its week."""

from django.db import models
from django.utils.translation import gettext_lazy as _

from records.models import Recorded

from .people import Site


class ClosedDay(Recorded):
    """A day on which nobody works at a site, whatever weekday it is."""

    site = models.ForeignKey(Site, models.CASCADE, related_name="closed_days")
    day = models.DateField(_("day"))
    name = models.CharField(_("what the day is called"), max_length=80, blank=True)

    class Meta:
        ordering = ["day"]
        constraints = [
            models.UniqueConstraint(fields=["site", "day"], name="site_closed_once_a_day")
        ]

    def __str__(self) -> str:
        return f"{self.site}: {self.day}"
