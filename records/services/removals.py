"""Removing in good order what was recorded: the trail says so, and still verifies.

A record is never edited or deleted unseen. Where a rule of the site or somebody's right ends how
long it is kept, one entry of the trail says of each thing that it is gone and why; by that the
database lets its rows go, what the trail said of it is erased, and verification takes its absence
for what it is. The chain keeps the digest of every erased payload.
"""

import json
from collections import defaultdict
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import Max, Q, QuerySet

from records.domain.canonical import canonical_text, sha256_of_text
from records.domain.kinds import kind_of
from records.models import Removal, Signature, TrailEntry, TrailPayload
from records.queries.rebuilding import entry_rebuilder
from records.queries.removals import LEFT, Thing, What, removed_of
from records.queries.trail_acts import ERASED, REMOVED

from .trail import Actor, append_entries, lock_trail

MOST_AT_ONCE = 500
REASON_MAX = 400
WITHIN_LENGTH = 6


@transaction.atomic
def remove(
    *,
    things: Collection[Thing],
    what: str = What.ROW,
    reason: str,
    actor: Actor,
    at: datetime,
) -> list[Thing]:
    """Write down that things are gone, and erase what trail and signatures said of their rows.

    Whoever calls deletes the rows in the same transaction, or the files after it. Of a signature
    under such a row stays who signed, when, what it meant and the hash of what was signed.

    A row or a file goes once. A name may come back with somebody who does, and go again: then one
    more entry says so, beside the one that the `Removal` names.

    Parameters
    ----------
    things : collection of (str, str)
        Kinds and numbers, no more than `MOST_AT_ONCE`.
    what : str
        What of them is gone, one of `Removal.What`.
    reason : str
        Why, in words, without a name; it stays. At most `REASON_MAX` characters.

    Returns
    -------
    list of (str, str)
        Those that were not gone before; of names, all.
    """
    if len(things) > MOST_AT_ONCE:
        raise ValueError(f"At most {MOST_AT_ONCE} things are removed at once.")
    if not reason.strip() or len(reason) > REASON_MAX:
        raise ValueError(f"Say in 1 to {REASON_MAX} characters why it is removed.")
    new = [*dict.fromkeys(things)] if what == What.NAME else _not_yet_gone(things, what)
    if what == What.ROW:
        _erase_all_said_of(new, reason, at)
    _write(new, what, [{"reason": reason}] * len(new), actor, at)
    if what == What.ROW:
        _blank_signatures_of(new)
    return new


@dataclass(frozen=True)
class Sought:
    """Where names and addresses stand in what was signed and what the trail says.

    Attributes
    ----------
    texts : frozenset of str
    through : int
        The last entry of the trail that was looked at.
    signatures, payloads : tuple of int
        Keys of those up to it that hold one of the texts.
    """

    texts: frozenset[str]
    through: int
    signatures: tuple[int, ...]
    payloads: tuple[int, ...]


def look_for(texts: Collection[str]) -> Sought:
    """Look for names and addresses, none of them empty, for `erase_names`.

    Reads all that was ever signed and written down, so it is done before the trail is locked.
    """
    through = TrailEntry.objects.aggregate(last=Max("number"))["last"] or 0
    signatures = Signature.objects.filter(_any_of("content", texts), entry__lte=through)
    payloads = TrailPayload.objects.filter(_any_of("body", texts), entry__lte=through)
    return Sought(
        frozenset(texts),
        through,
        tuple(signatures.order_by("pk").values_list("pk", flat=True)),
        tuple(payloads.order_by("pk").values_list("pk", flat=True)),
    )


@transaction.atomic
def erase_names(
    *,
    sought: Sought,
    shared: Collection[str],
    instead: str,
    person_id: int,
    reason: str,
    actor: Actor,
    at: datetime,
) -> int:
    """Take somebody's names and addresses out of what was signed of them and what the trail said.

    In the text of a signature of theirs ``instead`` takes the place of a name, and the hash of
    what is left is written into the trail: what was certified still reads, and can still not be
    changed unseen. A payload that holds one of the texts goes whole; the chain keeps its digest.
    Where rows are compared with what it said of them, the entry that says so keeps that with
    ``instead`` in the place of a name.

    Parameters
    ----------
    sought : Sought
        Names and addresses with where they stand; what was written since is looked through here.
    shared : collection of str
        Those of the texts that others have too: a payload goes for them only where it holds the
        number as well, so that what was written of a namesake stays.
    instead : str
        Their number.
    person_id : int
        Signed texts name by it whom they are about.

    Returns
    -------
    int
        How many signed texts and payloads were changed.
    """
    lock_trail()  # Of what is written from here on, nobody else is the writer.
    texts = sought.texts
    longest_first = sorted(texts, key=len, reverse=True)
    changed = 0
    signatures = Signature.objects.filter(_any_of("content", texts))
    for signature in _still_holding(signatures, sought.signatures, sought.through):
        content = json.loads(signature.content)
        if content.get("person_id") != person_id:
            continue  # Of somebody else, whom they judged or certified: who signed stays.
        left = canonical_text(_without(content, longest_first, instead))
        thing = (kind_of(Signature.__name__), str(signature.pk))
        said = {"reason": reason, "content_sha256": sha256_of_text(left)}
        _write([thing], What.NAME, [said], actor, at)
        Signature.objects.filter(pk=signature.pk).update(content=left)
        changed += 1
    own = _any_of("body", texts - {*shared})
    theirs = own | (_any_of("body", shared) & _any_of("body", [instead]))

    def left_of(payload: TrailPayload) -> dict[str, Any]:
        if entry_rebuilder(payload.entry.act) is None:
            return {}
        content = json.loads(payload.body)
        if content.get("person_id") != person_id:
            return {}
        return {LEFT: _without(content, longest_first, instead)}

    payloads = TrailPayload.objects.filter(theirs).only("pk")
    found = [each.pk for each in _still_holding(payloads, sought.payloads, sought.through)]
    _erase_payloads(found, left_of, reason, actor, at)
    return changed + len(found)


def _still_holding(rows: QuerySet[Any], keys: Sequence[int], through: int) -> Iterator[Any]:
    """Of these rows those found before, by their keys, and those of later entries, in order."""
    for start in range(0, len(keys), MOST_AT_ONCE):
        yield from rows.filter(pk__in=keys[start : start + MOST_AT_ONCE]).order_by("pk")
    yield from rows.filter(entry__gt=through).order_by("pk")


def _is_sought_within(text: str) -> bool:
    """Whether a text is long enough to be theirs within a sentence too: no word begins so."""
    return len(text) >= WITHIN_LENGTH and not text.isalpha()


def _any_of(field: str, texts: Collection[str]) -> Q:
    """That canonical JSON holds one of these texts; a short one as a whole value alone."""
    holds = Q(pk__in=[])
    for text in texts:
        written = canonical_text(text)
        sought = written[1:-1] if _is_sought_within(text) else written
        holds |= Q(**{f"{field}__contains": sought})
    return holds


def _without(value: Any, texts: Collection[str], instead: str) -> Any:
    if isinstance(value, dict):
        return {name: _without(each, texts, instead) for name, each in value.items()}
    if isinstance(value, list):
        return [_without(each, texts, instead) for each in value]
    if isinstance(value, str):
        for text in texts:
            if value == text:
                return instead
            if _is_sought_within(text):
                value = value.replace(text, instead)
    return value


def _erase_payloads(
    numbers: Sequence[int],
    left_of: Callable[[TrailPayload], dict[str, Any]],
    reason: str,
    actor: Actor,
    at: datetime,
) -> None:
    """Erase payloads; an entry for each says so, and what of it is left."""
    entry_kind = kind_of(TrailEntry.__name__)
    for start in range(0, len(numbers), MOST_AT_ONCE):
        payloads = TrailPayload.objects.filter(pk__in=numbers[start : start + MOST_AT_ONCE])
        items = [
            ((entry_kind, str(payload.pk)), {"reason": reason, **left_of(payload)})
            for payload in payloads.select_related("entry").order_by("pk")
        ]
        append_entries(actor=actor, act=ERASED, items=items, at=at)
        payloads.update(body="", salt="", erased_at=at, erased_reason=reason)


def _not_yet_gone(things: Collection[Thing], what: str) -> list[Thing]:
    lock_trail()  # Of two who remove the same, the second finds it gone.
    gone = removed_of(things, what)
    return [thing for thing in dict.fromkeys(things) if thing not in gone]


def _write(
    things: Collection[Thing],
    what: str,
    said: Collection[dict[str, Any]],
    actor: Actor,
    at: datetime,
) -> None:
    entries = append_entries(
        actor=actor, act=REMOVED[what], items=zip(things, said, strict=True), at=at
    )
    gone = removed_of(things, what)  # The trail is locked by now.
    Removal.objects.bulk_create(
        Removal(about_type=kind, about_id=number, what=what, entry=entry)
        for (kind, number), entry in zip(things, entries, strict=True)
        if (kind, number) not in gone
    )


def _erase_all_said_of(things: Collection[Thing], reason: str, at: datetime) -> None:
    by_kind: dict[str, list[str]] = defaultdict(list)
    for kind, number in things:
        by_kind[kind].append(number)
    for kind, numbers in by_kind.items():
        about = TrailEntry.objects.filter(about_type=kind, about_id__in=numbers)
        TrailPayload.objects.filter(
            entry__in=about.values("number"), erased_at__isnull=True
        ).update(body="", salt="", erased_at=at, erased_reason=reason)


def _blank_signatures_of(things: Collection[Thing]) -> None:
    """Blank what was signed of things whose row is gone, once a `Removal` says so."""
    by_kind: dict[str, list[str]] = defaultdict(list)
    for kind, number in things:
        by_kind[kind].append(number)
    for kind, numbers in by_kind.items():
        signed = Signature.objects.filter(about_type=kind, about_id__in=numbers)
        signed.exclude(content="").update(content="")
