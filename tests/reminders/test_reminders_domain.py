"""Which step before an end goes out on a day, which is overtaken, and on what day."""

from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from people.domain.working_days import working_days as working_week
from reminders.domain import reminders
from reminders.domain.reminders import (
    DAY_AFTER,
    Ending,
    EndOfScope,
    Outcome,
    Reason,
    SpanOfScope,
    decide,
    due_steps,
    endings_on,
    planned_on,
)

WEEKDAYS = working_week([1, 2, 3, 4, 5])
EVERY_DAY = working_week(range(1, 8))
STEPS = (90, 60, 30, 14, 7, 1)
WEDNESDAY = date(2026, 11, 25)


def ending(ends_on, steps=STEPS, **fields):
    fields = {"person_id": 1, "source": "certificate:N-1", "kind": "certificate", **fields}
    return Ending(ends_on=ends_on, steps=steps, **fields)


@pytest.mark.parametrize(
    ("ends_on", "step", "working_days", "planned"),
    [
        pytest.param(date(2026, 12, 2), 7, WEEKDAYS, WEDNESDAY, id="on its own day"),
        pytest.param(date(2026, 12, 5), 7, WEEKDAYS, date(2026, 11, 27), id="Saturday to Friday"),
        pytest.param(date(2026, 12, 6), 7, WEEKDAYS, date(2026, 11, 27), id="Sunday to Friday"),
        pytest.param(date(2026, 12, 5), 7, EVERY_DAY, date(2026, 11, 28), id="they work Saturdays"),
        pytest.param(date(2026, 11, 25), DAY_AFTER, WEEKDAYS, date(2026, 11, 26), id="day after"),
        pytest.param(
            date(2026, 11, 28), DAY_AFTER, WEEKDAYS, date(2026, 11, 27), id="day after, Sunday"
        ),
        pytest.param(date(2024, 3, 14), 14, EVERY_DAY, date(2024, 2, 29), id="leap day"),
        pytest.param(date(2024, 2, 29), DAY_AFTER, EVERY_DAY, date(2024, 3, 1), id="leap-day end"),
        pytest.param(date(2026, 12, 4), 7, working_week([1]), date(2026, 11, 23), id="Mondays"),
        pytest.param(date(2026, 12, 5), 7, working_week([]), date(2026, 11, 28), id="none named"),
        pytest.param(date(2026, 12, 5), 7, working_week([0, 9]), date(2026, 11, 28), id="no days"),
    ],
)
def test_step_goes_out_on_its_day_or_the_working_day_before(ends_on, step, working_days, planned):
    assert planned_on(ends_on, step, working_days) == planned


@pytest.mark.parametrize(
    ("ends_on", "due"),
    [
        pytest.param(WEDNESDAY + timedelta(days=91), (), id="91 days left"),
        pytest.param(WEDNESDAY + timedelta(days=90), (90,), id="90 days left"),
        pytest.param(WEDNESDAY + timedelta(days=31), (60, 90), id="31 days left"),
        pytest.param(WEDNESDAY + timedelta(days=30), (30, 60, 90), id="30 days left"),
        pytest.param(WEDNESDAY + timedelta(days=1), (1, 7, 14, 30, 60, 90), id="tomorrow"),
        pytest.param(WEDNESDAY, (1, 7, 14, 30, 60, 90), id="today"),
        pytest.param(
            WEDNESDAY - timedelta(days=1), (DAY_AFTER, 1, 7, 14, 30, 60, 90), id="yesterday"
        ),
    ],
)
def test_steps_are_due_from_their_day_on(ends_on, due):
    assert due_steps(ends_on, STEPS, WEDNESDAY, EVERY_DAY) == due


@given(
    ends_on=st.dates(date(2024, 1, 1), date(2028, 12, 31)),
    shift=st.integers(-120, 20),
    step=st.integers(DAY_AFTER, 100),
    working_days=st.sets(st.integers(1, 7)).map(working_week),
)
def test_step_is_due_exactly_from_the_day_planned_for_it(ends_on, shift, step, working_days):
    day = ends_on + timedelta(days=shift)
    due = step in due_steps(ends_on, [step], day, working_days)
    assert due == (planned_on(ends_on, step, working_days) <= day)


@pytest.mark.parametrize(
    ("left", "fields", "decided"),
    [
        pytest.param(91, {}, [], id="nothing due"),
        pytest.param(90, {}, [(90, "go", "")], id="first step"),
        pytest.param(
            30,
            {},
            [(30, "go", ""), (60, "overtaken", "later"), (90, "overtaken", "later")],
            id="only the fewest days left goes out",
        ),
        pytest.param(
            30,
            {"recorded": {60, 90}},
            [(30, "go", "")],
            id="what is recorded is not recorded again",
        ),
        pytest.param(29, {"recorded": {30, 60, 90}}, [], id="nothing new"),
        pytest.param(29, {"recorded": {30}}, [], id="scheme got more steps since"),
        pytest.param(
            -1, {"swept_on": WEDNESDAY}, [(-1, "overtaken", "seen")], id="past when first seen"
        ),
        pytest.param(-1, {}, [(-1, "overtaken", "seen")], id="past at the first sweep of all"),
        pytest.param(
            -1,
            {"swept_on": WEDNESDAY - timedelta(days=1), "recorded": {1, 7, 14, 30, 60, 90}},
            [(-1, "go", "")],
            id="day after",
        ),
        pytest.param(
            -1,
            {"swept_on": WEDNESDAY - timedelta(days=5), "recorded": {7}},
            [
                (-1, "go", ""),
                *((step, "overtaken", "later") for step in (1, 14, 30, 60, 90)),
            ],
            id="day after, the last step was missed",
        ),
        pytest.param(
            -2,
            {"swept_on": WEDNESDAY - timedelta(days=3), "steps": ()},
            [(-1, "go", "")],
            id="ended while no sweep ran",
        ),
        pytest.param(
            -1,
            {"swept_on": WEDNESDAY - timedelta(days=1)},
            [(-1, "overtaken", "seen")],
            id="ended yesterday, entered since the sweep of its last day",
        ),
        pytest.param(
            -1,
            {"swept_on": WEDNESDAY - timedelta(days=8), "steps": (7, 1)},
            [(-1, "overtaken", "seen")],
            id="the last sweep would have written seven days before",
        ),
        pytest.param(
            -1,
            {"swept_on": WEDNESDAY - timedelta(days=9), "steps": (7, 1)},
            [
                (-1, "go", ""),
                (1, "overtaken", "later"),
                (7, "overtaken", "later"),
            ],
            id="the last sweep saw it before its first step",
        ),
        pytest.param(
            7,
            {"starts_on": WEDNESDAY + timedelta(days=8)},
            [(7, "overtaken", "start")],
            id="ends before the site's first day of reminders",
        ),
        pytest.param(
            7,
            {"starts_on": WEDNESDAY + timedelta(days=7), "steps": (7,)},
            [(7, "go", "")],
            id="ends on the site's first day of reminders",
        ),
        pytest.param(
            -1,
            {"swept_on": WEDNESDAY - timedelta(days=1), "recorded": {1}, "stopped": "revoked"},
            [(-1, "dropped", "stopped")],
            id="revoked since",
        ),
    ],
)
def test_decisions_of_a_day(left, fields, decided):
    of_ending = {name: fields.pop(name) for name in ("steps", "stopped") if name in fields}
    words = {
        Reason.NONE: "",
        Reason.BY_A_LATER_STEP: "later",
        Reason.ENDED_BEFORE_SEEN: "seen",
        Reason.ENDED_BEFORE_START: "start",
        Reason.STOPPED: "stopped",
    }
    decisions = decide(
        ending(WEDNESDAY + timedelta(days=left), **of_ending),
        WEDNESDAY,
        working_days=EVERY_DAY,
        **{"recorded": (), **fields},
    )
    assert [
        (decision.step, decision.outcome.value, words[decision.reason]) for decision in decisions
    ] == decided


@settings(max_examples=300)
@given(
    steps=st.sets(st.integers(0, 40)),
    working_days=st.sets(st.integers(1, 7)).map(working_week),
    sweeps=st.lists(st.integers(-60, 20), min_size=1, max_size=60).map(sorted),
    weekday=st.integers(0, 6),
)
def test_sweeps_with_gaps_send_no_step_twice_and_none_of_the_days_before_after_the_end(
    steps, working_days, sweeps, weekday
):
    ends_on = date(2026, 6, 1) + timedelta(days=weekday)
    recorded, steps_sent, swept_on = set(), [], None
    for shift in sweeps:  # The same day may come up several times, as hours do.
        day = ends_on + timedelta(days=shift)
        for decision in decide(
            ending(ends_on, tuple(steps)),
            day,
            working_days=working_days,
            recorded=recorded,
            swept_on=swept_on,
        ):
            assert decision.step not in recorded
            recorded.add(decision.step)
            if decision.outcome is Outcome.GO:
                steps_sent.append((day, decision.step))
        swept_on = day
    assert len({day for day, _step in steps_sent}) == len(steps_sent), "one a day at most"
    assert [step for _day, step in steps_sent] == sorted(
        (step for _day, step in steps_sent), reverse=True
    )
    assert all(day <= ends_on or step == DAY_AFTER for day, step in steps_sent)
    if any(shift <= 0 for shift in sweeps) and sweeps[-1] > 7:
        assert steps_sent, "whoever was seen before the end is told, late if need be"


@pytest.mark.parametrize(
    ("left", "step", "copied"),
    [
        pytest.param(14, 14, True, id="fourteen days"),
        pytest.param(16, 14, True, id="fourteen-day step moved to a Friday"),
        pytest.param(15, 30, False, id="first seen with fifteen left"),
        pytest.param(12, 30, True, id="first seen with twelve left"),
        pytest.param(-1, DAY_AFTER, True, id="day after"),
    ],
)
def test_line_lead_is_copied_from_fourteen_days_on(left, step, copied):
    assert (
        reminders.lead_is_copied(ending(WEDNESDAY + timedelta(days=left)), step, WEDNESDAY)
        == copied
    )


@pytest.mark.parametrize(
    ("day", "working_days", "monday"),
    [
        pytest.param(date(2026, 11, 23), WEEKDAYS, date(2026, 11, 23), id="Monday"),
        pytest.param(date(2026, 11, 29), WEEKDAYS, date(2026, 11, 23), id="Sunday: still due"),
        pytest.param(date(2026, 11, 23), working_week([2, 3]), None, id="week starts on Tuesday"),
        pytest.param(date(2026, 11, 24), working_week([2, 3]), date(2026, 11, 23), id="Tuesday"),
    ],
)
def test_list_of_the_week_is_due_from_the_first_working_day(day, working_days, monday):
    assert reminders.week_of_list(day, working_days) == monday


@pytest.mark.parametrize(
    ("attempts", "minutes"), [(1, 1), (2, 2), (3, 4), (6, 32), (7, 60), (400, 60)]
)
def test_wait_doubles_up_to_an_hour(attempts, minutes):
    assert reminders.wait_after(attempts) == timedelta(minutes=minutes)


# What ends, from spans of standing

END = date(2026, 12, 9)


def certified(first, last, *ends, number="N-1"):
    return SpanOfScope(first, last, "certified", number, ends, STEPS)


def other(first, standing, last=None):
    return SpanOfScope(first, last, standing, "N-1", (), STEPS)


CERTIFICATE = EndOfScope("certificate", END, "certificate:N-1")
VISION = EndOfScope("vision", date(2026, 12, 1), "vision:V-1")
START = date(2025, 1, 1)


@pytest.mark.parametrize(
    ("day", "spans", "found"),
    [
        pytest.param(
            WEDNESDAY,
            [
                certified(START, date(2026, 12, 1), VISION, CERTIFICATE),
                other(date(2026, 12, 2), "vision_not_current"),
            ],
            [("vision:V-1", ""), ("certificate:N-1", "")],
            id="each end of what holds, also one beyond another",
        ),
        pytest.param(
            date(2026, 12, 2),
            [
                certified(START, date(2026, 12, 1), VISION, CERTIFICATE),
                other(date(2026, 12, 2), "vision_not_current"),
            ],
            [("vision:V-1", "")],
            id="once no longer certified, only what ended it",
        ),
        pytest.param(
            date(2026, 12, 20),
            [
                certified(START, END, CERTIFICATE),
                other(date(2026, 12, 10), "expired", date(2026, 12, 14)),
                other(date(2026, 12, 15), "revoked"),
            ],
            [("certificate:N-1", "revoked")],
            id="revoked after it ended",
        ),
        pytest.param(
            WEDNESDAY,
            [
                certified(START, date(2026, 11, 20), CERTIFICATE),
                other(date(2026, 11, 21), "suspended"),
            ],
            [],
            id="suspended: nothing ends by itself",
        ),
        pytest.param(
            WEDNESDAY,
            [
                certified(START, END, CERTIFICATE),
                certified(date(2026, 12, 10), None, number="N-2"),
            ],
            [],
            id="another certificate takes over",
        ),
        pytest.param(
            date(2026, 12, 11),
            [
                certified(START, END, CERTIFICATE),
                other(date(2026, 12, 10), "expired", date(2026, 12, 10)),
                certified(date(2026, 12, 11), None, number="N-2"),
            ],
            [],
            id="certified again after a gap",
        ),
        pytest.param(date(2024, 1, 1), [certified(START, END, CERTIFICATE)], [], id="not yet"),
    ],
)
def test_ends_written_about_are_those_of_the_standing_that_holds(day, spans, found):
    assert [(end.source, stopped) for end, stopped in reminders.ends_on_day(spans, day)] == found


def test_vision_test_that_stops_several_scopes_is_one_end_with_the_sites_steps():
    spans = [
        certified(START, date(2026, 12, 1), VISION, CERTIFICATE),
        other(date(2026, 12, 2), "vision_not_current"),
    ]
    endings = endings_on(WEDNESDAY, {(1, 8): spans, (1, 7): spans}, {1: (45, 5)})
    vision = next(ending for ending in endings if ending.kind == "vision")
    assert (vision.scope_ids, vision.steps) == ((7, 8), (5, 45))
    assert [ending.key for ending in endings].count(vision.key) == 1
