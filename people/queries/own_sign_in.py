"""The latest of what the trail says of somebody's own sign-in."""

import json
from dataclasses import dataclass
from datetime import datetime

from django.db.models import QuerySet

from people.models import User
from records.models import TrailEntry

SHOWN = 50
AT_TABLETS = (
    "tablet opened by badge and PIN",
    "tablet opened in full",
    "printed PIN given at a tablet",
)


@dataclass(frozen=True)
class SignInAct:
    """One entry, as far as its owner is shown it."""

    at: datetime
    act: str
    by: str
    address: str
    before: tuple[str, ...]
    after: tuple[str, ...]


def own_sign_in_acts(user: User) -> list[SignInAct]:
    """What was done with a sign-in and to it, and refused, the latest first."""
    entries = TrailEntry.objects.select_related("payload", "actor__person").order_by("-number")
    about = entries.filter(about_type="sign-in", about_id=str(user.pk))
    at_tablets = entries.filter(actor=user, act__in=AT_TABLETS)
    latest = {entry.number: entry for entry in (*_first(about), *_first(at_tablets))}
    return [_act(latest[number], user) for number in sorted(latest, reverse=True)[:SHOWN]]


def _first(entries: QuerySet[TrailEntry]) -> QuerySet[TrailEntry]:
    return entries[:SHOWN]


def _act(entry: TrailEntry, user: User) -> SignInAct:
    details = json.loads(entry.payload.body) if entry.payload.body else {}
    is_own = entry.actor_id == user.pk
    by = "" if is_own else str(entry.actor or "")
    return SignInAct(
        at=entry.recorded_at,
        act=entry.act,
        by=by,
        address=details.get("from") or details.get("tablet") or "",
        before=_texts(details.get("before")),
        after=_texts(details.get("after")),
    )


def _texts(value: object) -> tuple[str, ...]:
    if isinstance(value, list):
        return tuple(map(str, value))
    return (str(value),) if value else ()
