"""The people of a list: rows about one person put together, with the facts that they bring."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from people.domain.employee_numbers import number_key

from .list_columns import OF_PEOPLE, Field
from .list_rows import CellFault, Entry, Fault


@dataclass(frozen=True, slots=True)
class ListedCertificate:
    line: int
    number: str
    scope: str
    scheme: str
    issued_on: date
    restriction: str
    issued_by: str
    recorded_on: date | None


@dataclass(frozen=True, slots=True)
class ListedTest:
    """A vision test; ``passed`` None where the list does not say and nothing was answered yet."""

    line: int
    tested_on: date
    passed: bool | None
    recorded_on: date | None


@dataclass(frozen=True, slots=True)
class ListedWork:
    line: int
    scope: str
    performed_on: date
    recorded_on: date | None


@dataclass
class ListedPerson:
    """One person of a list: what its rows say of them, and in which lines.

    ``number`` is as the list writes it. Of vision tests and days of work each day stands once.
    """

    number: str
    lines: list[int]
    values: dict[Field, Any] = field(default_factory=dict)
    certificates: list[ListedCertificate] = field(default_factory=list)
    tests: dict[date, ListedTest] = field(default_factory=dict)
    work: dict[tuple[str, date], ListedWork] = field(default_factory=dict)

    @property
    def line(self) -> int:
        return self.lines[0]


def people_of(
    entries: Iterable[Entry], passed_where_not_said: bool | None = None
) -> tuple[list[ListedPerson], list[CellFault]]:
    """Put the rows of each person together, in the order in which they first stand.

    Parameters
    ----------
    entries : iterable of Entry
        Rows without a fault of their own.
    passed_where_not_said : bool, optional
        How vision tests ended whose row does not say.

    Returns
    -------
    (list of ListedPerson, list of CellFault)
        A row that contradicts an earlier one of the same person, or repeats a certificate's
        number, is a fault and brings nothing.
    """
    people: dict[str, ListedPerson] = {}
    numbers: dict[str, int] = {}
    faults: list[CellFault] = []
    for entry in entries:
        number = entry.values[Field.EMPLOYEE_NUMBER]
        person = people.get(number_key(number)) or ListedPerson(number, [])
        wrong = list(_contradictions(entry, person))
        wrong += _repeated(entry, numbers)
        if wrong:
            faults += wrong
            continue
        people[number_key(number)] = person
        person.lines.append(entry.line)
        for column in OF_PEOPLE & entry.values.keys():
            person.values[column] = entry.values[column]
        _add_facts(person, entry, passed_where_not_said)
    return list(people.values()), faults


def _contradictions(entry: Entry, person: ListedPerson) -> Iterable[CellFault]:
    for column in Field:
        if column in OF_PEOPLE and column in person.values and column in entry.values:
            other = person.values[column]
            if entry.values[column] != other:
                yield CellFault(entry.line, column, Fault.CONTRADICTS, str(other), str(person.line))
    day = entry.values.get(Field.TESTED_ON)
    earlier = person.tests.get(day) if day else None
    result = entry.values.get(Field.RESULT)
    if earlier and result is not None and earlier.passed not in (None, result):
        yield CellFault(entry.line, Field.RESULT, Fault.CONTRADICTS, "", str(earlier.line))


def _repeated(entry: Entry, numbers: dict[str, int]) -> list[CellFault]:
    number = entry.values.get(Field.CERTIFICATE_NUMBER)
    if not number or Field.ISSUED_ON not in entry.values:
        return []
    first = numbers.setdefault(number, entry.line)
    if first == entry.line:
        return []
    return [CellFault(entry.line, Field.CERTIFICATE_NUMBER, Fault.TWICE, number, str(first))]


def _add_facts(person: ListedPerson, entry: Entry, passed_where_not_said: bool | None) -> None:
    values, line = entry.values, entry.line
    recorded_on = values.get(Field.RECORDED_ON)
    issued_on, scope = values.get(Field.ISSUED_ON), values.get(Field.SCOPE)
    if issued_on and scope and Field.SCHEME in values and Field.CERTIFICATE_NUMBER in values:
        person.certificates.append(
            ListedCertificate(
                line,
                values[Field.CERTIFICATE_NUMBER],
                scope,
                values[Field.SCHEME],
                issued_on,
                values.get(Field.RESTRICTION, ""),
                values.get(Field.ISSUED_BY, ""),
                recorded_on,
            )
        )
    if tested_on := values.get(Field.TESTED_ON):
        passed = values.get(Field.RESULT, passed_where_not_said)
        person.tests.setdefault(tested_on, ListedTest(line, tested_on, passed, recorded_on))
    performed_on = values.get(Field.PERFORMED_ON)
    if performed_on and scope:
        person.work.setdefault(
            (scope, performed_on), ListedWork(line, scope, performed_on, recorded_on)
        )
