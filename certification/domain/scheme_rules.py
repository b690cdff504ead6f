"""What a scheme has to say before it can be published, and what its figures come to."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from enum import StrEnum
from functools import cache

from .facts import SchemeFigures, VisionFact
from .months import add_months
from .path import NO_FIGURES, AskedBoards, PathFigures, waiting_for_each_other
from .periods import valid_through
from .upkeep import PracticeRecord, VisionRecord

MOST_MONTHS = 600
"""Longer than anybody's working life, and short enough for the calendar to hold the result."""
MOST_DAYS = 3660
MOST_STEPS = 24
MOST_BOARDS = 100


class FaultKind(StrEnum):
    """What is wrong with a scheme: each stops it from being published, but for the remarks."""

    NO_SCOPE = "no_scope"
    NO_VALIDITY = "no_validity"
    TOO_LONG = "too_long"
    WINDOW_TOO_LONG = "window_too_long"
    STEP_TOO_LONG = "step_too_long"
    SCOPE_RETIRED = "scope_retired"
    SCOPE_NOT_COVERED = "scope_not_covered"
    NO_SUCH_EXERCISE = "no_such_exercise"
    NO_BOARDS = "no_boards"
    NOTHING_CREDITED = "nothing_credited"
    AFTER_NOT_ASKED = "after_not_asked"
    AFTER_EACH_OTHER = "after_each_other"
    NO_SUCH_COURSE = "no_such_course"
    NO_SUCH_TEST = "no_such_test"
    # Remarks
    NAMES_NO_BOARDS = "names_no_boards"
    CREDITS_ANOTHER = "credits_another"
    NO_REMINDERS = "no_reminders"
    NO_RETRAINING = "no_retraining"


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is wrong or worth a look, and what it is about.

    ``other`` is the exercise or the course that comes before, or the written test.
    """

    kind: FaultKind
    scope: str = ""
    exercise: str = ""
    number: int = 0
    other: str = ""


@dataclass(frozen=True, slots=True)
class AskedExercise:
    """Boards of one exercise, as a scheme asks for them.

    Attributes
    ----------
    is_current : bool
        Whether boards of it can be handed out.
    credits : frozenset of str
        Codes of the scopes that its required joints are credited to.
    joint_types : frozenset of str
        What its required joints are.
    after_exercise, after_course : str
        What has to come before its boards; empty where nothing has to.
    is_course_in_use : bool
        Whether the course can be attended.
    is_taught : bool
        Whether a course in use teaches the exercise.
    """

    code: str
    boards: int = 1
    is_current: bool = True
    credits: frozenset[str] = frozenset()
    joint_types: frozenset[str] = frozenset()
    after_exercise: str = ""
    after_course: str = ""
    is_course_in_use: bool = True
    is_taught: bool = True


@dataclass(frozen=True, slots=True)
class CoveredScope:
    """A scope that a scheme covers or asks boards for."""

    code: str
    joint_types: frozenset[str]
    is_covered: bool = True
    is_retired: bool = False
    asked: tuple[AskedExercise, ...] = ()


@dataclass(frozen=True, slots=True)
class SchemeRules:
    """Everything that a revision of a scheme says.

    Attributes
    ----------
    written_test : str
        Code of the written test that is passed first; empty where none is.
    is_test_in_use : bool
        Whether papers of it can be handed out.
    """

    figures: SchemeFigures
    reminder_steps: Sequence[int] = ()
    scopes: Sequence[CoveredScope] = field(default=())
    path: PathFigures = NO_FIGURES
    written_test: str = ""
    is_test_in_use: bool = True


@cache
def shortest_days(months: int) -> int:
    """How many days a period of some months has at least, wherever from 1901 to 2099 it lies.

    Parameters
    ----------
    months : int
        From 0 through `MOST_MONTHS`.

    Examples
    --------
    >>> shortest_days(12), shortest_days(1), shortest_days(24)
    (365, 28, 730)
    """
    # Four years hold every pattern of lengths of months.
    begins = [date(2001 + n // 12, n % 12 + 1, 1) for n in range(48)]
    return min((add_months(begin, months) - begin).days for begin in begins)


def faults(rules: SchemeRules) -> list[Fault]:
    """What keeps a revision from being published, in the order of its page.

    The boards asked for a scope have to show its work: of the exercises at least one has a
    required joint that is credited to the scope or is of one of its joint types. Others may be
    asked beside it, such as stripping and tinning before terminals.
    """
    found = _faults_of_figures(rules.figures)
    if rules.figures.validity_months >= 1:
        least = shortest_days(min(rules.figures.validity_months, MOST_MONTHS))
        if rules.figures.renewal_window_days >= least:
            found.append(Fault(FaultKind.WINDOW_TOO_LONG, number=least - 1))
        found += [
            Fault(FaultKind.STEP_TOO_LONG, number=step)
            for step in rules.reminder_steps
            if step >= least
        ]
    if rules.written_test and not rules.is_test_in_use:
        found.append(Fault(FaultKind.NO_SUCH_TEST, other=rules.written_test))
    if not any(scope.is_covered for scope in rules.scopes):
        found.append(Fault(FaultKind.NO_SCOPE))
    for scope in rules.scopes:
        found += _faults_of_scope(scope)
    return found


def _faults_of_figures(figures: SchemeFigures) -> list[Fault]:
    found = []
    if figures.validity_months < 1:
        found.append(Fault(FaultKind.NO_VALIDITY))
    longest = max(figures.validity_months, figures.vision_months, figures.max_absence_months)
    if longest > MOST_MONTHS:
        found.append(Fault(FaultKind.TOO_LONG, number=longest))
    return found


def _faults_of_scope(scope: CoveredScope) -> list[Fault]:
    if not scope.is_covered:
        return [Fault(FaultKind.SCOPE_NOT_COVERED, scope.code)]
    found = [Fault(FaultKind.SCOPE_RETIRED, scope.code)] if scope.is_retired else []
    for asked in scope.asked:
        if not asked.is_current:
            found.append(Fault(FaultKind.NO_SUCH_EXERCISE, scope.code, asked.code))
        if asked.boards < 1:
            found.append(Fault(FaultKind.NO_BOARDS, scope.code, asked.code))
    if scope.asked and not any(_shows(scope, asked) for asked in scope.asked):
        found.append(Fault(FaultKind.NOTHING_CREDITED, scope.code))
    return found + _faults_of_order(scope)


def _faults_of_order(scope: CoveredScope) -> list[Fault]:
    """What keeps the exercises of a scope from being done one after the other."""
    there = {asked.code for asked in scope.asked}
    found = []
    for asked in scope.asked:
        if asked.after_exercise and asked.after_exercise not in there:
            found.append(
                Fault(FaultKind.AFTER_NOT_ASKED, scope.code, asked.code, other=asked.after_exercise)
            )
        if asked.after_course and not asked.is_course_in_use:
            found.append(
                Fault(FaultKind.NO_SUCH_COURSE, scope.code, asked.code, other=asked.after_course)
            )
    order = [AskedBoards(one.code, after_exercise=one.after_exercise) for one in scope.asked]
    if circle := waiting_for_each_other(order):
        found.append(Fault(FaultKind.AFTER_EACH_OTHER, scope.code, ", ".join(circle)))
    return found


def _shows(scope: CoveredScope, asked: AskedExercise) -> bool:
    return scope.code in asked.credits or not scope.joint_types.isdisjoint(asked.joint_types)


def remarks(rules: SchemeRules) -> list[Fault]:
    """What stops nobody, and is worth a look before publishing."""
    found = [
        Fault(FaultKind.NAMES_NO_BOARDS, scope.code)
        for scope in rules.scopes
        if scope.is_covered and not scope.asked
    ]
    found += [
        Fault(FaultKind.CREDITS_ANOTHER, scope.code, asked.code)
        for scope in rules.scopes
        for asked in scope.asked
        if asked.is_current and not _shows(scope, asked)
    ]
    if rules.path.attempts and not rules.path.retraining_boards:
        found += [
            Fault(FaultKind.NO_RETRAINING, scope.code, asked.code, rules.path.attempts)
            for scope in rules.scopes
            for asked in scope.asked
            if asked.is_current and not asked.is_taught
        ]
    if not rules.reminder_steps:
        found.append(Fault(FaultKind.NO_REMINDERS))
    return found


@dataclass(frozen=True, slots=True)
class Example:
    """What a scheme's figures come to for a certificate issued on one day.

    Attributes
    ----------
    issued_on, ends_on : date
        The first certificate and its last good day.
    window_opens_on : date
        The first day on which renewing keeps the end date.
    renewed_on, renewed_through : date
        Renewed within the window, in its middle, and the last day then.
    early_on, early_through : date
        Renewed on the day before the window opens, and the last day then.
    vision_through : date or None
        How long a vision test of the day of issue is good; None where none is asked for.
    practice_through : date or None
        The last good day if no work within the scope follows; None where no limit is set.
    first_reminder_on, last_reminder_on : date or None
        Of the end of the certificate, by the calendar; None without reminders.
    """

    issued_on: date
    ends_on: date
    window_opens_on: date
    renewed_on: date
    renewed_through: date
    early_on: date
    early_through: date
    vision_through: date | None
    practice_through: date | None
    first_reminder_on: date | None
    last_reminder_on: date | None


def example(figures: SchemeFigures, reminder_steps: Sequence[int], issued_on: date) -> Example:
    """Work out what figures come to, by the same functions that standing is worked out by.

    Parameters
    ----------
    figures : SchemeFigures
        Without faults (`faults`).
    reminder_steps : sequence of int
        Days before an end, none negative.
    issued_on : date

    Examples
    --------
    >>> shown = example(SchemeFigures(24, renewal_window_days=30), [90, 1], date(2026, 3, 20))
    >>> shown.ends_on.isoformat(), shown.renewed_on.isoformat(), shown.renewed_through.isoformat()
    ('2028-03-20', '2028-03-05', '2030-03-20')
    >>> shown.early_on.isoformat(), shown.early_through.isoformat()
    ('2028-02-18', '2030-02-18')
    """
    ends_on = valid_through(figures, issued_on)
    window = timedelta(days=figures.renewal_window_days)
    early_on = ends_on - window - timedelta(days=1)
    renewed_on = ends_on - timedelta(days=figures.renewal_window_days // 2)
    test = VisionFact("", issued_on, True, datetime(issued_on.year, 1, 1, tzinfo=UTC))
    steps = [ends_on - timedelta(days=step) for step in reminder_steps]
    return Example(
        issued_on=issued_on,
        ends_on=ends_on,
        window_opens_on=ends_on - window,
        renewed_on=renewed_on,
        renewed_through=valid_through(figures, renewed_on, ends_on),
        early_on=early_on,
        early_through=valid_through(figures, early_on, ends_on),
        vision_through=(
            VisionRecord([test]).last_good_day(issued_on, figures.vision_months)[0]
            if figures.vision_months
            else None
        ),
        practice_through=(
            PracticeRecord([]).last_good_day(issued_on, figures.max_absence_months)[0]
            if figures.max_absence_months
            else None
        ),
        first_reminder_on=min(steps, default=None),
        last_reminder_on=max(steps, default=None),
    )
