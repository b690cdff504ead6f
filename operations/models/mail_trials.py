"""Test mails: whether what the site sends arrives, and who saw it arrive."""

from datetime import datetime, timedelta

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

CLAIM_LAPSES_AFTER = timedelta(minutes=10)
NOT_SENT_AFTER = timedelta(hours=1)
"""Nobody waits any longer for a test mail that no worker has taken up."""
LINK_IS_GOOD_FOR = timedelta(days=7)
MOST_ATTEMPTS = 3


class MailTrialQuerySet(models.QuerySet["MailTrial"]):
    def due(self, now: datetime) -> "MailTrialQuerySet":
        """Neither sent nor refused, asked for of late, and in no worker's hands."""
        live_claim = Q(claimed_at__range=(now - CLAIM_LAPSES_AFTER, now + CLAIM_LAPSES_AFTER))
        return self.filter(
            Q(claimed_at__isnull=True) | ~live_claim,
            sent_at__isnull=True,
            failed_at__isnull=True,
            followed_at__isnull=True,
            attempts__lt=MOST_ATTEMPTS,
            asked_at__gt=now - NOT_SENT_AFTER,
        )

    def claim(self, trial_id: int, now: datetime) -> bool:
        """Claim one; False if another worker was first."""
        free = self.due(now).filter(pk=trial_id)
        return free.update(claimed_at=now, attempts=F("attempts") + 1) == 1


class MailTrial(models.Model):
    """One test mail, its bytes fixed before it is sent, as those of every other mail are.

    ``server`` is where mails went when it was asked for: a trial by another server proves
    nothing of this one. It is the mail server's name and port, or ``FOLDER``.
    """

    FOLDER = "folder"

    class State(models.TextChoices):
        WAITING = "waiting", _("waits to be sent")
        LOST = "lost", _("no worker has sent it")
        FAILED = "failed", _("not sent")
        SENT = "sent", _("sent")
        ARRIVED = "arrived", _("arrived")

    recipient = models.EmailField(_("address"))
    server = models.CharField(_("sent by"), max_length=260)
    raw = models.BinaryField()
    asked_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    asked_at = models.DateTimeField(_("asked for"))
    claimed_at = models.DateTimeField(null=True, blank=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    answer = models.TextField(_("the mail server's last answer"), blank=True)
    sent_at = models.DateTimeField(_("sent"), null=True, blank=True)
    failed_at = models.DateTimeField(_("given up"), null=True, blank=True)
    followed_at = models.DateTimeField(_("its link was followed"), null=True, blank=True)

    objects = MailTrialQuerySet.as_manager()

    class Meta:
        ordering = ["-asked_at", "-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(sent_at__isnull=True) | Q(failed_at__isnull=True),
                name="mail_trial_sent_or_given_up",
            )
        ]

    def __str__(self) -> str:
        return f"{self.recipient}, {self.asked_at:%Y-%m-%d %H:%M}"

    def state(self, now: datetime) -> "MailTrial.State":
        """What became of it by an instant."""
        if self.followed_at is not None:
            return self.State.ARRIVED
        if self.sent_at is not None:
            return self.State.SENT
        if self.failed_at is not None:
            return self.State.FAILED
        if self.attempts >= MOST_ATTEMPTS or self.asked_at <= now - NOT_SENT_AFTER:
            return self.State.LOST
        return self.State.WAITING
