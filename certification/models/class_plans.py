"""Plans of classes: what was asked, what the answer rests on, and what the instructor made of it.

A plan is a working paper. It can be thrown away and worked out again; what comes of it are
enrolments, which stand by themselves.
"""

import secrets
from datetime import datetime, timedelta

from django.conf import settings
from django.db import models
from django.db.models import Exists, F, OuterRef, Q
from django.utils.translation import gettext_lazy as _

from people.models import Person, Site
from records.models import Recorded
from training.models import ClassSession

CLAIM_LAPSES_AFTER = timedelta(minutes=5)
MOST_ATTEMPTS = 3
KEPT_FOR = timedelta(days=90)


class ClassPlanQuerySet(models.QuerySet["ClassPlan"]):
    def due(self, now: datetime) -> "ClassPlanQuerySet":
        """Not worked out, not given up, and in nobody's hands."""
        free = Q(claimed_at__isnull=True) | Q(claimed_at__lt=now - CLAIM_LAPSES_AFTER)
        return self.filter(free, finished_at__isnull=True, attempts__lt=MOST_ATTEMPTS)

    def claim(self, plan_id: int, now: datetime) -> str:
        """Claim one that is due; return the token to work under, empty if another was first."""
        token = secrets.token_hex(8)
        won = self.due(now).filter(pk=plan_id)
        won_rows = won.update(claimed_at=now, claim=token, attempts=F("attempts") + 1)
        return token if won_rows == 1 else ""

    def within(self, site_ids: set[int]) -> "ClassPlanQuerySet":
        """Plans of which every site is among these."""
        elsewhere = ClassPlan.sites.through.objects.filter(classplan=OuterRef("pk")).exclude(
            site__in=site_ids
        )
        return self.filter(~Exists(elsewhere))


class ClassPlan(Recorded):
    """Who of some sites goes to which class, so that little lapses in a period.

    ``rests_on`` is everything but the needs that it was worked out from, so that a page can say
    what has changed since (`certification.queries.class_plan_facts`). ``version`` counts the
    moves, and a page that shows an earlier one changes nothing.
    """

    first_day = models.DateField(_("rights that end from"))
    through = models.DateField(_("through"))
    sites = models.ManyToManyField(Site, related_name="+", verbose_name=_("sites"))
    travel = models.BooleanField(_("people go to classes of the other sites too"), default=False)
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    again_from = models.ForeignKey("self", models.SET_NULL, null=True, related_name="+")
    rests_on = models.JSONField(default=dict)
    figures = models.JSONField(default=list)
    version = models.PositiveIntegerField(default=0)
    claimed_at = models.DateTimeField(null=True, blank=True)
    claim = models.CharField(max_length=16, blank=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    finished_at = models.DateTimeField(_("worked out"), null=True, blank=True)
    cannot_be_kept = models.BooleanField(default=False)
    sent_at = models.DateTimeField(_("sent"), null=True, blank=True)
    sent_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )

    objects = ClassPlanQuerySet.as_manager()

    class Meta:
        ordering = ["-recorded_at", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(through__gte=F("first_day")), name="class_plan_ends_after_it_begins"
            )
        ]

    def __str__(self) -> str:
        return f"{self.first_day} to {self.through}"

    @property
    def is_given_up(self) -> bool:
        return self.finished_at is None and self.attempts >= MOST_ATTEMPTS

    @property
    def is_open(self) -> bool:
        """Whether names can be moved and people invited."""
        return self.finished_at is not None and self.sent_at is None and not self.cannot_be_kept


class PlannedNeed(models.Model):
    """Rights of one person that end on one day and that the same classes renew.

    ``classes`` are those, by their keys; ``chosen`` is where the person goes, first as worked out.
    """

    class Outcome(models.TextChoices):
        ENROLLED = "enrolled", _("enrolled")
        WAS_ENROLLED = "was_enrolled", _("was in the class already")
        CLASS_CHANGED = "class_changed", _("the class has other days, has begun or is cancelled")
        NO_INSTRUCTOR = "no_instructor", _("nobody who teaches the class is certified on its days")
        LEFT = "left", _("not at work on the days of the class")
        ELSEWHERE = "elsewhere", _("not at the sites of this plan any more")
        RIGHT_CHANGED = "right_changed", _("their right does not end on that day any more")
        IN_OTHER = "in_other", _("in another class that renews it already")
        SAME_DAYS = "same_days", _("in another class on the same days")
        AWAY = "away", _("away on a day of the class")
        LEAD_LIMIT = "lead_limit", _("too many of the line lead’s people would be away")
        FULL = "full", _("no place is left")
        COURSE_FIRST = "course_first", _("a course that comes first is not completed")

    plan = models.ForeignKey(ClassPlan, models.CASCADE, related_name="needs")
    person = models.ForeignKey(Person, models.CASCADE, related_name="planned_needs")
    scope_codes = models.JSONField(_("scopes"), default=list)
    ends_on = models.DateField(_("last good day"))
    window_days = models.PositiveIntegerField(_("days of the renewal window"))
    classes = models.JSONField(default=list)
    worked_out = models.ForeignKey(ClassSession, models.SET_NULL, null=True, related_name="+")
    chosen = models.ForeignKey(ClassSession, models.SET_NULL, null=True, related_name="+")
    is_fixed = models.BooleanField(default=False)
    why = models.CharField(max_length=60, blank=True)
    outcome = models.CharField(max_length=16, choices=Outcome.choices, blank=True)

    class Meta:
        ordering = ["ends_on", "person__full_name", "pk"]

    def __str__(self) -> str:
        return f"{self.person}: {', '.join(self.scope_codes)}, {self.ends_on}"

    @property
    def is_moved(self) -> bool:
        return self.chosen_id != self.worked_out_id
