"""Rows of a list of people, read by how its columns were matched and what was answered about it.

Nothing is guessed: what could mean two things is a question, and what means nothing is a fault of
its row, which stays out until it is corrected or left out.
"""

import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum
from typing import Any

from people.domain.employee_numbers import NumberFault, number_fault
from people.domain.folding import fold
from people.domain.list_days import DayForm, NotADay, forms_that_fit, read_day
from records.domain.lists import ListRow

from .cells import EMAIL
from .list_columns import CHOSEN, DAYS, Field

NOTHING = frozenset({"", "-", "–", "—", "n/a", "na", "k.a.", "none", "keine", "./."})
"""What stands in a cell that says nothing, in small letters."""
PASSED = frozenset({"pass", "passed", "ok", "yes", "y", "ja", "j", "bestanden", "io", "i.o."})
FAILED = frozenset({"fail", "failed", "no", "n", "nein", "nicht bestanden", "nio", "n.i.o."})
LONGEST = {
    Field.FULL_NAME: 120,
    Field.FAMILY_NAME: 80,
    Field.GIVEN_NAME: 80,
    Field.EMAIL: 254,
    Field.EMPLOYER: 120,
    Field.STAMP: 32,
    Field.CERTIFICATE_NUMBER: 40,
    Field.SCOPE: 40,
    Field.RESTRICTION: 400,
    Field.ISSUED_BY: 160,
}
NEW, TO = "new", "to:"
"""What is answered about a value: it is to be made, or it means what stands behind `TO`."""
NOW, OWN_DAY = "now", "own_day"
ALL_PASSED, LEFT_OUT = "pass", "left_out"


class Fault(StrEnum):
    """Why a row cannot be taken in as it stands."""

    EMPTY = "empty"
    TOO_LONG = "too_long"
    NUMBER = "number"
    EMAIL = "email"
    NO_DAY = "no_day"
    TWO_DIGITS = "two_digits"
    YEAR = "year"
    RESULT = "result"
    CODE = "code"
    DOUBT = "doubt"
    INCOMPLETE = "incomplete"
    CONTRADICTS = "contradicts"
    TWICE = "twice"
    REFUSED = "refused"


@dataclass(frozen=True, slots=True)
class CellFault:
    """What is wrong with a row: in which field, what it says there, and what it clashes with."""

    line: int
    field: Field | None
    fault: Fault
    said: str = ""
    other: str = ""


@dataclass(frozen=True, slots=True)
class ValueQuestion:
    """A value that names nothing there is: what may be meant, and in how many rows it stands."""

    field: Field
    said: str
    rows: int
    likely: str = ""


@dataclass(frozen=True, slots=True)
class Open:
    """What has to be answered of a list once, before it can be taken in.

    ``day_forms`` are those in which every day reads, both where nothing tells them apart; they are
    asked about where ``day_example`` is not empty. ``for_all`` are what no column says and every
    row needs: it is said once.
    """

    day_forms: frozenset[DayForm] = frozenset()
    day_example: str = ""
    name_example: str = ""
    recorded: bool = False
    results: bool = False
    for_all: tuple[Field, ...] = ()
    values: tuple[ValueQuestion, ...] = ()

    def __bool__(self) -> bool:
        return bool(
            self.day_example
            or self.name_example
            or self.recorded
            or self.results
            or self.for_all
            or self.values
        )


@dataclass(frozen=True, slots=True)
class Answers:
    """What was said once for all of a list.

    Attributes
    ----------
    day_form : DayForm or None
        What 3/4/2026 means.
    turn_names : bool or None
        Whether a name with a comma is turned round.
    recorded : str
        When the facts count as recorded where the list does not say: `NOW`, `OWN_DAY`, or a day
        as in 2026-03-09; empty while it is not said.
    results : str
        `ALL_PASSED` where all vision tests whose result the list does not say were passed,
        `LEFT_OUT` where these tests are left out.
    chosen : mapping
        By field and value as written, `NEW` or `TO` with the key of what is meant.
    for_all : mapping
        By field the key of what holds for every row, of site, scheme and scope.
    """

    day_form: DayForm | None = None
    turn_names: bool | None = None
    recorded: str = ""
    results: str = ""
    chosen: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    for_all: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Names:
    """What values may name: keys by each way in which something is written, for each field."""

    written: Mapping[Field, Mapping[str, str]]

    def key_of(self, column: Field, said: str) -> str | None:
        """What a value names exactly."""
        return self.written.get(column, {}).get(said)

    def near(self, column: Field, said: str) -> str:
        """What differs from a value in capitals, marks and blanks alone, if it is one thing."""
        keys = {
            key for other, key in self.written.get(column, {}).items() if bare(other) == bare(said)
        }
        return keys.pop() if len(keys) == 1 else ""


def bare(text: str) -> str:
    """A name without capitals, marks and signs, for telling what is near.

    Examples
    --------
    >>> bare("Term - OP") == bare("TERM-op")
    True
    """
    return re.sub(r"[\W_]+", "", fold(text))


@dataclass
class Entry:
    """One row, read: values by field, days as days. A cell that says nothing is not there."""

    line: int
    values: dict[Field, Any]


@dataclass
class ListRead:
    """What a list says, what is wrong with rows of it, and what has to be asked."""

    entries: list[Entry] = field(default_factory=list)
    faults: list[CellFault] = field(default_factory=list)
    open: Open = field(default_factory=Open)


def read_rows(
    rows: Sequence[ListRow],
    columns: Sequence[str],
    answers: Answers,
    names: Names,
    doubts: Mapping[tuple[int, int], str] | None = None,
) -> ListRead:
    """Read the rows of a list.

    Parameters
    ----------
    rows : sequence of ListRow
        Those that are not left out.
    columns : sequence of str
        The field of each column, empty for one that is passed over.
    answers : Answers
    names : Names
    doubts : mapping, optional
        Cells by line and place whose text is not what they say, and why.
    """
    places = {Field(name): place for place, name in enumerate(columns) if name}
    said = [_said(row, places) for row in rows]
    read = ListRead(open=_open(said, places, answers, names))
    for row, values in zip(rows, said, strict=True):
        before = len(read.faults)
        entry = _Row(row.line, values, answers, names, read).entry()
        for column, place in places.items():
            if doubts and (why := doubts.get((row.line, place))):
                read.faults.append(CellFault(row.line, column, Fault.DOUBT, other=why))
        if len(read.faults) == before:
            read.entries.append(entry)
    return read


def _said(row: ListRow, places: Mapping[Field, int]) -> dict[Field, str]:
    return {
        column: row.cells[place]
        for column, place in places.items()
        if place < len(row.cells) and row.cells[place].lower() not in NOTHING
    }


def _open(
    said: Sequence[Mapping[Field, str]],
    places: Mapping[Field, int],
    answers: Answers,
    names: Names,
) -> Open:
    days = [text for values in said for column, text in values.items() if column in DAYS]
    forms, example = forms_that_fit(days)
    if answers.day_form is not None or len(forms) == 1:
        example = ""
    with_comma = next(
        (values[Field.FULL_NAME] for values in said if "," in values.get(Field.FULL_NAME, "")), ""
    )
    dated = any(
        column in values
        for values in said
        for column in (Field.ISSUED_ON, Field.TESTED_ON, Field.PERFORMED_ON)
    )
    tested = any(Field.TESTED_ON in values and Field.RESULT not in values for values in said)
    return Open(
        day_forms=frozenset(forms),
        day_example=example,
        name_example=with_comma if answers.turn_names is None else "",
        recorded=dated and Field.RECORDED_ON not in places and not answers.recorded,
        results=tested and not answers.results,
        for_all=tuple(
            column
            for column in _needed(said, places)
            if column not in places and column not in answers.for_all
        ),
        values=tuple(_value_questions(said, answers, names)),
    )


def _needed(said: Sequence[Mapping[Field, str]], places: Mapping[Field, int]) -> Iterable[Field]:
    """What every row of the list needs, of what can be said once for all."""
    if Field.FULL_NAME in places or Field.FAMILY_NAME in places:
        yield Field.SITE
    certified = any(_has_certificate(values) for values in said)
    if certified:
        yield Field.SCHEME
    if certified or any(Field.PERFORMED_ON in values for values in said):
        yield Field.SCOPE


def _has_certificate(values: Mapping[Field, str]) -> bool:
    return Field.CERTIFICATE_NUMBER in values or Field.ISSUED_ON in values


def _value_questions(
    said: Sequence[Mapping[Field, str]], answers: Answers, names: Names
) -> Iterable[ValueQuestion]:
    for column in Field:
        if column not in CHOSEN:
            continue
        counted = Counter(values[column] for values in said if column in values)
        for text, rows in counted.items():
            if meaning(column, text, answers, names) is None:
                yield ValueQuestion(column, text, rows, names.near(column, text))


def meaning(column: Field, text: str, answers: Answers, names: Names) -> str | None:
    """The key of what a value names, also one that is to be made; None while it is not said."""
    key = names.key_of(column, text)
    if key is not None:
        return key
    answer = answers.chosen.get(column, {}).get(text, "")
    if answer == NEW and column is Field.SCOPE:
        return text
    if answer.startswith(TO) and answer[len(TO) :] in names.written.get(column, {}).values():
        return answer[len(TO) :]
    return None


@dataclass
class _Row:
    """One row while it is read."""

    line: int
    said: Mapping[Field, str]
    answers: Answers
    names: Names
    read: ListRead

    def entry(self) -> Entry:
        values: dict[Field, Any] = {}
        for column, text in self.said.items():
            value = self._value(column, text)
            if value is not None:
                values[column] = value
        if Field.EMPLOYEE_NUMBER not in self.said:
            self._fault(Field.EMPLOYEE_NUMBER, Fault.EMPTY)
        self._join_names(values)
        self._refuse_half_facts()
        if _has_certificate(self.said) or Field.PERFORMED_ON in self.said:
            for column in (Field.SCHEME, Field.SCOPE):
                if column in self.answers.for_all:
                    values.setdefault(column, self.answers.for_all[column])
        return Entry(self.line, values)

    def _fault(self, column: Field, fault: Fault, said: str = "", other: str = "") -> None:
        self.read.faults.append(CellFault(self.line, column, fault, said, other))

    def _value(self, column: Field, text: str) -> Any:
        if len(text) > LONGEST.get(column, 400):
            self._fault(column, Fault.TOO_LONG, text[:40], str(LONGEST.get(column, 400)))
        elif column in DAYS:
            return self._day(column, text)
        elif column in (Field.EMPLOYEE_NUMBER, Field.LINE_LEAD):
            fault = number_fault(text)
            if fault is None or (fault is NumberFault.RESERVED and column is Field.LINE_LEAD):
                return text
            self._fault(column, Fault.NUMBER, text[:40])
        elif column is Field.EMAIL:
            if re.fullmatch(EMAIL, text):
                return text
            self._fault(column, Fault.EMAIL, text[:80])
        elif column is Field.RESULT:
            return self._result(text)
        elif column in CHOSEN:
            return self._chosen(column, text)
        elif column is Field.CERTIFICATE_NUMBER and re.search(r"[/\\]", text):
            self._fault(column, Fault.CODE, text)
        else:
            return text
        return None

    def _day(self, column: Field, text: str) -> date | None:
        forms = self.read.open.day_forms
        form = self.answers.day_form or (next(iter(forms)) if len(forms) == 1 else None)
        try:
            return read_day(text, form)
        except NotADay as error:
            # One that could be two days is a question about the list, and no fault of the row.
            if error.fault != "open" or not self.read.open.day_example:
                fault = Fault(error.fault) if error.fault != "open" else Fault.NO_DAY
                self._fault(column, fault, text[:40])
            return None

    def _result(self, text: str) -> bool | None:
        word = text.lower().rstrip("!")
        if word in PASSED or word in FAILED:
            return word in PASSED
        self._fault(Field.RESULT, Fault.RESULT, text[:40])
        return None

    def _chosen(self, column: Field, text: str) -> str | None:
        key = meaning(column, text, self.answers, self.names)
        if key is not None and column is Field.SCOPE and re.search(r"[/\\]|^\.\.?$", key):
            self._fault(column, Fault.CODE, text)
            return None
        return key

    def _join_names(self, values: dict[Field, Any]) -> None:
        """Put a name together of its parts, or turn it round where that was said."""
        family, given = values.pop(Field.FAMILY_NAME, ""), values.pop(Field.GIVEN_NAME, "")
        full = values.get(Field.FULL_NAME, "")
        if not full and (family or given):
            full = " ".join(part for part in (given, family) if part)
        elif self.answers.turn_names and full.count(",") == 1:
            last, first = (part.strip() for part in full.split(","))
            full = f"{first} {last}".strip()
        if full:
            values[Field.FULL_NAME] = full
        if len(full) > LONGEST[Field.FULL_NAME]:
            self._fault(Field.FULL_NAME, Fault.TOO_LONG, full[:40], str(LONGEST[Field.FULL_NAME]))

    def _refuse_half_facts(self) -> None:
        """Refuse a certificate, test or day of work that lacks what it cannot be without."""
        certificate = (Field.CERTIFICATE_NUMBER, Field.SCOPE, Field.SCHEME, Field.ISSUED_ON)
        there = {*self.said, *self.answers.for_all, *self.read.open.for_all}
        if _has_certificate(self.said):
            for column in certificate:
                if column not in there:
                    self._fault(column, Fault.INCOMPLETE)
        elif Field.PERFORMED_ON in self.said and Field.SCOPE not in there:
            self._fault(Field.SCOPE, Fault.INCOMPLETE)
        if Field.RESULT in self.said and Field.TESTED_ON not in self.said:
            self._fault(Field.TESTED_ON, Fault.INCOMPLETE)
