"""Lists of people that somebody brings: what they say until they are taken in, then what was."""

from datetime import datetime, timedelta

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from records.models import Recorded

KEPT_FOR = timedelta(days=7)
UNDONE_WITHIN = timedelta(days=1)


class PeopleListQuerySet(models.QuerySet["PeopleList"]):
    def out_of_date(self, now: datetime) -> "PeopleListQuerySet":
        """Lists that nobody took in while they were kept."""
        return self.filter(taken_in_at__isnull=True, begun_at__isnull=True, expires_at__lt=now)

    def kept(self, now: datetime) -> "PeopleListQuerySet":
        """Lists that are still there to be read."""
        return self.filter(
            Q(taken_in_at__isnull=False) | Q(begun_at__isnull=False) | Q(expires_at__gte=now)
        )


class PeopleList(Recorded):
    """A list of people as it was pasted or sent, how it was matched, and what came of it.

    ``rows`` may tell of vision tests, so whoever brought the list alone reads it, and it is
    emptied once the list is taken in; a list that is not is deleted when it has expired.
    ``result`` names what the act made by primary keys, so that it can be undone, and ``undoing``
    what of it was undone.

    A long list is taken in or undone by a worker, some people at a time: ``begun_at`` is set until
    that is over, and ``work`` holds what is left to do (`audit.services.list_steps`).
    """

    brought_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="people_lists"
    )
    file_name = models.CharField(_("file name"), max_length=200)
    sha256 = models.CharField(max_length=64)
    encoding = models.CharField(max_length=12, default="utf-8")
    row_count = models.PositiveIntegerField(_("rows"))
    headings = models.JSONField(default=list)
    rows = models.JSONField(default=list)
    doubts = models.JSONField(default=list)
    columns = models.JSONField(default=list)
    answers = models.JSONField(default=dict)
    left_out = models.JSONField(default=list)
    expires_at = models.DateTimeField(_("kept until"))
    begun_at = models.DateTimeField(null=True, blank=True, db_index=True)
    work = models.JSONField(default=dict)
    taken_in_at = models.DateTimeField(_("taken in"), null=True, blank=True)
    links_to_send = models.PositiveIntegerField(default=0)
    result = models.JSONField(default=dict)
    undone_at = models.DateTimeField(_("undone"), null=True, blank=True)
    undoing = models.JSONField(default=dict)

    objects = PeopleListQuerySet.as_manager()

    class Meta:
        ordering = ["-recorded_at", "-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(undone_at__isnull=True) | Q(taken_in_at__isnull=False),
                name="people_list_undone_after_taken_in",
            )
        ]

    def __str__(self) -> str:
        return self.file_name

    @property
    def is_open(self) -> bool:
        """Whether it can still be matched, answered about and taken in."""
        return self.taken_in_at is None and self.begun_at is None

    def may_be_undone(self, at: datetime) -> bool:
        """Whether it was taken in, is not undone, and its day is not over."""
        return (
            self.taken_in_at is not None
            and self.undone_at is None
            and self.begun_at is None
            and at < self.taken_in_at + UNDONE_WITHIN
        )
