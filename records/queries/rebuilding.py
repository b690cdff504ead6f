"""What was written down, worked out once more from the rows as they stand.

An app registers, when it starts, how the content of its signatures and entries follows from
its rows, by the very functions that made it when it was written, and which tables hold rows
that nobody may add, change or take away unseen. The verification asks for both, a batch at a
time. What a row says after it may have changed in good order is left out of the content by
the one who rebuilds it, or taken from the last entry about it alone.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.db.models import CharField, Exists, Max, Model, OuterRef, Q, QuerySet
from django.db.models.functions import Cast

from records.domain.canonical import as_json_value
from records.domain.kinds import kind_of
from records.models import TrailEntry

Content = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Written:
    """A signature or an entry of the trail, as it was written.

    Attributes
    ----------
    number : int
        The entry's number or the signature's id.
    about_id : str
    act : str
        What was done, or what a signature means.
    at : datetime
    actor_id : int or None
    content : mapping or None
        What was signed, or the entry's details; None where they have been erased.
    about_type : str
    """

    number: int
    about_id: str
    act: str
    at: datetime
    actor_id: int | None
    content: Content | None
    about_type: str = ""

    def says(self, name: str) -> Any:
        """One of its details; None where it has none, or they have been erased."""
        return None if self.content is None else self.content.get(name)


Rebuild = Callable[[Sequence[Written]], Mapping[int, Content]]
"""Content by number, for all whose rows are there; of an entry it may be a part."""


@dataclass(frozen=True)
class KeptTable:
    """A table of which every row must have been written down.

    Attributes
    ----------
    model : type
    about : str
        The kind of thing that entries call its rows by.
    key : str
        The field that entries name a row by.
    acts : tuple of str
        Entries that write a row down; none where it is always signed.
    meanings : tuple of str
        Signatures that do, by the row's own ``signature``.
    where : Q
        Rows for which this holds; all by default.
    content_of : callable, optional
        What an entry says of a row; tests write down by it what they put into tables.
    """

    model: type[Model]
    about: str = ""
    key: str = "pk"
    acts: tuple[str, ...] = ()
    meanings: tuple[str, ...] = ()
    where: Q = field(default_factory=Q)
    content_of: Callable[[Any], Content] | None = None

    @property
    def table(self) -> str:
        return self.model._meta.db_table

    def rows_without_record(self) -> Iterator[Any]:
        """The key of every row that neither an entry nor its signature speaks of."""
        rows: QuerySet[Any] = self.model._base_manager.filter(self.where)
        if self.meanings:
            rows = rows.exclude(signature__meaning__in=self.meanings)
        if self.acts:
            entries = TrailEntry.objects.filter(
                about_type=self.about,
                about_id=Cast(OuterRef(self.key), CharField()),
                act__in=self.acts,
            )
            rows = rows.filter(~Exists(entries))
        return rows.order_by().values_list(self.key, flat=True).iterator(chunk_size=1000)


@dataclass(frozen=True)
class Part:
    """Rows of another table that stand in content as a list of their own.

    Attributes
    ----------
    table : str
    names : tuple of str
        What of such a line tells which row it is.
    """

    table: str
    names: tuple[str, ...]


@dataclass(frozen=True)
class Rebuilder:
    """How content is rebuilt, and the tables that its rows stand in."""

    table: str
    rebuild: Rebuild
    parts: Mapping[str, Part]


_of_signatures: dict[str, Rebuilder] = {}
_of_entries: dict[str, Rebuilder] = {}
_kept_tables: dict[str, KeptTable] = {}


def register_signatures(
    meanings: Iterable[str], table: str, rebuild: Rebuild, **parts: Part
) -> None:
    """Say how the content of signatures with these meanings is rebuilt.

    ``parts`` are lists in it of rows of other tables, by their name in the content.
    """
    _of_signatures.update(dict.fromkeys(meanings, Rebuilder(table, rebuild, parts)))


def register_entries(acts: Iterable[str], table: str, rebuild: Rebuild, **parts: Part) -> None:
    """Say how the details of entries with these acts are rebuilt, or a part of them."""
    _of_entries.update(dict.fromkeys(acts, Rebuilder(table, rebuild, parts)))


def register_table(kept: KeptTable) -> None:
    """Name a table of which every row must have been written down."""
    _kept_tables[kept.table] = kept


def instants(model: type[Model], written: Sequence[Written], act: str) -> dict[str, datetime]:
    """When the trail says that an act was done to each, the last time that it was."""
    entries = TrailEntry.objects.filter(
        about_type=kind_of(model.__name__),
        about_id__in={entry.about_id for entry in written},
        act=act,
    )
    return dict(entries.order_by().values_list("about_id").annotate(Max("recorded_at")))


def unlike(name: str, row: Model, instants: Mapping[str, datetime]) -> dict[str, Any]:
    """What a row says, where the trail says otherwise: no entry has it, so it is named."""
    value = getattr(row, name)
    return {} if value == instants.get(str(row.pk)) else {name: value}


def last_entries(kind: str, acts: Iterable[str], written: Sequence[Written]) -> dict[str, int]:
    """The number of the last entry of such acts about each thing."""
    entries = TrailEntry.objects.filter(
        about_type=kind, about_id__in={entry.about_id for entry in written}, act__in=acts
    )
    return dict(entries.order_by().values_list("about_id").annotate(Max("number")))


def signature_rebuilder(meaning: str) -> Rebuilder | None:
    return _of_signatures.get(meaning)


def entry_rebuilder(act: str) -> Rebuilder | None:
    return _of_entries.get(act)


def kept_tables() -> list[KeptTable]:
    return list(_kept_tables.values())


def differences(rebuilder: Rebuilder, entry: Written, rebuilt: Content) -> list[tuple[str, str]]:
    """Which row, and what of it, is not as it was written; empty where all is.

    The row is named by table and number, and where it is one of several under one signature,
    by what tells it from the others.
    """
    assert entry.content is not None  # noqa: S101 - what is erased is not compared
    own: list[str] = []
    rows: list[tuple[str, str]] = []
    for name, value in rebuilt.items():
        before, now = entry.content.get(name), as_json_value(value)
        if name in entry.content and before == now:
            continue
        part = rebuilder.parts.get(name)
        if part is None or not isinstance(before, list):
            own.append(name)
        else:
            of = f" (of {rebuilder.table} {entry.about_id})"
            rows += [(where + of, what) for where, what in _differing_lines(part, before, now)]
    if own:
        rows.append((f"{rebuilder.table} {entry.about_id}", ", ".join(own)))
    return rows


def _differing_lines(part: Part, before: list[Any], now: list[Any]) -> list[tuple[str, str]]:
    def by_name(lines: list[Any]) -> dict[str, Any]:
        return {
            " ".join(str(line[name]) for name in part.names if line.get(name) is not None): line
            for line in lines
        }

    written, there = by_name(before), by_name(now)
    rows = []
    for name in sorted({*written, *there}):
        if name not in there:
            rows.append((f"{part.table} {name}", "gone"))
        elif name not in written:
            rows.append((f"{part.table} {name}", "added"))
        elif written[name] != there[name]:
            keys = dict.fromkeys([*there[name], *written[name]])
            changed = [key for key in keys if there[name].get(key) != written[name].get(key)]
            rows.append((f"{part.table} {name}", ", ".join(changed)))
    return rows or [(part.table, "the number of its rows")]


def rows_by_number(
    rows: QuerySet[Any], written: Sequence[Written], key: str = "pk"
) -> dict[int, Any]:
    """The row that each is about, by its number, read with one query."""
    names = {entry.about_id for entry in written}
    if key == "pk" or (key.endswith("_id") and not _is_text(rows.model, key)):
        names = {name for name in names if name.isdecimal()}
    by_name = {str(getattr(row, key)): row for row in rows.filter(**{f"{key}__in": names})}
    return {entry.number: by_name[entry.about_id] for entry in written if entry.about_id in by_name}


def _is_text(model: type[Model], key: str) -> bool:
    return isinstance(model._meta.get_field(key), CharField)


def rows_signed(
    rows: QuerySet[Any], written: Sequence[Written], field: str = "signature_id"
) -> dict[int, Any]:
    """The row that stands under each signature, read with one query."""
    ids = [signature.number for signature in written]
    return {getattr(row, field): row for row in rows.filter(**{f"{field}__in": ids})}
