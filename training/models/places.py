"""The rooms of a site, who else teaches a class, and who waits for a place in one."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Lower
from django.utils.translation import gettext_lazy as _

from people.models.people import Site
from records.models import Recorded


class Room(Recorded):
    """A room with benches at a site; whatever is held elsewhere names its place in words alone."""

    site = models.ForeignKey(Site, models.PROTECT, related_name="rooms", verbose_name=_("site"))
    name = models.CharField(_("name"), max_length=80)
    benches = models.PositiveSmallIntegerField(_("benches"))
    # No class is held there from then on.
    closed_on = models.DateField(_("closed from"), null=True, blank=True)

    class Meta:
        ordering = ["site__name", "name"]
        constraints = [
            models.UniqueConstraint("site", Lower("name"), name="room_name_once_at_a_site"),
            models.CheckConstraint(condition=Q(benches__gte=1), name="room_has_a_bench"),
        ]

    def __str__(self) -> str:
        return self.name


class OtherInstructor(models.Model):
    """Somebody who teaches a class beside its lead."""

    session = models.ForeignKey(
        "training.ClassSession", models.CASCADE, related_name="other_instructors"
    )
    instructor = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="sessions_helped"
    )

    class Meta:
        ordering = ["instructor__person__full_name"]
        constraints = [
            models.UniqueConstraint(
                fields=["session", "instructor"], name="other_instructor_once_in_a_class"
            )
        ]

    def __str__(self) -> str:
        return f"{self.instructor}, {self.session}"
