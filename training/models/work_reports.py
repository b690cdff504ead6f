"""Work that people report of themselves, and what whoever confirms work made of it."""

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

from people.models.people import Person
from records.models import Recorded

from .practice import PracticeRecord


class WorkReportQuerySet(models.QuerySet["WorkReport"]):
    def undecided(self) -> "WorkReportQuerySet":
        """Neither confirmed nor refused, oldest first."""
        return self.filter(decision__isnull=True).order_by("recorded_at", "pk")


class WorkReport(Recorded):
    """Work within a scope as its own doer reports it; it counts for nothing until confirmed."""

    person = models.ForeignKey(Person, models.PROTECT, related_name="work_reports")
    scope_code = models.CharField(_("scope"), max_length=40)
    performed_on = models.DateField(_("done on"))
    reference = models.CharField(_("unit or work order"), max_length=80)
    reported_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")

    objects = WorkReportQuerySet.as_manager()

    class Meta:
        ordering = ["-recorded_at", "-pk"]

    def __str__(self) -> str:
        return f"{self.person}, {self.scope_code}, {self.performed_on}"


class WorkReportDecision(Recorded):
    """Whether a report was confirmed; then ``practice`` is the work that counts from it."""

    report = models.OneToOneField(WorkReport, models.PROTECT, related_name="decision")
    confirmed = models.BooleanField(_("confirmed"))
    reason = models.CharField(_("why not"), max_length=400, blank=True)
    decided_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    practice = models.ForeignKey(
        PracticeRecord, models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(confirmed=True, practice__isnull=False)
                | models.Q(confirmed=False, practice__isnull=True),
                name="work_report_confirmed_is_recorded",
            )
        ]

    def __str__(self) -> str:
        return f"{self.report}: {self.confirmed}"
