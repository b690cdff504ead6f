"""The engine gives what the rules give when somebody reads them out for each day."""

from datetime import timedelta
from itertools import pairwise

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from certification.domain.standing import EventKind, Facts, History, Standing, timeline
from tests.certification.standing_facts import read_day_by_day
from tests.certification.standing_registers import all_days, instants, registers

slow = settings(
    max_examples=200, deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=True
)


@slow
@given(registers(), st.none() | instants)
def test_every_day_of_a_register_gets_the_answer_of_the_rules(facts, known_at):
    found = timeline(facts, known_at)
    for day in all_days():
        span = found.span_on(day)
        expected = read_day_by_day(facts, day, known_at)
        assert (span.standing, span.certificate_number, span.restriction) == expected, day


@slow
@given(registers(), st.none() | instants)
def test_spans_follow_one_another_without_gap_and_say_something_new(facts, known_at):
    spans = timeline(facts, known_at).spans
    for span, following in pairwise(spans):
        assert span.first_day <= span.last_day
        assert following.first_day == span.last_day + timedelta(days=1)
        assert (span.certificate_number, span.restriction, span.rule) != (
            following.certificate_number,
            following.restriction,
            following.rule,
        )
    if spans:
        assert spans[-1].last_day is None


def said(answer):
    return answer.standing, answer.certificate_number, answer.restriction


@slow
@given(registers(), st.none() | instants)
def test_an_answer_names_the_first_later_day_on_which_it_differs(facts, known_at):
    found = timeline(facts, known_at)
    days = all_days()
    answers = [found.on(day) for day in days]
    changes_on = None
    for i in reversed(range(len(days) - 1)):
        now, then = answers[i], answers[i + 1]
        if said(now) != said(then):
            changes_on = days[i + 1]
        assert now.changes_on == changes_on
    assert answers[-1].changes_on is None


@slow
@given(registers())
def test_order_of_entry_does_not_matter(facts):
    turned = Facts(
        facts.certificates[::-1],
        facts.events[::-1],
        facts.vision_tests[::-1],
        facts.practice[::-1],
    )
    assert timeline(turned).spans == timeline(facts).spans


@slow
@given(registers(), st.lists(st.none() | instants, min_size=1, max_size=12))
def test_history_gives_what_was_known_at_each_instant(facts, asked):
    history = History(facts)
    for known_at in asked:
        assert history.as_known_at(known_at).spans == timeline(facts, known_at).spans


@slow
@given(registers(), st.none() | instants)
def test_restricting_changes_what_an_answer_says_and_nothing_else(facts, known_at):
    restricting = {EventKind.RESTRICTED, EventKind.UNRESTRICTED}
    without = timeline(
        Facts(
            facts.certificates,
            [one for one in facts.events if one.kind not in restricting],
            facts.vision_tests,
            facts.practice,
        ),
        known_at,
    )
    found = timeline(facts, known_at)
    for day in all_days():
        now, then = found.on(day), without.on(day)
        assert (now.standing, now.certificate_number, now.rule) == (
            then.standing,
            then.certificate_number,
            then.rule,
        ), day
        assert found.ends_after(day) == without.ends_after(day)
        assert found.good_through(day) == without.good_through(day)


@slow
@given(registers())
def test_certified_lasts_as_long_as_its_ends_say_unless_something_else_happens(facts):
    """Without events and newer certificates, the earliest end is the last certified day."""
    alone = Facts(facts.certificates[:1], (), facts.vision_tests, facts.practice)
    found = timeline(alone)
    for span in found.spans:
        ends = found.ends_after(span.first_day)
        if span.standing == Standing.CERTIFIED:
            assert span.last_day == ends[0].last_day
        else:
            assert ends == ()
