"""The file of people that a plant's own system hands over every night: the rules of a list.

Nothing is written unless that is asked for. Whoever is not in the file is named; they leave only
where that is asked for too. Never do more than a share of the people leave at once, by their
absence or by a last day in the file, since half a file would otherwise end the work of half a
plant; and never the last who administers.

Everybody who writes to the records waits for whoever writes a file. So one that writes much is
written some people at a time, each time whole, as a long list is (`list_steps`); but at once, by
whoever hands it over, who is told what came of it.
"""

import time
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import TypeVar

from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from audit.domain.list_columns import OF_PEOPLE, Field, suggest
from audit.domain.list_rows import Answers, CellFault
from audit.exceptions import ListChanged, ListRefused, ListStopped
from audit.models import PeopleList
from audit.queries.list_bringers import Bringer
from audit.queries.list_leaving import (
    MOST_LEAVING_PERCENT,
    own_staff_ending,
    staff_at_work,
    too_many,
)
from audit.queries.list_plan import MOST_AT_ONCE, Plan, leads_first, make_plan
from people.domain.employee_numbers import number_key
from people.models import Person
from people.queries.administrators import (
    administrators_among,
    administrators_stay,
    last_administrator,
)
from people.services.people import change_person, lock_people, refuse_last_administrators
from records.exceptions import Refusal
from records.services import trail
from records.tables.lists import ReadList

from .list_steps import PAUSE_S, PEOPLE_A_STEP, keep_day_form, part_of
from .list_writes import write_plan

Row = TypeVar("Row")


@dataclass(frozen=True)
class Handover:
    """What is asked of a file that is handed over.

    Attributes
    ----------
    columns : mapping of str to str
        Fields by heading as it is written, where the headings do not suggest them.
    answers : Answers
        What the file leaves open, said once for all nights.
    write : bool
        Whether anything is done, and not only said.
    leave : bool
        Whether own staff who are not in the file leave, today being their last day.
    most_leaving_percent : int
        Of own staff at work at the sites, how many may leave at once; one of several always may.
    good_rows : bool
        Whether rows with a fault stay out and the others are taken; otherwise one refuses all.
    """

    columns: Mapping[str, str] = field(default_factory=dict)
    answers: Answers = field(default_factory=Answers)
    write: bool = False
    leave: bool = False
    most_leaving_percent: int = MOST_LEAVING_PERCENT
    good_rows: bool = False


@dataclass
class Report:
    """What a file does, or would do.

    ``leaving`` are those who are not in it, ``ending`` those whom it gives a last day, and
    ``refusals`` why none of it is done, whatever is asked for.
    """

    plan: Plan
    faults: list[CellFault]
    leaving: list[Person] = field(default_factory=list)
    ending: list[Person] = field(default_factory=list)
    at_work: int = 0
    refusals: list[str] = field(default_factory=list)
    written: bool = False
    left: int = 0

    @property
    def new(self) -> int:
        return sum(one.is_new for one in self.plan.people)

    @property
    def left_alone(self) -> int:
        return sum(one.is_left_alone for one in self.plan.people)

    @property
    def changed(self) -> int:
        return len(self.plan.people) - self.new - self.left_alone

    def is_long(self, *, leave: bool) -> bool:
        """Whether it is written some people at a time, since others would wait too long."""
        written = self.new + self.changed + (len(self.leaving) if leave else 0)
        return self.plan.is_long or written > MOST_AT_ONCE


class RowsRefused(ListRefused):
    """Carries every fault that was found."""

    def __init__(self, faults: list[CellFault]) -> None:
        self.faults = faults
        super().__init__(
            _("%(count)s rows cannot be taken in, so nothing was.")
            % {"count": len({fault.line for fault in faults})}
        )


def take_nightly(
    *,
    read: ReadList,
    handover: Handover,
    bringer: Bringer,
    at: datetime,
    pause: Callable[[float], None] = time.sleep,
) -> Report:
    """Look at a file of people, and do what it says where that is asked for.

    All of it or nothing; of one that writes much, what is refused of it at first refuses all, and
    whoever cannot be written later is named among the faults and stays out alone.

    Parameters
    ----------
    read : ReadList
        The file as `records.tables.lists` reads it.
    handover : Handover
    bringer : Bringer
        For whose sites it is; people elsewhere are refused by row, and none of them leaves.

    Raises
    ------
    ListRefused
        If the file has no column of employee numbers, leaves something open, or more people would
        leave than may; as `RowsRefused` if rows have a fault and not only good ones are taken.
    ListChanged
        If somebody entered the same number at the same moment; nothing was done.
    ListStopped
        If that, or what a service refuses, came up on the way of one that writes much.
    """
    people_list = _as_list(read, handover, bringer)
    # Read once while nobody waits for it.
    first = _look(people_list, read, handover, bringer, at)
    if not handover.write:
        return first
    if first.is_long(leave=handover.leave):
        return _write_in_steps(first, people_list, read, handover, bringer, at, pause)
    try:
        with transaction.atomic():
            return _write(first, people_list, read, handover, bringer, at)
    except IntegrityError as error:
        raise ListChanged(
            _("Somebody entered one of these numbers at the same moment: hand the file over again.")
        ) from error


def _as_list(read: ReadList, handover: Handover, bringer: Bringer) -> PeopleList:
    """The file as a list that nobody keeps."""
    unknown = set(handover.columns) - set(read.headings)
    if unknown:
        raise ListRefused(
            _("The file has no column %(names)s.") % {"names": ", ".join(sorted(unknown))}
        )
    suggested = suggest(read.headings, bringer.fields)
    named = set(handover.columns.values())
    columns = [
        handover.columns.get(heading, "" if name in named else name)
        for heading, name in zip(read.headings, suggested, strict=True)
    ]
    if columns.count(Field.EMPLOYEE_NUMBER) != 1:
        raise ListRefused(_("Say which column holds the employee number: it tells people apart."))
    return PeopleList(
        file_name=read.name,
        headings=read.headings,
        rows=[[row.line, row.cells] for row in read.rows],
        doubts=[[line, place, why] for (line, place), why in read.doubts.items()],
        columns=columns,
        answers=_kept(handover.answers),
        left_out=[],
    )


def _kept(answers: Answers) -> dict:
    return {
        "day_form": answers.day_form,
        "turn_names": answers.turn_names,
        "chosen": answers.chosen,
        "for_all": answers.for_all,
    }


def _look(
    people_list: PeopleList,
    read: ReadList,
    handover: Handover,
    bringer: Bringer,
    at: datetime,
) -> Report:
    plan = make_plan(people_list, bringer, at)
    faults = list(plan.faults)
    if plan.open:
        raise ListRefused(_what_is_open(plan))
    if faults and handover.good_rows:
        people_list.left_out = sorted({fault.line for fault in faults})
        plan = make_plan(people_list, bringer, at)
        faults += plan.faults
    report = Report(plan, faults)
    _find_leaving(report, people_list, bringer, at)
    report.refusals = list(_refusals(report, handover, at))
    return report


def _what_is_open(plan: Plan) -> str:
    """What the file leaves open, and where it is said."""
    asked = plan.open
    names = [str(value.field) + ": " + value.said for value in asked.values]
    names += [str(column) for column in asked.for_all]
    if asked.day_example:
        names.append(_("day or month first: %(day)s") % {"day": asked.day_example})
    if asked.name_example:
        names.append(_("names with a comma: %(name)s") % {"name": asked.name_example})
    return _("The file leaves open: %(open)s. Say it with the file.") % {"open": "; ".join(names)}


def _find_leaving(report: Report, people_list: PeopleList, bringer: Bringer, at: datetime) -> None:
    """Own staff at work at the sites whose number stands in no row, good or not.

    A row that is refused for a number they had before, or one that lost its zeros, means them too.
    """
    place = people_list.columns.index(Field.EMPLOYEE_NUMBER)
    register = report.plan.register
    there = {register.meant_by(number_key(cells[place])) for _line, cells in people_list.rows}
    for person in staff_at_work(bringer, at):
        report.at_work += 1
        if number_key(person.employee_number) not in there:
            report.leaving.append(person)
    report.ending = own_staff_ending(report.plan)


def _write(
    first: Report,
    people_list: PeopleList,
    read: ReadList,
    handover: Handover,
    bringer: Bringer,
    at: datetime,
) -> Report:
    lock_people(
        [one.person.pk for one in first.plan.people if one.person is not None]
        + ([person.pk for person in first.leaving] if handover.leave else [])
    )
    people_list.left_out = []
    report = _look(people_list, read, handover, bringer, at)
    _refuse(report, handover)
    # Roles are locked before anything is written down, as whoever gives them does.
    leaving = report.leaving if handover.leave else []
    refuse_last_administrators([*leaving, *report.plan.ending_sooner], at)
    result = write_plan(people_list, report.plan, bringer, sign_ins=False, at=at)
    _end_work(leaving, bringer, at)
    report.left = len(leaving)
    _write_down(read, bringer, result["counts"], report.left, at)
    report.written = True
    return report


def _refuse(report: Report, handover: Handover) -> None:
    if report.faults and not handover.good_rows:
        raise RowsRefused(report.faults)
    if report.refusals:
        raise ListRefused(" ".join(report.refusals))


def _end_work(people: Iterable[Person], bringer: Bringer, at: datetime) -> None:
    for person in people:
        change_person(
            person=person,
            actor=bringer.actor,
            by_right_of=bringer.authority,
            at=at,
            left_on=person.site.today(at),
        )


def _write_down(
    read: ReadList, bringer: Bringer, counts: Mapping[str, int], left: int, at: datetime
) -> None:
    trail.record(
        actor=bringer.actor,
        act="file of people taken in",
        about=("register-file", read.name),
        payload={"sha256": read.sha256, "counts": dict(counts), "left": left},
        at=at,
    )


# Some people at a time


def _write_in_steps(
    report: Report,
    people_list: PeopleList,
    read: ReadList,
    handover: Handover,
    bringer: Bringer,
    at: datetime,
    pause: Callable[[float], None],
) -> Report:
    """Write what was looked at, each step as the file would have it by then.

    Whatever stops it, the same file handed over again does the rest and nothing twice.
    """
    _refuse(report, handover)
    keep_day_form(people_list, report.plan)
    numbers = [number_key(one.number) for one in leads_first(report.plan.people)]
    leaving = report.leaving if handover.leave else []
    counts = Counter(left_alone=report.left_alone)
    try:
        for lot in _lots(numbers):
            made, faults = _write_some(people_list, set(lot), bringer, at)
            counts.update(made)
            report.faults += faults
            pause(PAUSE_S)
        for people in _lots(leaving):
            report.left += _have_some_leave(people, bringer, at)
            pause(PAUSE_S)
    except (IntegrityError, Refusal) as error:
        with transaction.atomic():
            _write_down(read, bringer, counts, report.left, at)
        done = counts["enrolled"] + counts["changed"] + report.left
        raise ListStopped(_stopped(error, done)) from error
    with transaction.atomic():
        _write_down(read, bringer, counts, report.left, at)
    report.written = True
    return report


def _lots(rows: Sequence[Row]) -> Iterable[Sequence[Row]]:
    return (rows[start : start + PEOPLE_A_STEP] for start in range(0, len(rows), PEOPLE_A_STEP))


def _stopped(error: Exception, done: int) -> str:
    why = _("Somebody entered one of these numbers at the same moment.")
    if isinstance(error, Refusal):
        why = str(error)
    return _(
        "%(why)s So the file was stopped on its way. People written before: %(n)d. They stay: hand "
        "the same file over again for the others."
    ) % {"why": why, "n": done}


@transaction.atomic
def _write_some(
    people_list: PeopleList, numbers: set[str], bringer: Bringer, at: datetime
) -> tuple[dict[str, int], list[CellFault]]:
    """Write some people; return what was made, and the faults of rows that came since."""
    part = part_of(people_list, numbers)
    first = make_plan(part, bringer, at)
    lock_people([one.person.pk for one in first.people if one.person is not None])
    plan = make_plan(part, bringer, at)
    if plan.open:
        raise ListRefused(_what_is_open(plan))
    faults = list(plan.faults)
    if faults:
        part.left_out = sorted({*part.left_out, *(fault.line for fault in faults)})
        plan = make_plan(part, bringer, at)
    # Roles are locked before anything is written down, as whoever gives them does.
    refuse_last_administrators(plan.ending_sooner, at)
    counts = write_plan(part, plan, bringer, sign_ins=False, at=at)["counts"]
    del counts["left_alone"]  # Counted of all of them.
    return counts, faults


@transaction.atomic
def _have_some_leave(people: Collection[Person], bringer: Bringer, at: datetime) -> int:
    """Have some leave who are still to: neither gone meanwhile nor by another number here."""
    lock_people([person.pk for person in people])
    numbers = {person.pk: person.employee_number for person in people}
    leaving = [
        person
        for person in staff_at_work(bringer, at)
        if numbers.get(person.pk) == person.employee_number
    ]
    refuse_last_administrators(leaving, at)
    _end_work(leaving, bringer, at)
    return len(leaving)


def _refusals(report: Report, handover: Handover, at: datetime) -> Iterable[str]:
    gone = [*report.ending, *(report.leaving if handover.leave else ())]
    many = too_many(len(gone), report.at_work, handover.most_leaving_percent)
    if many is not None:
        yield _(
            "%(leaving)s of %(people)s people would leave, and at most %(most)s may at once, so "
            "nothing is done. Look whether the file is whole; if they do leave, say a greater "
            "share with it (--most-leaving, or most_leaving_percent)."
        ) % {"leaving": many.leaving, "people": many.at_work, "most": many.most}
    last = administrators_among([person.pk for person in gone])
    if last and not administrators_stay(at, without=last):
        names = sorted(person.full_name for person in gone if person.pk in last)
        yield last_administrator(", ".join(names))


PEOPLE_FIELDS = tuple(column for column in Field if column in OF_PEOPLE - {Field.STAMP})
"""What a file may say beside the employee number."""
