"""Web hooks, what each has been sent of everybody's standing, and the ledger of deliveries."""

import secrets
from datetime import datetime

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from certification.models.schemes import Scope
from certification.models.standing import LONGEST_RESTRICTION
from people.models import Person, Site, User
from records.models import Recorded
from reminders.models.reminders import CLAIM_LAPSES_AFTER, Reminder

MOST_HOOK_ATTEMPTS = 30
"""A minute, doubling up to an hour, so about a day in all: time to bring a system up again."""


class HookEvent(models.TextChoices):
    CERTIFIED = "certified", _("certified")
    ABOUT_TO_END = "about_to_end", _("about to end")
    ENDED = "ended", _("ended")
    SUSPENDED = "suspended", _("suspended")
    REINSTATED = "reinstated", _("reinstated")


def new_secret() -> str:
    return secrets.token_urlsafe(32)


class WebHookQuerySet(models.QuerySet["WebHook"]):
    def in_use(self) -> "WebHookQuerySet":
        return self.filter(stopped_at__isnull=True)

    def with_list_columns(self) -> "WebHookQuerySet":
        """Everything a line in the list shows, in one query: those in use first."""
        states = WebHookDelivery.State
        counts = {
            str(state): models.Count("deliveries", filter=Q(deliveries__in=deliveries))
            for state, deliveries in (
                (states.RETRIED, WebHookDelivery.objects.in_state(states.RETRIED)),
                (states.FAILED, WebHookDelivery.objects.in_state(states.FAILED)),
            )
        }
        return (
            self.select_related("site", "made_by__person")
            .annotate(**counts, last_taken=models.Max("deliveries__accepted_at"))
            .order_by(F("stopped_at").desc(nulls_first=True), "name", "pk")
        )


class WebHook(Recorded):
    """An address that hears of one site's people; a change of it is another web hook."""

    site = models.ForeignKey(Site, models.PROTECT, related_name="web_hooks", verbose_name=_("site"))
    name = models.CharField(_("name"), max_length=80)
    address = models.CharField(_("address"), max_length=400)
    secret = models.CharField(max_length=64, default=new_secret, editable=False)
    events = models.JSONField(_("events"))
    made_by = models.ForeignKey(User, models.PROTECT, related_name="+")
    stopped_at = models.DateTimeField(_("stopped"), null=True, blank=True)

    objects = WebHookQuerySet.as_manager()

    class Meta:
        ordering = ["name", "id"]

    def __str__(self) -> str:
        return self.name

    @property
    def event_words(self) -> str:
        return ", ".join(str(HookEvent(event).label) for event in self.events)


class ReportedStanding(models.Model):
    """The standing of one person and scope that a web hook has taken note of last.

    What is news is worked out against it, so that an act, a lapse of time, a correction and
    an import are all noticed the same way. A restriction is noted while somebody is certified.
    """

    hook = models.ForeignKey(WebHook, models.CASCADE, related_name="reported_standings")
    person = models.ForeignKey(Person, models.CASCADE, related_name="+")
    scope = models.ForeignKey(Scope, models.CASCADE, related_name="+")
    standing = models.CharField(max_length=24)
    certificate_id = models.BigIntegerField(null=True)
    restriction = models.CharField(max_length=LONGEST_RESTRICTION, blank=True, default="")
    number = models.PositiveIntegerField(default=0)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["hook", "person", "scope"], name="reported_standing_once_a_scope"
            )
        ]

    def __str__(self) -> str:
        return f"{self.hook}: {self.person}, {self.scope}: {self.standing}"


class WebHookDeliveryQuerySet(models.QuerySet["WebHookDelivery"]):
    def to_be_sent(self, now: datetime) -> "WebHookDeliveryQuerySet":
        """Neither taken nor given up, their time come, and in nobody's living hands."""
        free = Q(claimed_at__isnull=True) | Q(claimed_at__lt=now - CLAIM_LAPSES_AFTER)
        return self.filter(free, accepted_at__isnull=True, failed_at__isnull=True, due_at__lte=now)

    def due(self, now: datetime) -> "WebHookDeliveryQuerySet":
        """To be sent, and their web hook is in use."""
        return self.to_be_sent(now).filter(hook__stopped_at__isnull=True)

    def claim(self, pk: int, now: datetime) -> bool:
        """Claim one that is to be sent; False if another worker was first.

        The attempt counts from here. Asks its own table alone: what another worker has just
        changed there is seen, where a row of a joined one would be the one before.
        """
        free = self.to_be_sent(now).filter(pk=pk, attempts__lt=MOST_HOOK_ATTEMPTS)
        return free.update(claimed_at=now, attempts=F("attempts") + 1) == 1

    def in_state(self, state: str) -> "WebHookDeliveryQuerySet":
        """Deliveries whose `WebHookDelivery.state` it is."""
        states = WebHookDelivery.State
        if state == states.ACCEPTED:
            return self.filter(accepted_at__isnull=False)
        left = self.filter(accepted_at__isnull=True)
        if state == states.FAILED:
            return left.filter(failed_at__isnull=False)
        left = left.filter(failed_at__isnull=True)
        if state == states.STOPPED:
            return left.filter(hook__stopped_at__isnull=False)
        unsent = left.filter(hook__stopped_at__isnull=True)
        tried = Q(attempts__gt=0) & ~Q(answer="")
        return unsent.filter(tried) if state == states.RETRIED else unsent.exclude(tried)

    def with_list_columns(self) -> "WebHookDeliveryQuerySet":
        """Everything a line in the list shows, in one query and without the bytes."""
        return self.select_related("hook__site", "person").defer("body")


class WebHookDelivery(Recorded):
    """One event for one web hook: its bytes and id are fixed before the first attempt."""

    class State(models.TextChoices):
        WAITING = "waiting", _("waits to be sent")
        RETRIED = "retried", _("not taken yet, tried again")
        FAILED = "failed", _("not taken, given up")
        STOPPED = "stopped", _("not sent: the web hook was stopped")
        ACCEPTED = "accepted", _("taken")

    hook = models.ForeignKey(WebHook, models.PROTECT, related_name="deliveries")
    event_key = models.CharField(max_length=120)
    event = models.CharField(_("event"), max_length=16, choices=HookEvent.choices)
    person = models.ForeignKey(Person, models.PROTECT, related_name="+")
    # Reminders go with the name of somebody who is erased; that there was a delivery stays.
    reminder = models.ForeignKey(Reminder, models.SET_NULL, null=True, related_name="+")
    delivery_id = models.CharField(max_length=32, unique=True)
    body = models.BinaryField()
    due_at = models.DateTimeField(_("due"))
    claimed_at = models.DateTimeField(null=True, blank=True)
    attempts = models.PositiveSmallIntegerField(_("attempts"), default=0)
    answer = models.CharField(_("last answer"), max_length=200, blank=True)
    accepted_at = models.DateTimeField(_("taken"), null=True, blank=True)
    failed_at = models.DateTimeField(_("given up"), null=True, blank=True)

    objects = WebHookDeliveryQuerySet.as_manager()

    class Meta:
        ordering = ["-recorded_at", "-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["hook", "event_key"], name="web_hook_delivery_once_an_event"
            )
        ]
        indexes = [models.Index(fields=["accepted_at", "due_at"], name="web_hook_delivery_due")]

    def __str__(self) -> str:
        return f"{self.hook}: {self.event_key}"

    @property
    def state(self) -> "WebHookDelivery.State":
        if self.accepted_at is not None:
            return self.State.ACCEPTED
        if self.failed_at is not None:
            return self.State.FAILED
        if self.hook.stopped_at is not None:
            return self.State.STOPPED
        return self.State.RETRIED if self.attempts and self.answer else self.State.WAITING
