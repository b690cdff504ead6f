"""What is gone because somebody decided so, and whether the trail says it."""

import json
from collections import defaultdict
from collections.abc import Iterable, Mapping
from typing import Any

from django.db.models import Case, CharField, F, Q, QuerySet, Value, When

from records.domain.kinds import kind_of
from records.models import Removal, Signature, TrailEntry, TrailPayload

from .trail_acts import ERASED, REMOVED

Thing = tuple[str, str]
"""A kind of thing and its number."""
What = Removal.What
LEFT = "left"
"""Under which an entry that says of a payload that it is erased keeps what of it is left."""


def removed_of(things: Iterable[Thing], what: str = What.ROW) -> set[Thing]:
    """Which of these things are gone."""
    return {*entries_of_removals(things, what)}


def entries_of_removals(things: Iterable[Thing], what: str = What.ROW) -> dict[Thing, int]:
    """Of those of these things that are gone the number of the entry that says so."""
    by_kind: dict[str, set[str]] = defaultdict(set)
    for kind, number in things:
        by_kind[kind].add(number)
    gone: dict[Thing, int] = {}
    for kind, numbers in by_kind.items():
        rows = Removal.objects.filter(about_type=kind, about_id__in=numbers, what=what)
        for number, entry in rows.values_list("about_id", "entry_id"):
            gone[kind, number] = entry
    return gone


def left_of_signature(number: int) -> str | None:
    """The hash of what is left of a signed text, as the trail says it; None where it is whole.

    Names may have been erased from it more than once: the last entry that says so counts.
    """
    says = TrailEntry.objects.filter(
        about_type=kind_of(Signature.__name__), about_id=str(number), act=REMOVED[What.NAME]
    )
    last = says.select_related("payload").order_by("number").last()
    if last is None:
        return None
    return str(json.loads(last.payload.body or "{}").get("content_sha256", ""))


def left_of_payloads(numbers: Iterable[int]) -> dict[int, Mapping[str, Any]]:
    """What is left of erased payloads, as the trail says it, by the number of their entries."""
    says = TrailPayload.objects.filter(
        entry__act=ERASED,
        entry__about_type=kind_of(TrailEntry.__name__),
        entry__about_id__in=[str(number) for number in numbers],
        erased_at__isnull=True,
    )
    left: dict[int, Mapping[str, Any]] = {}
    for number, body in says.values_list("entry__about_id", "body"):
        said = json.loads(body)
        if LEFT in said:
            left[int(number)] = said[LEFT]
    return left


def is_removed(kind: str, number: object, what: str) -> bool:
    return (kind, str(number)) in removed_of([(kind, str(number))], what)


def removals_without_entry() -> QuerySet[Removal]:
    """Those whose entry is about something else, or says something else of it."""
    act = Case(
        *(When(what=what, then=Value(act)) for what, act in REMOVED.items()),
        default=Value(""),
        output_field=CharField(),
    )
    says = Q(entry__act=act, entry__about_type=F("about_type"), entry__about_id=F("about_id"))
    return Removal.objects.exclude(says).order_by("pk")
