"""What all that is searched has in common: what was typed, and how well a row answers it.

An exact number or name comes before one that begins so, and that before one that holds it as a
part. A single character is looked for as a whole number alone.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import reduce
from operator import and_, or_
from typing import Any

from django.db import models
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.models import Case, F, Func, IntegerField, Q, Value, When
from django.db.models.expressions import Combinable
from django.db.models.functions import Concat

from people.domain.folding import MARKS, UNDIVIDED, fold

EXACT, BEGINS, PART, NOT = range(4)
SHORTEST_PART = 2  # characters that must be given to look for a beginning or a part
LONGEST = 120
MOST_WORDS = 6
SQLITE_FOLD = "people_fold"


@dataclass(frozen=True, slots=True)
class Sought:
    """What was typed, with single spaces; ``words`` are folded as the names they are held to."""

    text: str
    words: tuple[str, ...]

    @classmethod
    def of(cls, typed: str) -> "Sought":
        # No database keeps this character, and PostgreSQL refuses to be asked for it.
        text = " ".join(typed.replace("\0", "").split())[:LONGEST].strip()
        return cls(text, tuple(fold(text).split()[:MOST_WORDS]))

    @property
    def by_part(self) -> bool:
        return len(self.text) >= SHORTEST_PART


def teach_sqlite(connection: BaseDatabaseWrapper, **kwargs: Any) -> None:
    """Give SQLite the folding that PostgreSQL can put together by itself."""
    if connection.vendor == "sqlite":
        connection.connection.create_function(
            SQLITE_FOLD, 1, lambda text: None if text is None else fold(text), deterministic=True
        )


class Folded(Func):
    """A text as `people.domain.folding.fold` has it, worked out by the database.

    PostgreSQL takes ten times as long to decompose a text as to compare it, so it decomposes
    only those that have more bytes than letters.
    """

    output_field = models.TextField()
    function = SQLITE_FOLD
    arity = 1

    def as_postgresql(self, compiler: Any, connection: Any, **context: Any) -> Any:
        taken_off = "".join(UNDIVIDED) + MARKS
        put_there = "".join(UNDIVIDED.values())
        template = (
            "(CASE WHEN octet_length(%(expressions)s) = char_length(%(expressions)s)"
            " THEN lower(%(expressions)s)"
            " ELSE lower(translate(normalize(%(expressions)s, NFKD),"
            f" '{taken_off}', '{put_there}')) END)"
        )
        sql, params = compiler.compile(self.source_expressions[0])
        return template % {"expressions": sql}, [*params] * 4


def number_matches(sought: Sought, *columns: str) -> Q:
    """Rows of which a number is, begins with or holds what was typed, whatever its capitals."""
    lookup = "icontains" if sought.by_part else "iexact"
    return reduce(or_, (Q(**{f"{column}__{lookup}": sought.text}) for column in columns))


def number_rank(sought: Sought, *columns: str) -> Case:
    """How well the best of some numbers answers."""

    def any_of(lookup: str) -> Q:
        return reduce(or_, (Q(**{f"{column}__{lookup}": sought.text}) for column in columns))

    return rank(
        When(any_of("iexact"), then=Value(EXACT)),
        When(any_of("istartswith"), then=Value(BEGINS)),
        When(any_of("icontains"), then=Value(PART)),
    )


def rank(*whens: When, default: int = NOT) -> Case:
    """The number of the first of some conditions that holds."""
    return Case(*whens, default=Value(default), output_field=IntegerField())


@dataclass(frozen=True, slots=True)
class NameMatch:
    """How a name is held to what was typed: every word, in any order.

    ``alias`` is the name folded, as the conditions call it.
    """

    alias: dict[str, Combinable]
    matches: Q
    exact: Q
    begins: Q

    def rank(self) -> Case:
        return rank(
            When(self.exact, then=Value(EXACT)),
            When(self.begins, then=Value(BEGINS)),
            When(self.matches, then=Value(PART)),
        )


def name_match(sought: Sought, column: str | Combinable, alias: str = "folded") -> NameMatch:
    """Hold a column, or what is worked out of columns, to the words typed."""
    expression = F(column) if isinstance(column, str) else column
    folded = Folded(expression)
    spaced = f"{alias}_spaced"
    aliases: dict[str, Combinable] = {
        alias: folded,
        spaced: Concat(Value(" "), folded, output_field=models.TextField()),
    }
    if not sought.by_part or not sought.words:
        nothing = Q(pk__in=())
        return NameMatch(aliases, nothing, nothing, nothing)
    return NameMatch(
        aliases,
        _every(f"{alias}__contains", sought.words),
        Q(**{alias: " ".join(sought.words)}),
        _every(f"{spaced}__contains", [f" {word}" for word in sought.words]),
    )


def _every(lookup: str, words: Sequence[str]) -> Q:
    return reduce(and_, (Q(**{lookup: word}) for word in words))
