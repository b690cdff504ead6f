"""Does everything that was written down still fit together, and do the rows still say it?

Walks the trail from its first entry, works every hash out again, compares each signature
with what the trail says of it, rebuilds what was signed and written down from the rows as
they stand (`records.queries.rebuilding`), looks for rows that nobody wrote down, compares the
triggers by which the database refuses changes with those it should have, and hashes the files
that other apps have registered. Reads a batch at a time, so it needs no more memory for a
million entries than for a thousand, and may run while others write.

Who rewrites the chain itself, from a changed entry to its end, or cuts its end off, leaves a
chain that fits. That shows by the ends that left the house before (`records.queries.heads`).
"""

import hashlib
import json
from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from pathlib import Path
from typing import BinaryIO

from django.core.exceptions import ObjectDoesNotExist
from django.db import connections, router
from django.db.backends.base.base import BaseDatabaseWrapper

from records.domain.canonical import canonical_text, sha256_of_text
from records.domain.chain import FIRST_PREVIOUS_HASH, entry_hash, payload_digest
from records.domain.kinds import kind_of
from records.models import Removal, Signature, TrailEntry, TrailHead, TrailPayload, append_only

from . import heads, rebuilding, removals
from .applied_migrations import unknown_migrations
from .rebuilding import Written
from .trail_acts import ERASED, SIGNED, signature_payload

BATCH = 1000
SIGNATURE_BATCH = 50
"""Fewer, since a signature may stand under some hundreds of rows."""
MOST_FAULTS = 200
"""Of rows that do not fit; who changed a table as a whole is not listed row by row."""

Opener = Callable[[], AbstractContextManager[BinaryIO]]
FileSource = Callable[[], Iterable[tuple[str, str | Path | Opener, str]]]

_file_sources: list[FileSource] = []


def register_files(source: FileSource) -> None:
    """Have files checked too; called by a higher app when it starts.

    The source yields, for each file, what to call it in a report (``"photo 12"``), its path
    or a function that opens it for reading bytes, and the SHA-256 it should have.
    """
    if source not in _file_sources:
        _file_sources.append(source)


@dataclass(frozen=True)
class Fault:
    """One thing that does not fit."""

    where: str
    reason: str

    def __str__(self) -> str:
        return f"{self.where} {self.reason}"


@dataclass
class Report:
    """How much was looked at, and what did not fit, in the order it was found."""

    entries: int = 0
    erased: int = 0
    signatures: int = 0
    compared: int = 0
    not_compared: int = 0
    not_rebuilt: int = 0
    removed: int = 0
    files: int = 0
    heads: int = 0
    row_faults: int = 0
    faults: list[Fault] = field(default_factory=list)

    @property
    def fits(self) -> bool:
        return not self.faults

    @property
    def fault_count(self) -> int:
        """How much does not fit, those rows with it that are not named one by one."""
        unnamed = max(self.row_faults - MOST_FAULTS, 0)
        return len(self.faults) + max(unnamed - 1, 0)

    def add_row_fault(self, where: str, reason: str) -> None:
        self.row_faults += 1
        if self.row_faults <= MOST_FAULTS:
            self.faults.append(Fault(where, reason))


def verify_records(*, with_files: bool = True) -> Report:
    """Check trail, signatures, rows, triggers and files.

    Of the trail and of the signatures the first that does not fit is named, since the
    entries after a broken one prove nothing; of triggers and files every one, of rows no more
    than `MOST_FAULTS`, and how many there are.
    """
    report = Report()
    _check_trail(report)
    _check_signatures(report)
    _check_kept_tables(report)
    _check_removals(report)
    if report.row_faults > MOST_FAULTS:
        more = report.row_faults - MOST_FAULTS
        report.faults.append(Fault(f"{more:,} more rows", "are not what was written down."))
    connection = connections[router.db_for_read(TrailEntry)]
    _check_triggers(report, connection)
    _check_heads(report)
    if with_files:
        _check_files(report)
    return report


def _check_triggers(report: Report, connection: BaseDatabaseWrapper) -> None:
    unlike = append_only.unlike_expected(connection)
    newer = unknown_migrations(connection)[-1:] if unlike else []
    for name, is_there in unlike.items():
        what = "does something else than it should" if is_there else "is missing"
        reason = f"{what}: the table can be changed unseen. Run manage.py prepare to put it back."
        if newer:
            # Still a fault: who can write into the database can also say that it is newer.
            reason = (
                f"{what}. A newer version has prepared this database ({newer[0]} is not known "
                "here): verify with that one, and put nothing back with this one."
            )
        report.faults.append(Fault(f"database trigger {name}", reason))


def _check_trail(report: Report) -> None:
    number, previous = 0, FIRST_PREVIOUS_HASH
    while True:
        batch = TrailEntry.objects.filter(number__gt=number).select_related("payload")
        entries = list(batch.order_by("number")[:BATCH])
        told = _told_erasures(entries)
        for entry in entries:
            if entry.number != number + 1:
                reason = f"is missing: the next one there is {entry.number}."
                report.faults.append(Fault(f"trail entry {number + 1}", reason))
                return
            if reason := _chain_fault(entry, previous) or _payload_fault(entry, told):
                report.faults.append(Fault(f"trail entry {entry.number}", reason))
                return
            report.entries += 1
            report.erased += entry.payload.erased_at is not None
            number, previous = entry.number, entry.entry_hash
        _compare_entries(report, entries)
        if not entries and _check_end(report, number, previous):
            return


def _compare_entries(report: Report, entries: Sequence[TrailEntry]) -> None:
    """Rebuild the details of entries from the rows, one table after another."""
    by_rebuilder: dict[int, list[Written]] = defaultdict(list)
    rebuilders: dict[int, rebuilding.Rebuilder] = {}
    erased = [entry.number for entry in entries if entry.payload.erased_at is not None]
    left = removals.left_of_payloads(erased) if erased else {}
    for entry in entries:
        rebuilder = rebuilding.entry_rebuilder(entry.act)
        if rebuilder is None:
            continue
        key = id(rebuilder.rebuild)
        rebuilders[key] = rebuilder
        is_erased = entry.payload.erased_at is not None
        content = left.get(entry.number) if is_erased else json.loads(entry.payload.body)
        by_rebuilder[key].append(
            Written(
                entry.number,
                entry.about_id,
                entry.act,
                entry.recorded_at,
                entry.actor_id,
                content,
                entry.about_type,
            )
        )
    for key, written in by_rebuilder.items():
        _compare(report, rebuilders[key], written, "trail entry {} wrote down")


def _compare(
    report: Report, rebuilder: rebuilding.Rebuilder, written: Sequence[Written], by: str
) -> None:
    rebuilt = rebuilder.rebuild(written)
    gone = removals.removed_of((entry.about_type, entry.about_id) for entry in written)
    for entry in written:
        content = rebuilt.get(entry.number)
        if content is None and (entry.about_type, entry.about_id) in gone:
            report.removed += 1
        elif content is None:
            where = f"{rebuilder.table} {entry.about_id}"
            report.add_row_fault(where, f"is gone or another one, which {by}.".format(entry.number))
        elif entry.content is None:
            report.not_compared += 1
        else:
            report.compared += 1
            for where, what in rebuilding.differences(rebuilder, entry, content):
                reason = f"is not what {by}: {{}}.".format(entry.number, what)
                report.add_row_fault(where, reason)


def _check_kept_tables(report: Report) -> None:
    for kept in rebuilding.kept_tables():
        for key in kept.rows_without_record():
            reason = "was never written down: neither the trail nor its signature speaks of it."
            report.add_row_fault(f"{kept.table} {key}", reason)


def _check_removals(report: Report) -> None:
    for removal in removals.removals_without_entry().iterator(chunk_size=BATCH):
        reason = f"was never written down: trail entry {removal.entry_id} says something else."
        report.add_row_fault(f"{Removal._meta.db_table} {removal.pk}", reason)


def _chain_fault(entry: TrailEntry, previous: str) -> str:
    if entry.previous_hash != previous:
        return "does not follow the entry before it."
    if entry.entry_hash != entry_hash(entry.as_link()):
        return "was changed: its hash does not fit what it says."
    return ""


def _told_erasures(entries: Sequence[TrailEntry]) -> set[int]:
    """Of these entries those whose payload is erased, and of which a later entry says so.

    It says that this payload was erased, or that what the entry is about was removed. What was
    written about a thing after its removal is no part of that.
    """
    erased = [
        entry
        for entry in entries
        if (payload := _payload_of(entry)) is not None and payload.erased_at is not None
    ]
    removed = removals.entries_of_removals((entry.about_type, entry.about_id) for entry in erased)
    told = {
        entry.number
        for entry in erased
        if removed.get((entry.about_type, entry.about_id), 0) > entry.number
    }
    erasures = TrailEntry.objects.filter(
        act=ERASED,
        about_type=kind_of(TrailEntry.__name__),
        about_id__in=[str(entry.number) for entry in erased],
    )
    return told | {int(number) for number in erasures.values_list("about_id", flat=True)}


def _payload_fault(entry: TrailEntry, told: set[int]) -> str:
    payload = _payload_of(entry)
    if payload is None:
        return "has lost its payload."
    if payload.erased_at is None:
        if entry.payload_digest != payload_digest(payload.salt, payload.body):
            return "has a payload that was changed: it does not fit its digest."
    elif entry.number not in told:
        return "has an erased payload, and no entry says who erased it."
    return ""


def _payload_of(entry: TrailEntry) -> TrailPayload | None:
    try:
        return entry.payload
    except ObjectDoesNotExist:
        return None


def _check_end(report: Report, number: int, previous: str) -> bool:
    """Compare where the walk ended with the recorded end; False if there is more to walk."""
    head = TrailHead.objects.first() or TrailHead(number=0, entry_hash=FIRST_PREVIOUS_HASH)
    if TrailEntry.objects.filter(number__gt=number).exists():
        return False  # written while we walked
    if head.number > number:
        reason = f"is missing: the trail once reached entry {head.number}."
        report.faults.append(Fault(f"trail entry {number + 1}", reason))
    elif head.number < number:
        reason = "lies beyond the recorded end of the trail."
        report.faults.append(Fault(f"trail entry {head.number + 1}", reason))
    elif head.entry_hash != previous:
        reason = "is not the one that the trail's recorded end names."
        report.faults.append(Fault(f"trail entry {number}", reason))
    return True


def _check_signatures(report: Report) -> None:
    last_id = 0
    batch = Signature.objects.select_related("entry__payload").order_by("id")
    while signatures := list(batch.filter(id__gt=last_id)[:SIGNATURE_BATCH]):
        for signature in signatures:
            if reason := _signature_fault(signature):
                report.faults.append(Fault(f"signature {signature.id}", reason))
                return
            report.signatures += 1
        _compare_signatures(report, signatures)
        last_id = signatures[-1].id
    orphan = TrailEntry.objects.filter(act=SIGNED, signature__isnull=True).first()
    if orphan is not None:
        reason = "tells of a signature that is gone."
        report.faults.append(Fault(f"trail entry {orphan.number}", reason))


def _compare_signatures(report: Report, signatures: Sequence[Signature]) -> None:
    """Rebuild what was signed from the rows, one table after another."""
    by_rebuilder: dict[int, list[Written]] = defaultdict(list)
    rebuilders: dict[int, rebuilding.Rebuilder] = {}
    for signature in signatures:
        rebuilder = rebuilding.signature_rebuilder(signature.meaning)
        if rebuilder is None:
            report.not_rebuilt += 1
            continue
        key = id(rebuilder.rebuild)
        rebuilders[key] = rebuilder
        by_rebuilder[key].append(
            Written(
                signature.pk,
                signature.about_id,
                signature.meaning,
                signature.signed_at,
                signature.signer_id,
                json.loads(signature.content) if signature.content else None,
                signature.about_type,
            )
        )
    for key, written in by_rebuilder.items():
        _compare(report, rebuilders[key], written, "signature {} stands under")


def _signature_fault(signature: Signature) -> str:
    entry = signature.entry
    if not signature.content:
        thing = (signature.about_type, signature.about_id)
        if thing not in removals.removed_of([thing]):
            return "has lost what was signed, and no entry says that it was removed."
    elif (
        digest := sha256_of_text(signature.content)
    ) != signature.content_sha256 and digest != removals.left_of_signature(signature.pk):
        return "does not fit what was signed: the text or its hash was changed."
    recorded = (entry.act, entry.actor_id, entry.about_type, entry.about_id, entry.recorded_at)
    signed = (
        SIGNED,
        signature.signer_id,
        signature.about_type,
        signature.about_id,
        signature.signed_at,
    )
    if recorded != signed:
        return f"was changed: trail entry {entry.number} says something else of it."
    payload = _payload_of(entry)
    if payload is None or payload.erased_at is not None:
        return ""  # its absence is the entry's matter
    if payload.body != canonical_text(signature_payload(signature)):
        return f"was changed: the payload of trail entry {entry.number} says something else of it."
    return ""


def _check_heads(report: Report) -> None:
    """Look up the ends of the trail that were filed; the first that is gone is named."""
    for where, text in heads.kept_heads():
        try:
            head = heads.find_head(text)
        except heads.NotAHead:
            report.faults.append(Fault(where, "says nothing: it was changed or cut off."))
            return
        if head is None:
            reason = (
                f"names {text}, which the trail does not hold any more: it was written anew or cut."
            )
            report.faults.append(Fault(where, reason))
            return
        report.heads += 1


def _check_files(report: Report) -> None:
    for source in _file_sources:
        unreadable: dict[str, str] = {}
        for label, path_or_opener, expected in source():
            report.files += 1
            try:
                actual = _sha256_of_file(path_or_opener)
            except OSError as error:
                unreadable[label] = f"cannot be read: {error.strerror or error}."
                continue
            if actual != expected:
                report.faults.append(Fault(label, "was changed: its SHA-256 is another one."))
        if unreadable:
            # While the others were read one may have been removed in good order.
            still_kept = {label for label, *_ in source() if label in unreadable}
            report.faults += [
                Fault(label, reason) for label, reason in unreadable.items() if label in still_kept
            ]


def _sha256_of_file(path_or_opener: str | Path | Opener) -> str:
    with path_or_opener() if callable(path_or_opener) else open(path_or_opener, "rb") as stream:
        digest = hashlib.sha256()
        while chunk := stream.read(1 << 20):
            digest.update(chunk)
    return digest.hexdigest()
