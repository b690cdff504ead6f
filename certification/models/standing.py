"""Standing over time, written out for the lists: a projection of certificates and facts."""

from datetime import date

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from people.models import Person
from people.queries.site_days import Days

from .certificates import Certificate
from .schemes import Scope

LONGEST_RESTRICTION = 802  # A certificate's own and an event's, with what stands between.


def spans_on(day: date) -> Q:
    """Spans in which a day lies."""
    return Q(Q(last_day__isnull=True) | Q(last_day__gte=day), first_day__lte=day)


class StandingSpanQuerySet(models.QuerySet["StandingSpan"]):
    def on(self, day: date) -> "StandingSpanQuerySet":
        return self.filter(spans_on(day))

    def on_days(self, days: Days) -> "StandingSpanQuerySet":
        """Spans in which the day lies that it is at their person's site."""
        return self.filter(days.each(spans_on, "person__site"))


class StandingSpan(models.Model):
    """Days on which the answer for one person and one scope stays the same.

    Rebuilt in the transaction that writes a fact; first and last day are included, and
    the last span of a person and scope has no last day. ``stands_since`` is the first day of
    all but the restriction.
    """

    person = models.ForeignKey(Person, models.CASCADE, related_name="spans")
    scope = models.ForeignKey(Scope, models.CASCADE, related_name="spans")
    first_day = models.DateField(_("from"))
    stands_since = models.DateField(_("stands so since"))
    last_day = models.DateField(_("through"), null=True)
    standing = models.CharField(_("standing"), max_length=24)
    certificate = models.ForeignKey(Certificate, models.CASCADE, null=True, related_name="spans")
    restriction = models.CharField(_("restriction"), max_length=LONGEST_RESTRICTION, blank=True)
    rule = models.CharField(_("rule that decided"), max_length=40)
    ends_on = models.DateField(
        _("ends by itself after"), null=True, help_text=_("The first of its ends, if it has any.")
    )
    good_through = models.DateField(
        _("good through"),
        null=True,
        help_text=_("The certificate’s last day after every event, whatever the standing."),
    )

    objects = StandingSpanQuerySet.as_manager()

    class Meta:
        ordering = ["person", "scope", "first_day"]
        constraints = [
            models.UniqueConstraint(
                fields=["person", "scope", "first_day"], name="span_starts_once_a_day"
            )
        ]
        indexes = [
            models.Index(fields=["standing", "last_day"], name="span_by_standing_and_end"),
            # Holds all that counting needs, so that a count never reads the rows themselves.
            models.Index(
                fields=["person", "first_day", "last_day", "standing", "ends_on"],
                name="span_by_person_and_days",
            ),
            models.Index(fields=["first_day"], name="span_by_first_day"),
        ]

    def __str__(self) -> str:
        return f"{self.person}, {self.scope}: {self.standing} from {self.first_day}"


class StandingEnd(models.Model):
    """Something that will end a certified span by itself, and its last good day."""

    class Kind(models.TextChoices):
        CERTIFICATE = "certificate", _("certificate")
        VISION = "vision", _("vision test")
        PRACTICE = "practice", _("practice gap")

    span = models.ForeignKey(StandingSpan, models.CASCADE, related_name="ends")
    kind = models.CharField(_("what ends"), max_length=12, choices=Kind.choices)
    last_day = models.DateField(_("last good day"), db_index=True)
    source = models.CharField(_("source"), max_length=80)

    class Meta:
        ordering = ["last_day", "kind"]
        constraints = [
            models.UniqueConstraint(fields=["span", "kind"], name="span_end_once_a_kind")
        ]

    def __str__(self) -> str:
        return f"{self.source}: {self.last_day}"
