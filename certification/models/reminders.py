"""What people are told before something ends, and the messages that carry it."""

from datetime import datetime, timedelta

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from records.models import Recorded
from training.models import Person, Site

CLAIM_LAPSES_AFTER = timedelta(minutes=10)


class MessageQuerySet(models.QuerySet["Message"]):
    def due(self, now: datetime) -> "MessageQuerySet":
        """Unsent, their time come, and in nobody's hands."""
        free = Q(claimed_at__isnull=True) | Q(claimed_at__lt=now - CLAIM_LAPSES_AFTER)
        return self.filter(free, due_at__lte=now, sent_at__isnull=True, failed_at__isnull=True)

    def claim(self, message_id: int, now: datetime) -> bool:
        """Claim one due message; False if another worker was first."""
        return self.due(now).filter(id=message_id).update(claimed_at=now) == 1


class Message(Recorded):
    """One mail, its bytes and Message-ID fixed before the first attempt to send it."""

    message_id = models.CharField(max_length=120, unique=True)
    site = models.ForeignKey(Site, models.PROTECT, related_name="messages")
    person = models.ForeignKey(
        Person, models.PROTECT, null=True, related_name="messages", verbose_name=_("to")
    )
    recipient = models.CharField(_("address"), max_length=254)
    day = models.DateField(_("day"), help_text=_("In the site's calendar."))
    subject = models.CharField(_("subject"), max_length=200)
    raw = models.BinaryField()
    due_at = models.DateTimeField(_("due"))
    claimed_at = models.DateTimeField(null=True, blank=True)
    attempts = models.PositiveSmallIntegerField(_("attempts"), default=0)
    last_error = models.TextField(_("the server's last answer"), blank=True)
    sent_at = models.DateTimeField(_("sent"), null=True, blank=True)
    failed_at = models.DateTimeField(_("given up"), null=True, blank=True)

    objects = MessageQuerySet.as_manager()

    class Meta:
        ordering = ["-due_at", "-id"]
        constraints = [
            models.UniqueConstraint(fields=["recipient", "day"], name="message_one_a_day_each")
        ]
        indexes = [models.Index(fields=["sent_at", "due_at"], name="message_due")]

    def __str__(self) -> str:
        return self.subject


class Reminder(Recorded):
    """One step before one end, for one recipient: once, whatever happens to the worker."""

    class State(models.TextChoices):
        WRITTEN = "written", _("in a message")
        LISTED = "listed", _("on a printed list: no address")
        OVERTAKEN = "overtaken", _("overtaken")
        DROPPED = "dropped", _("no longer needed")

    person = models.ForeignKey(Person, models.PROTECT, related_name="reminders")
    source = models.CharField(_("source"), max_length=80)
    kind = models.CharField(_("what ends"), max_length=12)
    ends_on = models.DateField(_("last good day"))
    step = models.SmallIntegerField(_("days before"), help_text=_("-1 is the day after."))
    recipient = models.CharField(_("recipient"), max_length=254)
    state = models.CharField(_("state"), max_length=12, choices=State.choices)
    why = models.CharField(_("why"), max_length=200, blank=True)
    message = models.ForeignKey(
        Message, models.PROTECT, null=True, blank=True, related_name="reminders"
    )

    class Meta:
        ordering = ["-recorded_at", "-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["person", "source", "kind", "ends_on", "step", "recipient"],
                name="reminder_once",
            )
        ]

    def __str__(self) -> str:
        return f"{self.person}: {self.source}, {self.step}"
