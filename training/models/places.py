"""The rooms of a site, who else teaches a class, and who waits for a place in one."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Lower
from django.utils.translation import gettext_lazy as _

from people.models.people import Person, Site
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


class WaitingPlace(Recorded):
    """Somebody's place on the waiting list of a class; the lowest rank is first."""

    session = models.ForeignKey(
        "training.ClassSession", models.PROTECT, related_name="waiting_places"
    )
    person = models.ForeignKey(Person, models.PROTECT, related_name="waiting_places")
    rank = models.IntegerField(_("place on the waiting list"))

    class Meta:
        ordering = ["rank"]
        constraints = [
            models.UniqueConstraint(fields=["session", "person"], name="waits_once_for_a_class"),
            models.UniqueConstraint(
                fields=["session", "rank"], name="waiting_rank_once_in_a_class"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person}, {self.session}"


class ClassLetter(Recorded):
    """What somebody was written about their place in a class; each once, and never changed.

    Its number among their letters about the class is the SEQUENCE of its calendar entry.
    """

    class Kind(models.TextChoices):
        INVITATION = "invitation", _("invitation")
        CHANGE = "change", _("change")
        CANCELLATION = "cancellation", _("cancellation")

    session = models.ForeignKey("training.ClassSession", models.PROTECT, related_name="letters")
    person = models.ForeignKey(Person, models.PROTECT, related_name="class_letters")
    kind = models.CharField(_("kind"), max_length=12, choices=Kind.choices)
    sequence = models.PositiveIntegerField(_("number"))
    says = models.JSONField(_("what it says"), default=dict)
    by_mail = models.BooleanField(_("sent by mail"))
    printed_at = models.DateTimeField(_("printed"), null=True, blank=True)

    class Meta:
        ordering = ["-recorded_at", "-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["session", "person", "sequence"], name="class_letter_once"
            )
        ]

    def __str__(self) -> str:
        return f"{self.session}, {self.person}: {self.sequence}"
