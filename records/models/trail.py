"""The trail: who did what, in one chain of hashes that a command verifies."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from records.domain.chain import Link


class TrailEntry(models.Model):
    """One act, chained to the act before it; written by ``records.services.trail.record`` alone."""

    number = models.PositiveBigIntegerField(_("number"), primary_key=True)
    recorded_at = models.DateTimeField(_("recorded at"), db_index=True)
    actor = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+", verbose_name=_("by")
    )
    actor_label = models.CharField(_("signed in as"), max_length=150)
    act = models.CharField(_("act"), max_length=80)
    about_type = models.CharField(_("kind of thing"), max_length=100)
    about_id = models.CharField(_("number of the thing"), max_length=64)
    previous_hash = models.CharField(_("hash of the entry before"), max_length=64)
    payload_digest = models.CharField(_("digest of the payload"), max_length=64)
    entry_hash = models.CharField(_("hash"), max_length=64, unique=True)

    class Meta:
        ordering = ["number"]
        verbose_name = _("trail entry")
        verbose_name_plural = _("trail entries")
        indexes = [models.Index(fields=["about_type", "about_id"], name="trailentry_about")]
        constraints = [
            models.CheckConstraint(condition=Q(number__gte=1), name="trailentry_counts_from_one")
        ]

    def __str__(self) -> str:
        return f"{self.number}: {self.act}"

    def as_link(self) -> Link:
        """What the entry's hash covers, as it stands in the row."""
        return Link(
            number=self.number,
            previous=self.previous_hash,
            recorded_at=self.recorded_at,
            actor_id=None if self.actor_id is None else str(self.actor_id),
            actor_label=self.actor_label,
            act=self.act,
            about_type=self.about_type,
            about_id=self.about_id,
            digest=self.payload_digest,
        )


class TrailPayload(models.Model):
    """The details of one entry; they can be erased, and then the row says so."""

    entry = models.OneToOneField(
        TrailEntry, models.PROTECT, primary_key=True, related_name="payload"
    )
    salt = models.CharField(_("salt"), max_length=32)
    body = models.TextField(_("details"))
    erased_at = models.DateTimeField(_("erased at"), null=True)
    erased_reason = models.CharField(_("why it was erased"), max_length=400)

    class Meta:
        verbose_name = _("trail payload")
        verbose_name_plural = _("trail payloads")
        constraints = [
            models.CheckConstraint(
                condition=(Q(erased_at__isnull=True, erased_reason="") & ~Q(body="") & ~Q(salt=""))
                | (Q(erased_at__isnull=False, body="", salt="") & ~Q(erased_reason="")),
                name="trailpayload_whole_or_erased",
            )
        ]

    def __str__(self) -> str:
        return str(self.entry_id)


class TrailHead(models.Model):
    """The one row that says where the trail ends, and that a writer locks to go on.

    Two transactions must not chain their entries to the same predecessor. On PostgreSQL
    each of them therefore locks this row (``SELECT ... FOR UPDATE``) before it reads the
    last hash, and the second waits until the first commits; locking the last entry itself
    would not do, since the second would wake up holding an entry that is no longer the
    last. On SQLite every writing transaction begins IMMEDIATE, so there is one writer at a
    time anyway. The row also tells when entries are missing from the end of the chain.
    """

    id = models.PositiveSmallIntegerField(primary_key=True, default=1)
    number = models.PositiveBigIntegerField(_("number of the last entry"))
    entry_hash = models.CharField(_("hash of the last entry"), max_length=64)

    class Meta:
        verbose_name = _("end of the trail")
        verbose_name_plural = _("end of the trail")
        constraints = [models.CheckConstraint(condition=Q(id=1), name="trailhead_is_one_row")]

    def __str__(self) -> str:
        return str(self.number)
