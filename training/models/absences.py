"""When people are away, and how many of a line lead's people may be at once."""

from collections.abc import Collection
from datetime import date

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from people.models.people import Person
from records.models import Recorded


class AbsenceQuerySet(models.QuerySet["Absence"]):
    def touching(self, days: Collection[date]) -> "AbsenceQuerySet":
        """Absences that lie, in part at least, between the first and the last of some days."""
        if not days:
            return self.none()
        return self.filter(from_day__lte=max(days), through_day__gte=min(days))


class Absence(Recorded):
    """Days on which somebody is not there, the first and the last among them.

    Why they are away is kept nowhere: a plan of classes needs the days alone.
    """

    person = models.ForeignKey(Person, models.PROTECT, related_name="absences")
    from_day = models.DateField(_("first day away"))
    through_day = models.DateField(_("last day away"))
    entered_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")

    objects = AbsenceQuerySet.as_manager()

    class Meta:
        ordering = ["from_day", "person__full_name", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(through_day__gte=F("from_day")), name="absence_ends_after_it_begins"
            ),
            models.UniqueConstraint(
                fields=["person", "from_day", "through_day"], name="absence_once_of_a_person"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person}: {self.from_day} to {self.through_day}"

    def includes(self, day: date) -> bool:
        return self.from_day <= day <= self.through_day


class AwayLimit(Recorded):
    """How many of a line lead's people may be away on one day; without a row there is no limit."""

    lead = models.OneToOneField(Person, models.PROTECT, related_name="away_limit")
    people = models.PositiveSmallIntegerField(_("people away at once"))

    def __str__(self) -> str:
        return f"{self.lead}: {self.people}"
