"""Evidence packs: what was asked for, how far one is, and the file that came of it."""

import secrets
from datetime import datetime, timedelta

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from assessments.models import Board
from certification.models import Certificate, Scope
from people.models import Person, Site
from records.models import Recorded, TrailEntry

CLAIM_LAPSES_AFTER = timedelta(minutes=5)
MOST_ATTEMPTS = 5  # in a row without getting any further
KEPT_FOR = timedelta(days=30)
STORED_IN = "evidence-packs"


def pack_path(pack: "EvidencePack", name: str) -> str:
    key = secrets.token_urlsafe(24)
    return f"{STORED_IN}/{key[:2]}/{key}.zip"


class EvidencePackQuerySet(models.QuerySet["EvidencePack"]):
    def due(self, now: datetime) -> "EvidencePackQuerySet":
        """Not finished, and in nobody's hands or in those of a worker that went silent."""
        free = Q(claimed_at__isnull=True) | Q(claimed_at__lt=now - CLAIM_LAPSES_AFTER)
        return self.filter(free, finished_at__isnull=True)

    def claim(self, pack_id: int, token: str, now: datetime) -> bool:
        """Claim one due pack; False if another worker was first.

        The attempt counts from here, so one that kills its worker counts too.
        """
        free = self.due(now).filter(pk=pack_id, attempts__lt=MOST_ATTEMPTS)
        return free.update(claim=token, claimed_at=now, attempts=F("attempts") + 1) == 1

    def held(self, pack_id: int, token: str) -> "EvidencePackQuerySet":
        """The pack, as long as the claim on it is still this one."""
        return self.filter(pk=pack_id, claim=token, finished_at__isnull=True)

    def out_of_date(self, now: datetime) -> "EvidencePackQuerySet":
        """Packs whose file has been kept for as long as one is."""
        return self.filter(finished_at__lt=now - KEPT_FOR).exclude(file="")


class EvidencePack(Recorded):
    """Everything behind a certificate, a person, a board or an auditor's question, as one file.

    It holds what had been recorded when it was asked for and stands before ``head``, the entry
    of the trail that says so: the same row always gives the same bytes. Where something was removed
    from the records, or one of its boards was judged, before it was put together, ``head`` is a
    later entry that says that it was begun anew. ``sites`` are those whose boards and people it may
    tell of; whoever reads it is quality at every one of them.
    """

    class About(models.TextChoices):
        CERTIFICATE = "certificate", _("certificate")
        PERSON = "person", _("person")
        BOARD = "board", _("board")
        QUESTION = "question", _("audit question")

    class State(models.TextChoices):
        WAITING = "waiting", _("waits for a worker")
        RUNNING = "running", _("is being put together")
        FINISHED = "finished", _("ready")
        FAILED = "failed", _("could not be put together")
        GONE = "gone", _("thrown away")

    number = models.CharField(_("number"), max_length=24, unique=True)
    asked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="evidence_packs"
    )
    language = models.CharField(max_length=8, default="en")
    site = models.ForeignKey(Site, models.PROTECT, related_name="+")
    sites = models.ManyToManyField(Site, related_name="evidence_packs")
    about = models.CharField(_("about"), max_length=12, choices=About.choices)
    certificate = models.ForeignKey(
        Certificate, models.PROTECT, null=True, blank=True, related_name="evidence_packs"
    )
    person = models.ForeignKey(
        Person, models.PROTECT, null=True, blank=True, related_name="evidence_packs"
    )
    board = models.ForeignKey(
        Board, models.PROTECT, null=True, blank=True, related_name="evidence_packs"
    )
    scopes = models.ManyToManyField(Scope, related_name="evidence_packs", blank=True)
    first_day = models.DateField(_("from"), null=True, blank=True)
    last_day = models.DateField(_("through"), null=True, blank=True)
    known_at = models.DateTimeField(_("as known at"), null=True, blank=True)
    head = models.ForeignKey(TrailEntry, models.PROTECT, null=True, related_name="+")

    claim = models.CharField(max_length=40, blank=True)
    claimed_at = models.DateTimeField(null=True, blank=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    done = models.PositiveIntegerField(_("files done"), default=0)
    total = models.PositiveIntegerField(_("files, as far as known"), default=0)

    finished_at = models.DateTimeField(_("finished"), null=True, blank=True)
    failure = models.CharField(_("why not"), max_length=400, blank=True)
    file = models.FileField(upload_to=pack_path, max_length=120, blank=True)
    size_bytes = models.PositiveBigIntegerField(default=0)
    sha256 = models.CharField(max_length=64, blank=True)
    seal = models.CharField(
        max_length=64, blank=True, help_text=_("SHA-256 of the pack’s tagmanifest-sha256.txt.")
    )

    objects = EvidencePackQuerySet.as_manager()

    class Meta:
        ordering = ["-recorded_at", "-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(
                    about="certificate",
                    certificate__isnull=False,
                    person__isnull=True,
                    board__isnull=True,
                )
                | Q(
                    about="person",
                    certificate__isnull=True,
                    person__isnull=False,
                    board__isnull=True,
                )
                | Q(
                    about="board",
                    certificate__isnull=True,
                    person__isnull=True,
                    board__isnull=False,
                )
                | Q(
                    about="question",
                    certificate__isnull=True,
                    person__isnull=True,
                    board__isnull=True,
                    first_day__isnull=False,
                    last_day__isnull=False,
                    last_day__gte=F("first_day"),
                ),
                name="evidence_pack_names_what_it_is_about",
            )
        ]

    def __str__(self) -> str:
        return self.number

    @property
    def as_of(self) -> datetime:
        """The instant whose records it holds: that of its head."""
        return self.head.recorded_at if self.head else self.recorded_at

    @property
    def is_begun_anew(self) -> bool:
        return self.as_of != self.recorded_at

    @property
    def state(self) -> "EvidencePack.State":
        if self.finished_at is not None:
            if self.failure:
                return self.State.FAILED
            return self.State.FINISHED if self.file else self.State.GONE
        return self.State.RUNNING if self.claimed_at or self.done else self.State.WAITING
