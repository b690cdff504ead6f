"""Back-ups that were made, or were to be: one row a run."""

from datetime import datetime, timedelta

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

IS_OVER_AFTER = timedelta(hours=6)
"""A run that has neither ended nor failed by then was broken off with its process."""


class BackUpQuerySet(models.QuerySet["BackUp"]):
    def running(self, now: datetime) -> "BackUpQuerySet":
        return self.filter(ended_at__isnull=True, begun_at__gt=now - IS_OVER_AFTER)

    def made(self) -> "BackUpQuerySet":
        """Those that came to their end and hold everything, the last first."""
        return self.filter(ended_at__isnull=False, failure="").order_by("-begun_at", "-id")

    def failed(self) -> "BackUpQuerySet":
        return self.exclude(failure="").order_by("-begun_at", "-id")


class BackUp(models.Model):
    """One run; what it holds is as of ``begun_at``."""

    begun_at = models.DateTimeField(_("begun"))
    ended_at = models.DateTimeField(_("ended"), null=True, blank=True)
    failure = models.CharField(_("why it failed"), max_length=400, blank=True)
    path = models.TextField(_("file"))
    by_clock = models.BooleanField(_("at night"), default=False)
    is_encrypted = models.BooleanField(_("encrypted"), default=False)
    size_bytes = models.PositiveBigIntegerField(_("size of the archive"), default=0)
    rows = models.PositiveBigIntegerField(_("rows"), default=0)
    files = models.PositiveBigIntegerField(_("files"), default=0)
    files_bytes = models.PositiveBigIntegerField(_("size of the files"), default=0)
    added_files = models.PositiveBigIntegerField(_("files that were new"), default=0)
    missing_files = models.PositiveBigIntegerField(_("files that were gone"), default=0)

    objects = BackUpQuerySet.as_manager()

    class Meta:
        ordering = ["-begun_at", "-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(failure="") | Q(ended_at__isnull=False),
                name="back_up_that_failed_has_ended",
            )
        ]

    def __str__(self) -> str:
        return f"{self.begun_at:%Y-%m-%d %H:%M}"
