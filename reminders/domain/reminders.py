"""Which reminder is due on a day before something ends, and which is overtaken.

A step is a number of days before the last good day; `DAY_AFTER` is the day after it.
"""

from bisect import bisect_right
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum

from certification.domain.answers import Standing
from certification.domain.disclosure import LAPSES
from people.domain.working_days import WorkingDays

DAY_AFTER = -1
LEAD_IS_COPIED_FROM = 14
ONE_DAY = timedelta(days=1)
LONGEST_WAIT = timedelta(hours=1)


# What ends


@dataclass(frozen=True, slots=True)
class EndOfScope:
    """Something that will end one standing: its kind, last good day and source."""

    kind: str
    ends_on: date
    source: str


@dataclass(frozen=True, slots=True)
class SpanOfScope:
    """Days on which one person's standing in one scope stays the same, both included.

    Attributes
    ----------
    first_day : date
    last_day : date or None
        None where nothing known will change the standing.
    standing : str
    certificate : str
        The number of the certificate that answers.
    ends : tuple of EndOfScope
        What will end it by itself; empty unless certified.
    steps : tuple of int
        Days before an end to write, of the certificate's scheme.
    """

    first_day: date
    last_day: date | None
    standing: str
    certificate: str = ""
    ends: tuple[EndOfScope, ...] = ()
    steps: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Ending:
    """One end as it concerns one person, with every scope that it stops.

    Attributes
    ----------
    person_id : int
    source, kind : str
    ends_on : date
        The last good day.
    steps : tuple of int
    scope_ids : tuple of int
        In ascending order; empty for what is no standing.
    stopped : str
        The standing that has taken its place since, such as ``revoked``, where that is
        none that an end leaves behind by itself; else empty.
    """

    person_id: int
    source: str
    kind: str
    ends_on: date
    steps: tuple[int, ...]
    scope_ids: tuple[int, ...] = ()
    stopped: str = ""

    @property
    def key(self) -> tuple[int, str, str, date]:
        return self.person_id, self.source, self.kind, self.ends_on


def span_on(spans: Sequence[SpanOfScope], day: date) -> int | None:
    """Return the place of the span that a day lies in, or None before the first.

    Parameters
    ----------
    spans : sequence of SpanOfScope
        Of one person and scope, in order and without gaps.
    day : date
    """
    index = bisect_right(spans, day, key=lambda span: span.first_day) - 1
    return index if index >= 0 else None


def ends_on_day(spans: Sequence[SpanOfScope], day: date) -> list[tuple[EndOfScope, str]]:
    """Return what is to be written about in one scope, as things are on a day.

    While somebody is certified that is every end to come after which they are not; once
    they are no longer, whatever ended it by itself.

    Parameters
    ----------
    spans : sequence of SpanOfScope
        Of one person and scope, in order and without gaps.
    day : date

    Returns
    -------
    list of (EndOfScope, str)
        Each with the standing on the day where something else has stopped it since, such
        as ``suspended``, else with an empty text.
    """
    index = span_on(spans, day)
    if index is None:
        return []
    current = spans[index]
    if current.standing == Standing.CERTIFIED:
        return [
            (end, "") for end in current.ends if end.ends_on >= day and not _goes_on(spans, end)
        ]
    stopped = "" if current.standing in LAPSES else current.standing
    for span in reversed(spans[:index]):
        if span.standing == Standing.CERTIFIED:
            return [(end, stopped) for end in span.ends if end.ends_on == span.last_day]
    return []


def _goes_on(spans: Sequence[SpanOfScope], end: EndOfScope) -> bool:
    """Whether somebody is certified on the day after an end all the same."""
    index = span_on(spans, end.ends_on + ONE_DAY)
    return index is not None and spans[index].standing == Standing.CERTIFIED


def endings_on(
    day: date,
    spans_of: Mapping[tuple[int, int], Sequence[SpanOfScope]],
    vision_steps: Mapping[int, tuple[int, ...]],
) -> list[Ending]:
    """Gather what is to be written about on a day, each end once for a person.

    Parameters
    ----------
    day : date
    spans_of : mapping of (person id, scope id) to sequence of SpanOfScope
    vision_steps : mapping of person id to tuple of int
        The days before the end of a vision test to write, which are the site's.

    Returns
    -------
    list of Ending
        By person, then by last day and source.
    """
    scopes: dict[tuple[int, str, str, date], dict[int, str]] = {}
    steps: dict[tuple[int, str, str, date], set[int]] = {}
    for (person_id, scope_id), spans in spans_of.items():
        index = span_on(spans, day)
        of_scheme = spans[index].steps if index is not None else ()
        for end, stopped in ends_on_day(spans, day):
            key = (person_id, end.source, end.kind, end.ends_on)
            scopes.setdefault(key, {})[scope_id] = stopped
            of_end = vision_steps.get(person_id, ()) if end.kind == "vision" else of_scheme
            steps.setdefault(key, set()).update(of_end)
    endings = []
    for key, of_key in scopes.items():
        still = [scope_id for scope_id, stopped in of_key.items() if not stopped]
        endings.append(
            Ending(
                *key,
                steps=tuple(sorted(steps[key])),
                scope_ids=tuple(sorted(still or of_key)),
                stopped="" if still else next(iter(of_key.values())),
            )
        )
    return sorted(endings, key=lambda ending: (ending.person_id, ending.ends_on, ending.source))


# When a step is due


def planned_on(ends_on: date, step: int, working_days: WorkingDays) -> date:
    """Return the day on which a step goes out: its own, or the working day before.

    Parameters
    ----------
    ends_on : date
        The last good day.
    step : int
        Days before it; `DAY_AFTER` for the day after.
    working_days : WorkingDays
        Of the site.

    Examples
    --------
    The certificate ends on a Tuesday, so two days before is a Sunday.

    >>> from people.domain.working_days import working_days as on_weekdays
    >>> planned_on(date(2026, 12, 1), 2, on_weekdays([1, 2, 3, 4, 5]))
    datetime.date(2026, 11, 27)
    >>> planned_on(date(2026, 12, 1), 2, on_weekdays([1, 2, 3, 4, 5], [date(2026, 11, 27)]))
    datetime.date(2026, 11, 26)
    """
    day = ends_on - timedelta(days=step)
    while day not in working_days:
        day -= ONE_DAY
    return day


def reach(day: date, working_days: WorkingDays) -> date:
    """Return the last day whose steps go out on a day or before: the eve of the next working day.

    A step is due on a day if its own day is not after this one.

    Examples
    --------
    On a Friday the steps of the weekend are due as well.

    >>> from people.domain.working_days import working_days as on_weekdays
    >>> reach(date(2026, 11, 27), on_weekdays([1, 2, 3, 4, 5]))
    datetime.date(2026, 11, 29)
    """
    following = day + ONE_DAY
    while following not in working_days:
        following += ONE_DAY
    return following - ONE_DAY


def with_day_after(steps: Iterable[int]) -> tuple[int, ...]:
    """Return a scheme's steps and the day after, the fewest days left first."""
    return tuple(sorted({DAY_AFTER, *(step for step in steps if step >= 0)}))


def due_steps(
    ends_on: date, steps: Iterable[int], day: date, working_days: WorkingDays
) -> tuple[int, ...]:
    """Return the steps whose day has come, the one with the fewest days left first.

    Examples
    --------
    >>> from people.domain.working_days import working_days as on_weekdays
    >>> due_steps(date(2026, 12, 9), [30, 14, 7], date(2026, 11, 25), on_weekdays([]))
    (14, 30)
    """
    left = (ends_on - reach(day, working_days)).days
    return tuple(step for step in with_day_after(steps) if step >= left)


# What to do about it


class Outcome(StrEnum):
    GO = "go"
    OVERTAKEN = "overtaken"
    DROPPED = "dropped"


class Reason(StrEnum):
    NONE = ""
    BY_A_LATER_STEP = "by a later step"
    ENDED_BEFORE_SEEN = "ended before it was first seen"
    ENDED_BEFORE_START = "ended before the first day of reminders"
    STOPPED = "stopped by something else"


@dataclass(frozen=True, slots=True)
class Decision:
    """What becomes of one step of one end."""

    step: int
    outcome: Outcome
    reason: Reason = Reason.NONE


def decide(
    ending: Ending,
    day: date,
    *,
    working_days: WorkingDays,
    recorded: Collection[int],
    starts_on: date | None = None,
    swept_on: date | None = None,
) -> list[Decision]:
    """Decide about the steps of an end that are due on a day and not in the ledger.

    Only the one with the fewest days left goes out; the others are overtaken. An end that
    was past when it was first seen, since it was entered or brought over late, or that came
    before the site's reminders began, is overtaken itself.

    Parameters
    ----------
    ending : Ending
    day : date
    working_days : WorkingDays
    recorded : collection of int
        Steps of this end that are in the ledger, whatever became of them.
    starts_on : date or None
        The first day of reminders at the person's site.
    swept_on : date or None
        The last day swept to its end at that site; None if there was none.

    Returns
    -------
    list of Decision
        The fewest days left first; empty where nothing is due or all is recorded.
    """
    due = due_steps(ending.ends_on, ending.steps, day, working_days)
    if not due or due[0] in recorded:
        return []
    urgent = due[0]
    if starts_on is not None and ending.ends_on < starts_on:
        return [Decision(urgent, Outcome.OVERTAKEN, Reason.ENDED_BEFORE_START)]
    if ending.ends_on < day and not recorded and not _was_seen(ending, swept_on, working_days):
        return [Decision(urgent, Outcome.OVERTAKEN, Reason.ENDED_BEFORE_SEEN)]
    if ending.stopped:
        return [Decision(urgent, Outcome.DROPPED, Reason.STOPPED)]
    return [
        Decision(urgent, Outcome.GO),
        *(
            Decision(step, Outcome.OVERTAKEN, Reason.BY_A_LATER_STEP)
            for step in due[1:]
            if step not in recorded
        ),
    ]


def _was_seen(ending: Ending, swept_on: date | None, working_days: WorkingDays) -> bool:
    """Whether the last sweep may have seen an end of which nothing is recorded.

    That one would have recorded a step if one had been due.
    """
    if swept_on is None or ending.ends_on < swept_on:
        return False
    return not due_steps(ending.ends_on, ending.steps, swept_on, working_days)


def lead_is_copied(ending: Ending, step: int, day: date) -> bool:
    """Say whether the line lead is told too: from the fourteen-day step on, or so few days."""
    return min(step, (ending.ends_on - day).days) <= LEAD_IS_COPIED_FROM


def week_of_list(day: date, working_days: WorkingDays) -> date | None:
    """Return the Monday of the week whose list is due on a day, or None before its first
    working day."""
    monday = day - timedelta(days=day.isoweekday() - 1)
    so_far = (monday + timedelta(days=n) for n in range(day.isoweekday()))
    return monday if any(one in working_days for one in so_far) else None


class HowOften(StrEnum):
    """How often somebody wants the list of what ends."""

    DAILY = "daily"
    WEEKLY = "weekly"
    MONTHLY = "monthly"
    NEVER = "never"


def list_through(how_often: str, day: date, working_days: WorkingDays) -> date | None:
    """Return the last day of the period whose list is due on a day, or None where none is.

    A list goes out on the first working day of its week or month, or later in it where
    there was nothing to list then; a daily one on working days.

    Examples
    --------
    The first of November 2026 is a Sunday.

    >>> from people.domain.working_days import working_days as on_weekdays
    >>> list_through("monthly", date(2026, 11, 1), on_weekdays([1, 2, 3, 4, 5])) is None
    True
    >>> list_through("monthly", date(2026, 11, 2), on_weekdays([1, 2, 3, 4, 5]))
    datetime.date(2026, 11, 30)
    """
    match how_often:
        case HowOften.DAILY:
            return day if day in working_days else None
        case HowOften.WEEKLY:
            monday = week_of_list(day, working_days)
            return None if monday is None else monday + timedelta(days=6)
        case HowOften.MONTHLY:
            first = day.replace(day=1)
            while first not in working_days:
                first += ONE_DAY
            following = (day.replace(day=28) + timedelta(days=4)).replace(day=1)
            return following - ONE_DAY if day >= first else None
    return None


def wait_after(attempts: int) -> timedelta:
    """Return how long to wait after so many failed attempts: a minute, then twice as long
    each time, an hour at most."""
    return min(timedelta(minutes=2 ** min(attempts - 1, 10)), LONGEST_WAIT)
