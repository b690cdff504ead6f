"""The register of a day as it was known at an instant, worked out by a worker for the page.

Everything here can be thrown away and worked out again.
"""

import secrets
from datetime import datetime, timedelta

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from people.models import Person
from records.models import Recorded

from .certificates import Certificate
from .schemes import Scope
from .standing import LONGEST_RESTRICTION, StandingEnd

CLAIM_LAPSES_AFTER = timedelta(minutes=5)
MOST_ATTEMPTS = 5  # in a row without getting any further
KEPT_FOR = timedelta(days=30)


class KnownRegisterQuerySet(models.QuerySet["KnownRegister"]):
    def due(self, now: datetime) -> "KnownRegisterQuerySet":
        """Unfinished, not given up, and in nobody's hands."""
        free = Q(claimed_at__isnull=True) | Q(claimed_at__lt=now - CLAIM_LAPSES_AFTER)
        return self.filter(free, finished_at__isnull=True, attempts__lt=MOST_ATTEMPTS)

    def claim(self, known_id: int, now: datetime) -> str:
        """Claim one that is due; return the token to work under, empty if another was first.

        The attempt counts from here, so one that kills its worker counts too.
        """
        token = secrets.token_hex(8)
        won = self.due(now).filter(pk=known_id)
        won_rows = won.update(claimed_at=now, claim=token, attempts=F("attempts") + 1)
        return token if won_rows == 1 else ""


class KnownRegister(Recorded):
    """One question, answered once for everybody: how all stood on a day, as known at an instant."""

    day = models.DateField(_("day"))
    known_at = models.DateTimeField(_("as known at"))
    asked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+"
    )
    people = models.PositiveIntegerField(_("people"), default=0)
    people_done = models.PositiveIntegerField(_("people done"), default=0)
    last_person_id = models.BigIntegerField(default=0)
    claimed_at = models.DateTimeField(null=True, blank=True)
    claim = models.CharField(max_length=16, blank=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    finished_at = models.DateTimeField(_("worked out"), null=True, blank=True)

    objects = KnownRegisterQuerySet.as_manager()

    class Meta:
        ordering = ["-recorded_at"]
        constraints = [
            models.UniqueConstraint(fields=["day", "known_at"], name="known_register_once")
        ]

    def __str__(self) -> str:
        return f"{self.day}, as known {self.known_at}"

    @property
    def is_given_up(self) -> bool:
        return self.finished_at is None and self.attempts >= MOST_ATTEMPTS

    @property
    def is_finished(self) -> bool:
        return self.finished_at is not None


class KnownSpan(models.Model):
    """How one person stood for one scope; has the columns of `StandingSpan`."""

    known = models.ForeignKey(KnownRegister, models.CASCADE, related_name="spans")
    person = models.ForeignKey(Person, models.CASCADE, related_name="known_spans")
    scope = models.ForeignKey(Scope, models.CASCADE, related_name="+")
    first_day = models.DateField(_("from"))
    stands_since = models.DateField(_("stands so since"))
    last_day = models.DateField(_("through"), null=True)
    standing = models.CharField(_("standing"), max_length=24)
    certificate = models.ForeignKey(Certificate, models.CASCADE, null=True, related_name="+")
    restriction = models.CharField(_("restriction"), max_length=LONGEST_RESTRICTION, blank=True)
    rule = models.CharField(_("rule that decided"), max_length=40)
    ends_on = models.DateField(_("ends by itself after"), null=True)
    good_through = models.DateField(_("good through"), null=True)
    changes_on = models.DateField(_("changes by itself on"), null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["known", "person", "scope"], name="known_span_one_a_person_and_scope"
            )
        ]

    def __str__(self) -> str:
        return f"{self.person}, {self.scope}: {self.standing}"


class KnownEnd(models.Model):
    """Something that would have ended a standing by itself; has the columns of `StandingEnd`."""

    span = models.ForeignKey(KnownSpan, models.CASCADE, related_name="ends")
    kind = models.CharField(_("what ends"), max_length=12, choices=StandingEnd.Kind.choices)
    last_day = models.DateField(_("last good day"))
    source = models.CharField(_("source"), max_length=80)

    class Meta:
        ordering = ["last_day", "kind"]

    def __str__(self) -> str:
        return f"{self.source}: {self.last_day}"
