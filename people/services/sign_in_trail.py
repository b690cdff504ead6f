"""What the trail keeps of signing in: who did and could not, and what changed of their sign-in."""

from datetime import datetime, timedelta

from django.db import transaction

from people.models import User
from records.models import TrailEntry
from records.services import trail

SIGNED_IN = "signed in"
SIGNED_IN_ONE_TIME = "signed in with a one-time password"
SIGNED_OUT = "signed out"
REFUSED = "sign-in refused"
CODE_REFUSED = "second factor refused"
PROOF_REFUSED = "password refused"
LINK_SENT = "link to a new password sent"

KIND, NOBODYS = "sign-in", "0"
MOST_AN_HOUR = 12


@transaction.atomic
def record_signed_in(user: User, *, address: str, at: datetime) -> None:
    act = SIGNED_IN_ONE_TIME if user.password_is_one_time else SIGNED_IN
    payload = {"from": address}
    if user.proved_with:
        payload["with"] = user.proved_with
    trail.record(actor=user, act=act, about=user, payload=payload, at=at)


@transaction.atomic
def record_signed_out(user: User, *, at: datetime) -> None:
    trail.record(actor=user, act=SIGNED_OUT, about=user, at=at)


@transaction.atomic
def record_bounded(act: str, user: User | None, *, address: str, at: datetime) -> None:
    """Record what strangers can have happen, of each sign-in so many times an hour.

    Nobody has shown who they are, so it has no actor. Nothing that was typed is kept: instead
    of a number it may have been a password. What is nobody's stands under one number together.
    """
    about = (KIND, str(user.pk) if user else NOBODYS)
    lately = TrailEntry.objects.filter(
        about_type=about[0], about_id=about[1], act=act, recorded_at__gt=at - timedelta(hours=1)
    )
    # Locked first, so that many at once do not each find room for one more.
    trail.lock_trail()
    if lately.count() < MOST_AN_HOUR:
        trail.record(actor=None, act=act, about=about, payload={"from": address}, at=at)
