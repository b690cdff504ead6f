"""Checks of work logs: what was asked, how far it is, and what was found."""

import secrets
from datetime import datetime, timedelta

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from people.models import Site
from records.models import Recorded

CLAIM_LAPSES_AFTER = timedelta(minutes=10)
MOST_ATTEMPTS = 3


def log_path(check: "WorkLogCheck", name: str) -> str:
    key = secrets.token_urlsafe(24)
    return f"work-logs/{key[:2]}/{key}.bin"


class WorkLogCheckQuerySet(models.QuerySet["WorkLogCheck"]):
    def due(self, now: datetime) -> "WorkLogCheckQuerySet":
        """Not finished, and in nobody's hands or in those of a worker that went silent."""
        free = Q(claimed_at__isnull=True) | Q(claimed_at__lt=now - CLAIM_LAPSES_AFTER)
        return self.filter(free, finished_at__isnull=True)

    def claim(self, check_id: int, token: str, now: datetime) -> bool:
        """Claim one due check; False if another worker was first.

        The attempt counts from here, so one that kills its worker counts too.
        """
        free = self.due(now).filter(pk=check_id, attempts__lt=MOST_ATTEMPTS)
        taken = free.update(claim=token, claimed_at=now, attempts=F("attempts") + 1)
        return taken == 1

    def held(self, check_id: int, token: str) -> "WorkLogCheckQuerySet":
        """The check, as long as the claim on it is still this one."""
        return self.filter(pk=check_id, claim=token, finished_at__isnull=True)

    def with_list_columns(self) -> "WorkLogCheckQuerySet":
        """Everything a line in a list of checks shows, in one query."""
        return self.select_related("asked_by__person").defer("problems", "people")


class WorkLogCheck(Recorded):
    """One work log held against the register, and what came of it.

    The people of ``sites`` are those it was held against: whoever asked could see no others.
    """

    class State(models.TextChoices):
        WAITING = "waiting", _("waits for a worker")
        RUNNING = "running", _("is being checked")
        FINISHED = "finished", _("checked")
        FAILED = "failed", _("could not be checked")

    class Stage(models.TextChoices):
        LOG = "log", _("reading the log")
        REGISTER = "register", _("reading the register")
        SPANS = "spans", _("reading how everybody stands")
        STANDINGS = "standings", _("working out how everybody stood")
        JUDGE = "judge", _("judging the rows")
        WRITE = "write", _("writing the findings")

    asked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="work_log_checks"
    )
    sites = models.ManyToManyField(Site, related_name="work_log_checks")
    file = models.FileField(_("work log"), upload_to=log_path, max_length=120)
    file_name = models.CharField(_("file name"), max_length=200)
    size_bytes = models.PositiveBigIntegerField()
    sha256 = models.CharField(max_length=64)

    known_at = models.DateTimeField(_("as known at"), null=True, blank=True)
    as_known_then = models.BooleanField(_("each row as known on its own day"), default=False)
    counts_as_practice = models.BooleanField(_("the log’s rows count as practice"), default=False)
    zone = models.CharField(_("clock"), max_length=64)

    claim = models.CharField(max_length=40, blank=True)
    claimed_at = models.DateTimeField(null=True, blank=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    stage = models.CharField(max_length=12, choices=Stage.choices, blank=True)
    done = models.PositiveIntegerField(default=0)
    total = models.PositiveIntegerField(default=0)

    finished_at = models.DateTimeField(_("finished"), null=True, blank=True)
    failure = models.CharField(_("why not"), max_length=400, blank=True)
    rows = models.PositiveIntegerField(_("rows judged"), default=0)
    bad_rows = models.PositiveIntegerField(_("rows that could not be judged"), default=0)
    counts = models.JSONField(_("rows of each standing"), default=dict)
    people_concerned = models.PositiveIntegerField(default=0)
    days_concerned = models.PositiveIntegerField(default=0)
    people = models.JSONField(_("people with most rows not certified"), default=list)
    problems = models.JSONField(_("what could not be judged"), default=list)
    headings = models.JSONField(default=list)
    columns = models.JSONField(default=list)
    findings = models.FileField(upload_to=log_path, max_length=120, blank=True)
    findings_sha256 = models.CharField(max_length=64, blank=True)

    objects = WorkLogCheckQuerySet.as_manager()

    class Meta:
        ordering = ["-recorded_at", "-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(known_at__isnull=True) | Q(as_known_then=False),
                name="work_log_check_asks_one_time",
            )
        ]

    def __str__(self) -> str:
        return self.file_name

    @property
    def state(self) -> "WorkLogCheck.State":
        if self.finished_at is not None:
            return self.State.FAILED if self.failure else self.State.FINISHED
        return self.State.RUNNING if self.claimed_at else self.State.WAITING

    @property
    def not_certified(self) -> int:
        """Rows that were judged and not certified."""
        return self.rows - int(self.counts.get("certified", 0))
