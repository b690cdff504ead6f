"""What keeps a scheme from being published, and what its figures come to."""

import doctest
from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from certification.domain import scheme_rules
from certification.domain.facts import ExpiryRule, SchemeFigures
from certification.domain.months import add_months
from certification.domain.periods import valid_through
from certification.domain.scheme_rules import (
    AskedExercise,
    CoveredScope,
    FaultKind,
    SchemeRules,
    example,
    faults,
    remarks,
    shortest_days,
)

FIGURES = SchemeFigures(24, renewal_window_days=90, vision_months=12, max_absence_months=6)
TURRETS = AskedExercise("X-1", credits=frozenset({"T"}), joint_types=frozenset({"turret"}))
WIRE = AskedExercise("X-W", credits=frozenset({"W"}), joint_types=frozenset({"wire"}))
SCOPE = CoveredScope("T", frozenset({"turret"}), asked=(TURRETS,))
SOUND = SchemeRules(FIGURES, (90, 30, 1), (SCOPE,))


def kinds(found):
    return [fault.kind for fault in found]


def with_scope(**fields):
    return replace(SOUND, scopes=(replace(SCOPE, **fields),))


def test_examples_of_the_docstrings_hold():
    assert doctest.testmod(scheme_rules).failed == 0


def test_a_sound_scheme_has_no_fault_and_no_remark():
    assert faults(SOUND) == []
    assert remarks(SOUND) == []


@pytest.mark.parametrize(
    ("rules", "kind"),
    [
        (replace(SOUND, scopes=()), FaultKind.NO_SCOPE),
        (replace(SOUND, figures=replace(FIGURES, validity_months=0)), FaultKind.NO_VALIDITY),
        (replace(SOUND, figures=replace(FIGURES, vision_months=601)), FaultKind.TOO_LONG),
        (
            replace(SOUND, figures=replace(FIGURES, renewal_window_days=730)),
            FaultKind.WINDOW_TOO_LONG,
        ),
        (replace(SOUND, reminder_steps=(730, 1)), FaultKind.STEP_TOO_LONG),
        (with_scope(is_retired=True), FaultKind.SCOPE_RETIRED),
        (with_scope(asked=(replace(TURRETS, is_current=False),)), FaultKind.NO_SUCH_EXERCISE),
        (with_scope(asked=(replace(TURRETS, boards=0),)), FaultKind.NO_BOARDS),
        (with_scope(asked=(WIRE,)), FaultKind.NOTHING_CREDITED),
    ],
)
def test_each_fault_is_found_alone(rules, kind):
    assert kinds(faults(rules)) == [kind]


def test_boards_for_a_scope_that_is_not_covered_are_a_fault_beside_no_scope():
    assert kinds(faults(with_scope(is_covered=False))) == [
        FaultKind.NO_SCOPE,
        FaultKind.SCOPE_NOT_COVERED,
    ]


def test_window_and_step_may_be_a_day_shorter_than_the_shortest_period():
    rules = replace(SOUND, figures=replace(FIGURES, renewal_window_days=729), reminder_steps=(729,))
    assert faults(rules) == []


def test_an_exercise_of_other_work_is_asked_beside_with_a_remark():
    rules = with_scope(asked=(TURRETS, WIRE))
    assert faults(rules) == []
    assert [(one.kind, one.exercise) for one in remarks(rules)] == [
        (FaultKind.CREDITS_ANOTHER, "X-W")
    ]


def test_a_scope_without_boards_and_a_scheme_without_reminders_are_remarks():
    assert kinds(remarks(replace(with_scope(asked=()), reminder_steps=()))) == [
        FaultKind.NAMES_NO_BOARDS,
        FaultKind.NO_REMINDERS,
    ]


@given(st.integers(0, 120), st.dates(date(1950, 1, 1), date(2085, 1, 1)))
def test_no_period_is_shorter_than_the_shortest(months, begin):
    assert (add_months(begin, months) - begin).days >= shortest_days(months)


figures = st.builds(
    SchemeFigures,
    st.integers(1, 60),
    st.sampled_from(ExpiryRule),
    st.integers(0, 27),
    st.integers(0, 24),
    st.integers(0, 24),
)


@given(figures, st.dates(date(2000, 1, 1), date(2100, 1, 1)))
def test_the_example_is_what_the_engine_says(rule, day):
    shown = example(rule, [30, 1], day)
    assert shown.ends_on == valid_through(rule, day)
    assert shown.window_opens_on <= shown.renewed_on <= shown.ends_on
    assert shown.renewed_through == valid_through(rule, shown.ends_on, shown.ends_on)
    assert shown.early_on == shown.window_opens_on - timedelta(days=1)
    assert shown.early_through == valid_through(rule, shown.early_on)
    assert (shown.vision_through is None) == (rule.vision_months == 0)
    assert (shown.practice_through is None) == (rule.max_absence_months == 0)
    assert shown.first_reminder_on == shown.ends_on - timedelta(days=30)
