"""What people are told before something ends, and the messages that carry it."""

from datetime import datetime, timedelta

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from people.models import Person, Site
from records.models import Recorded

CLAIM_LAPSES_AFTER = timedelta(minutes=10)
MOST_ATTEMPTS = 10


def _live_claim(now: datetime) -> Q:
    """A claim from the future was made while the clock was wrong, and lapses as well."""
    return Q(claimed_at__range=(now - CLAIM_LAPSES_AFTER, now + CLAIM_LAPSES_AFTER))


class MessageQuerySet(models.QuerySet["Message"]):
    def unsent(self) -> "MessageQuerySet":
        """Neither sent nor withdrawn, though sending it may have been given up."""
        return self.filter(sent_at__isnull=True, withdrawn_at__isnull=True)

    def of_reminders(self) -> "MessageQuerySet":
        """Those that are written anew with each day; letters and notes go out as they are."""
        return self.filter(carries=Message.Carries.REMINDERS)

    def in_hands(self, now: datetime) -> "MessageQuerySet":
        """Being sent just now, as far as anybody can tell."""
        return self.filter(_live_claim(now))

    def unclaimed(self, now: datetime) -> "MessageQuerySet":
        """In nobody's hands, or in those of somebody who has not answered for long."""
        return self.filter(Q(claimed_at__isnull=True) | ~_live_claim(now))

    def due(self, now: datetime) -> "MessageQuerySet":
        """Unsent, their time come, and in nobody's hands."""
        return self.unsent().unclaimed(now).filter(due_at__lte=now, failed_at__isnull=True)

    def claim(self, message_id: int, now: datetime) -> bool:
        """Claim one due message; False if another worker was first.

        The attempt counts from here, so one that kills its worker counts too.
        """
        free = self.due(now).filter(id=message_id, attempts__lt=MOST_ATTEMPTS)
        return free.update(claimed_at=now, attempts=F("attempts") + 1) == 1

    def in_state(self, state: "Message.State") -> "MessageQuerySet":
        """Messages whose `Message.state` it is."""
        states = Message.State
        if state == states.SENT:
            return self.filter(sent_at__isnull=False)
        if state == states.WITHDRAWN:
            return self.filter(sent_at__isnull=True, withdrawn_at__isnull=False)
        if state == states.FAILED:
            return self.unsent().filter(failed_at__isnull=False)
        tried = Q(attempts__gt=0) & ~Q(answer="")
        queued = self.unsent().filter(failed_at__isnull=True)
        return queued.filter(tried) if state == states.RETRIED else queued.exclude(tried)

    def with_list_columns(self) -> "MessageQuerySet":
        """Everything a line in a list of messages shows, in one query and without the bytes."""
        return self.select_related("site", "person").defer("raw")


class Message(Recorded):
    """One mail, its bytes and Message-ID fixed before the first attempt to send it."""

    class State(models.TextChoices):
        WAITING = "waiting", _("waits to be sent")
        RETRIED = "retried", _("not sent yet, tried again")
        FAILED = "failed", _("not sent, given up")
        WITHDRAWN = "withdrawn", _("withdrawn, never sent")
        SENT = "sent", _("sent")

    class Carries(models.TextChoices):
        REMINDERS = "reminders", _("reminders")
        CLASS_LETTER = "class", _("a letter about a class")
        TOOL_NOTE = "tool", _("a note about a tool")
        PAPER_NOTE = "paper", _("a note about a written test")

    carries = models.CharField(
        _("what it carries"), max_length=12, choices=Carries.choices, default=Carries.REMINDERS
    )
    message_id = models.CharField(max_length=120, unique=True)
    site = models.ForeignKey(Site, models.PROTECT, related_name="messages")
    person = models.ForeignKey(
        Person,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="messages",
        verbose_name=_("to"),
        help_text=_("Nobody where several people read mail at the address."),
    )
    recipient = models.CharField(_("address"), max_length=254)
    day = models.DateField(_("day"), help_text=_("In the site's calendar."))
    subject = models.CharField(_("subject"), max_length=200)
    raw = models.BinaryField()
    due_at = models.DateTimeField(_("due"))
    claimed_at = models.DateTimeField(null=True, blank=True)
    attempts = models.PositiveSmallIntegerField(_("attempts"), default=0)
    answer = models.TextField(_("the mail server's last answer"), blank=True)
    refused = models.BooleanField(_("refused for good by the mail server"), default=False)
    sent_at = models.DateTimeField(_("sent"), null=True, blank=True)
    failed_at = models.DateTimeField(_("given up"), null=True, blank=True)
    withdrawn_at = models.DateTimeField(_("withdrawn"), null=True, blank=True)
    why_withdrawn = models.CharField(_("why"), max_length=200, blank=True)

    objects = MessageQuerySet.as_manager()

    class Meta:
        ordering = ["-due_at", "-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["recipient", "day"],
                condition=Q(carries="reminders"),
                name="message_one_a_day_each",
            )
        ]
        indexes = [models.Index(fields=["sent_at", "due_at"], name="message_due")]

    def __str__(self) -> str:
        return self.subject

    @property
    def state(self) -> "Message.State":
        if self.sent_at is not None:
            return self.State.SENT
        if self.withdrawn_at is not None:
            return self.State.WITHDRAWN
        if self.failed_at is not None:
            return self.State.FAILED
        return self.State.RETRIED if self.attempts and self.answer else self.State.WAITING


class ReminderQuerySet(models.QuerySet["Reminder"]):
    def unsent(self) -> "ReminderQuerySet":
        """Waiting for a message, or in one that has not gone out."""
        return self.filter(state__in=Reminder.OPEN_STATES).filter(
            Q(message__isnull=True) | Q(message__sent_at__isnull=True)
        )


class Reminder(Recorded):
    """One step before one end, for one reader: once, whatever happens to the worker.

    The reader is a person and not an address, so that a new address repeats nothing.
    """

    class State(models.TextChoices):
        WAITING = "waiting", _("waits for the next message")
        WRITTEN = "written", _("in a message")
        LISTED = "listed", _("on the printed list: no address")
        OVERTAKEN = "overtaken", _("overtaken")
        DROPPED = "dropped", _("no longer needed")

    OPEN_STATES = (State.WAITING, State.WRITTEN)

    person = models.ForeignKey(Person, models.PROTECT, related_name="reminders")
    source = models.CharField(_("source"), max_length=80)
    kind = models.CharField(_("what ends"), max_length=12)
    ends_on = models.DateField(_("last good day"))
    step = models.SmallIntegerField(_("days before"), help_text=_("-1 is the day after."))
    recipient = models.ForeignKey(
        Person, models.PROTECT, related_name="reminders_read", verbose_name=_("reader")
    )
    state = models.CharField(_("state"), max_length=12, choices=State.choices)
    why = models.CharField(_("why"), max_length=200, blank=True)
    message = models.ForeignKey(
        Message, models.PROTECT, null=True, blank=True, related_name="reminders"
    )

    objects = ReminderQuerySet.as_manager()

    class Meta:
        ordering = ["-recorded_at", "-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["person", "source", "kind", "ends_on", "step", "recipient"],
                name="reminder_once",
            )
        ]
        indexes = [models.Index(fields=["recipient", "state"], name="reminder_by_reader_and_state")]

    def __str__(self) -> str:
        return f"{self.person}: {self.source}, {self.step}"


class SiteSweep(models.Model):
    """How far the reminders of a site are written: one row a site, for the health page too."""

    site = models.OneToOneField(Site, models.CASCADE, primary_key=True, related_name="sweep")
    day = models.DateField(_("last day swept to its end"))
    finished_at = models.DateTimeField(_("finished"))

    def __str__(self) -> str:
        return f"{self.site}: {self.day}"
