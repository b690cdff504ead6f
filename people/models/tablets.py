"""Tablets that several people use, and the badge and PIN that open them for looking."""

from django.conf import settings
from django.contrib.sessions.models import Session
from django.db import models
from django.db.models import Q
from django.db.models.functions import Lower
from django.utils.translation import gettext_lazy as _

from records.models import Recorded

from .people import Site


class SharedTabletQuerySet(models.QuerySet["SharedTablet"]):
    def in_use(self) -> "SharedTabletQuerySet":
        return self.filter(revoked_at__isnull=True)


class SharedTablet(Recorded):
    """One browser that was declared shared; it shows a token, of which the hash is kept."""

    site = models.ForeignKey(Site, models.PROTECT, related_name="tablets")
    name = models.CharField(_("name"), max_length=60)
    token_hash = models.CharField(max_length=64, unique=True)
    declared_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    revoked_at = models.DateTimeField(_("no longer shared since"), null=True, blank=True)

    objects = SharedTabletQuerySet.as_manager()

    class Meta:
        ordering = ["site__name", "name", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["site", "name"],
                condition=Q(revoked_at__isnull=True),
                name="tablet_name_once_a_site",
            )
        ]

    def __str__(self) -> str:
        return self.name


class TabletUse(models.Model):
    """When a session at a shared tablet was last used, and whether it is locked.

    It stands beside the session, since a session is saved whole when a request ends: one that
    began before the lock would undo it. It is of the session's key and ends with it, so whoever
    gives the session another key, having asked who is there, unlocks it.
    """

    session = models.OneToOneField(Session, models.CASCADE, primary_key=True, related_name="+")
    seen_at = models.DateTimeField()
    locked = models.BooleanField(default=False)

    def __str__(self) -> str:
        return f"{self.seen_at:%d %b %Y %H:%M:%S}{', locked' if self.locked else ''}"


class BadgePin(models.Model):
    """What opens a shared tablet for looking: a PIN, and a badge beside the employee number."""

    user = models.OneToOneField(settings.AUTH_USER_MODEL, models.CASCADE, related_name="badge_pin")
    badge = models.CharField(_("badge"), max_length=64, blank=True)
    pin_hash = models.CharField(max_length=200)
    set_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                Lower("badge"), condition=~Q(badge=""), name="badge_is_one_person"
            )
        ]

    def __str__(self) -> str:
        return str(self.user)


class WrongTries(models.Model):
    """Wrong tries in a row, and until when nothing is tried.

    Of one person's password or PIN, from one address, at one tablet, or of a badge or login that
    is nobody's; `people.services.tries` and `people.services.tablets` say which.
    """

    key = models.CharField(max_length=40, unique=True)
    failures = models.PositiveIntegerField(default=0)
    wait_until = models.DateTimeField(null=True)

    def __str__(self) -> str:
        return f"{self.key}: {self.failures}"
