"""Addresses of calendar feeds: made, renewed and stopped by their owner, and looked up.

The address is the whole key, so it is long and random, shown once, and kept as a hash: who
reads the database, or an old back-up, cannot follow anybody's calendar with it.
"""

import hashlib
import secrets
from datetime import date, datetime

from django.db import transaction

from people.models import Person, User
from records.services import trail
from reminders.models import CalendarFeed

SECRET_BYTES = 32


def _hash_of(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()


@transaction.atomic
def make_address(*, person: Person, in_full: bool, actor: User, at: datetime) -> str:
    """Give somebody a new address and return its secret; the one before stops at once."""
    secret = secrets.token_urlsafe(SECRET_BYTES)
    _feed, made = CalendarFeed.objects.update_or_create(
        person=person,
        defaults={
            "secret_sha256": _hash_of(secret),
            "in_full": in_full,
            "made_at": at,
            "last_read_on": None,
        },
    )
    trail.record(
        actor=actor,
        act="calendar address made" if made else "calendar address renewed",
        about=person,
        at=at,
    )
    return secret


@transaction.atomic
def stop_address(*, person: Person, actor: User, at: datetime) -> bool:
    """Let nobody fetch somebody's calendar any more; False if there was no address."""
    if not CalendarFeed.objects.filter(person=person).delete()[0]:
        return False
    trail.record(actor=actor, act="calendar address stopped", about=person, at=at)
    return True


def feed_by_secret(secret: str, now: datetime) -> CalendarFeed | None:
    """The feed behind a secret, as long as the person works here and may sign in."""
    feed = (
        CalendarFeed.objects.filter(secret_sha256=_hash_of(secret))
        .exclude(person__user__is_active=False)
        .select_related("person__site", "person__line_lead")
        .first()
    )
    return None if feed is None or feed.person.has_left(now) else feed


def record_reading(feed: CalendarFeed, day: date) -> None:
    """Keep the last day the address was fetched: its owner sees whether it is in use."""
    if feed.last_read_on != day:
        CalendarFeed.objects.filter(pk=feed.pk, secret_sha256=feed.secret_sha256).update(
            last_read_on=day
        )
