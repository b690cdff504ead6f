"""What came of verifying the records: one row a run."""

from datetime import datetime, timedelta

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

IS_OVER_AFTER = timedelta(hours=6)
"""A run that has neither ended nor failed by then was broken off with its worker."""


class VerificationQuerySet(models.QuerySet["Verification"]):
    def running(self, now: datetime) -> "VerificationQuerySet":
        return self.filter(ended_at__isnull=True, begun_at__gt=now - IS_OVER_AFTER)

    def ended(self) -> "VerificationQuerySet":
        """Those that came to an end, whatever it was, the last first."""
        return self.filter(ended_at__isnull=False).order_by("-begun_at", "-id")


class Verification(models.Model):
    """One run over everything that was written down."""

    begun_at = models.DateTimeField(_("begun"))
    ended_at = models.DateTimeField(_("ended"), null=True, blank=True)
    failure = models.CharField(_("why it failed"), max_length=400, blank=True)
    entries = models.PositiveBigIntegerField(_("trail entries"), default=0)
    signatures = models.PositiveBigIntegerField(_("signatures"), default=0)
    compared = models.PositiveBigIntegerField(_("compared with their rows"), default=0)
    files = models.PositiveBigIntegerField(_("files read"), default=0)
    fault_count = models.PositiveBigIntegerField(_("what does not fit"), default=0)
    faults = models.JSONField(_("the first of what does not fit"), default=list)

    objects = VerificationQuerySet.as_manager()

    class Meta:
        ordering = ["-begun_at", "-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(failure="") | Q(ended_at__isnull=False),
                name="verification_that_failed_has_ended",
            )
        ]

    def __str__(self) -> str:
        return f"{self.begun_at:%Y-%m-%d %H:%M}"

    @property
    def fits(self) -> bool:
        return self.ended_at is not None and not self.failure and not self.fault_count
