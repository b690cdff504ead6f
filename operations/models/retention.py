"""How long each site keeps what is recorded there."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from people.models import Site

MOST_MONTHS = 1200


class SiteRetention(models.Model):
    """Months for which a site keeps each kind of record; 0 is for ever, and without a row too."""

    class Kind(models.TextChoices):
        PHOTOGRAPHS = "photographs", _("Photographs")
        BOARDS = "boards", _("Boards with all that was judged of them")
        VISION_TESTS = "vision_tests", _("Vision tests")
        PRACTICE = "practice", _("Work done within a scope")
        PEOPLE = "people", _("Names of people who left")

    site = models.OneToOneField(Site, models.CASCADE, primary_key=True, related_name="retention")
    photographs = models.PositiveSmallIntegerField(_("photographs"), default=0)
    boards = models.PositiveSmallIntegerField(_("boards"), default=0)
    vision_tests = models.PositiveSmallIntegerField(_("vision tests"), default=0)
    practice = models.PositiveSmallIntegerField(_("work done"), default=0)
    people = models.PositiveSmallIntegerField(_("people who left"), default=0)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(
                    photographs__lte=MOST_MONTHS,
                    boards__lte=MOST_MONTHS,
                    vision_tests__lte=MOST_MONTHS,
                    practice__lte=MOST_MONTHS,
                    people__lte=MOST_MONTHS,
                ),
                name="site_retention_at_most_100_years",
            )
        ]

    def __str__(self) -> str:
        return str(self.site)

    def months(self, kind: str) -> int:
        return int(getattr(self, kind))
