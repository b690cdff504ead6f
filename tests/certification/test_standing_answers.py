"""What comes with an answer: certificate, restriction, rule, facts used, what ends it and when."""

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from certification.domain.standing import (
    UNKNOWN_PERSON,
    End,
    EndKind,
    Facts,
    Rule,
    Standing,
    timeline,
)
from tests.certification.standing_facts import (
    certificate,
    day,
    event,
    figures,
    spans_of,
    vision,
    work,
)
from tests.certification.standing_registers import all_days, registers

FULL = figures(24, window=90, vision=12, absence=6)


@pytest.fixture
def kept_up():
    """Two certificates in a chain, tests and work in good time."""
    return Facts(
        [
            certificate("C1", "2022-03-15", FULL),
            certificate("C2", "2024-01-20", FULL, renews="C1", restriction="turrets only"),
        ],
        (),
        [vision("T1", "2024-01-10"), vision("T2", "2025-01-08")],
        [work(text) for text in ("2024-02-10", "2024-05-05", "2024-06-01", "2024-11-20")],
    )


def test_a_certified_answer_names_all_that_it_rests_on(kept_up):
    answer = timeline(kept_up).on(day("2024-12-01"))
    assert answer.standing == Standing.CERTIFIED
    assert answer.certificate_number == "C2"
    assert answer.restriction == "turrets only"
    assert answer.rule == Rule.WITHIN_PERIOD
    assert answer.facts_used == (
        "certificate:C2",
        "certificate:C1",
        "vision:T1",
        "practice:2024-06-01",
        "practice:2024-11-20",
    )
    assert answer.changes_on == day("2025-05-21")


@pytest.mark.parametrize(
    ("asked", "used"),
    [
        pytest.param(
            "2024-02-10", ["certificate:C1", "vision:T1"], id="work on the day itself is not yet"
        ),
        pytest.param(
            "2024-07-10",
            ["certificate:C1", "vision:T1", "practice:2024-07-09"],
            id="the furthest work in reach stands for all before it",
        ),
        pytest.param(
            "2025-01-08",
            ["certificate:C1", "vision:T1", "practice:2024-07-09", "practice:2024-12-20"],
            id="last day of the test",
        ),
        pytest.param(
            "2025-06-20",
            ["certificate:C1", "vision:T2", "practice:2024-07-09", "practice:2024-12-20"],
            id="last day of the rest",
        ),
        pytest.param(
            "2025-06-21",
            [
                "certificate:C1",
                "vision:T2",
                "practice:2024-07-09",
                "practice:2024-12-20",
                "certificate:C0",
            ],
            id="lapsed, so that the older one is asked too",
        ),
        pytest.param(
            "2026-01-10",
            ["certificate:C1", "vision:T2", "certificate:C0"],
            id="test too old: the work was not asked about",
        ),
    ],
)
def test_facts_used_are_those_that_count_on_the_day(asked, used):
    facts = Facts(
        [
            certificate("C0", "2022-01-05", figures(12)),
            certificate("C1", "2024-01-20", FULL),
        ],
        (),
        [vision("T1", "2024-01-08"), vision("T2", "2025-01-09")],
        [work(text) for text in ("2024-02-10", "2024-05-05", "2024-07-09", "2024-12-20")],
    )
    answer = timeline(facts).on(day(asked))
    assert list(answer.facts_used) == used


def test_ends_are_worked_out_each_on_its_own_and_come_in_order(kept_up):
    assert timeline(kept_up).ends_after(day("2024-12-01")) == (
        End(EndKind.PRACTICE, day("2025-05-20"), "practice:C2:2024-11-20"),
        End(EndKind.VISION, day("2026-01-08"), "vision:T2"),
        End(EndKind.CERTIFICATE, day("2026-03-15"), "certificate:C2"),
    )


def test_without_work_the_rest_counts_from_issue():
    found = timeline(Facts([certificate("C1", "2024-01-31", figures(24, absence=6))]))
    practice, period = found.ends_after(day("2024-01-31"))
    assert practice == End(EndKind.PRACTICE, day("2024-07-31"), "practice:C1:2024-01-31")
    assert period == End(EndKind.CERTIFICATE, day("2026-01-31"), "certificate:C1")


def test_certificate_end_follows_an_extension_and_an_early_end():
    extended = event("V1", "extended", "2024-05-01", until="2026-09-30")
    ended = event("V2", "ended", "2024-06-30")
    one = certificate("C1", "2024-01-31")
    asked = day("2024-05-02")
    assert timeline(Facts([one], [extended])).ends_after(asked)[0].last_day == day("2026-09-30")
    assert timeline(Facts([one], [extended, ended])).ends_after(asked)[0].last_day == day(
        "2024-06-30"
    )


def test_vision_end_is_that_of_the_last_test_passed_in_time():
    scheme = figures(48, vision=12)

    def vision_end(*tests):
        found = timeline(Facts([certificate("C1", "2024-01-31", scheme)], (), tests))
        return found.ends_after(day("2024-02-01"))[0]

    first = vision("T1", "2024-01-10")
    in_time = vision("T2", "2025-01-11")
    too_late = vision("T3", "2025-01-12")
    failed = vision("T4", "2024-06-01", False)
    assert vision_end(first, in_time) == End(EndKind.VISION, day("2026-01-11"), "vision:T2")
    assert vision_end(first, too_late) == End(EndKind.VISION, day("2025-01-10"), "vision:T1")
    assert vision_end(first, failed) == End(EndKind.VISION, day("2024-05-31"), "vision:T1")


def test_nothing_ends_a_standing_that_is_not_there():
    events = [event("V1", "suspended", "2024-05-01"), event("V2", "reinstated", "2024-06-01")]
    found = timeline(Facts([certificate("C1", "2024-04-01")], events))
    assert found.ends_after(day("2024-03-31")) == ()
    assert found.ends_after(day("2024-05-31")) == ()
    assert len(found.ends_after(day("2024-06-01"))) == 1
    assert found.ends_after(day("2026-04-02")) == ()


@pytest.mark.parametrize(
    ("asked", "rule", "used"),
    [
        pytest.param("2024-03-31", "no_certificate", [], id="none yet"),
        pytest.param("2024-04-01", "no_vision_test", ["certificate:C1"], id="no test"),
        pytest.param(
            "2024-04-10", "vision_failed", ["certificate:C1", "vision:T1"], id="test failed"
        ),
        pytest.param("2024-05-01", "within_period", ["certificate:C1", "vision:T2"], id="good"),
        pytest.param("2024-06-01", "suspended", ["certificate:C1", "event:V1"], id="suspended"),
        pytest.param(
            "2024-06-10", "suspended", ["certificate:C1", "event:V1", "event:V2"], id="twice"
        ),
        pytest.param(
            "2024-10-02", "practice_gap", ["certificate:C1", "vision:T2"], id="work rested"
        ),
        pytest.param(
            "2025-04-20", "vision_too_old", ["certificate:C1", "vision:T2"], id="test too old"
        ),
        pytest.param("2026-04-02", "period_over", ["certificate:C1"], id="over"),
        pytest.param("2027-01-01", "revoked", ["certificate:C1", "event:V4"], id="revoked"),
    ],
)
def test_each_rule_names_the_facts_that_decided(asked, rule, used):
    facts = Facts(
        [certificate("C1", "2024-04-01", figures(24, vision=12, absence=6))],
        [
            event("V1", "suspended", "2024-06-01"),
            event("V2", "suspended", "2024-06-10"),
            event("V3", "reinstated", "2024-07-01"),
            event("V4", "revoked", "2027-01-01"),
        ],
        [vision("T1", "2024-04-10", False), vision("T2", "2024-04-19")],
        [work("2025-01-15")],
    )
    answer = timeline(facts).on(day(asked))
    assert (answer.rule, list(answer.facts_used)) == (rule, used)
    assert answer.standing == Rule(rule).standing


@pytest.mark.parametrize(
    ("asked", "rule", "used"),
    [
        pytest.param("2026-04-01", "within_period", [], id="good without the extension"),
        pytest.param("2026-04-02", "within_extension", ["event:V1"], id="good by it"),
        pytest.param("2026-06-01", "extension_over", ["event:V1"], id="over"),
    ],
)
def test_an_extension_is_named_where_it_decides(asked, rule, used):
    facts = Facts(
        [certificate("C1", "2024-04-01")],
        [event("V1", "extended", "2026-03-01", until="2026-05-31")],
    )
    answer = timeline(facts).on(day(asked))
    assert (answer.rule, list(answer.facts_used)) == (rule, ["certificate:C1", *used])


def test_an_extension_that_revives_an_ended_certificate_is_named():
    events = [
        event("V1", "ended", "2024-06-30"),
        event("V2", "extended", "2024-06-30", until="2025-01-31"),
    ]
    found = timeline(Facts([certificate("C1", "2024-04-01")], events))
    assert found.on(day("2024-06-30")).facts_used == ("certificate:C1",)
    answer = found.on(day("2024-07-01"))
    assert answer.rule == Rule.WITHIN_EXTENSION
    assert answer.facts_used == ("certificate:C1", "event:V1", "event:V2")


def test_an_early_end_is_named():
    facts = Facts([certificate("C1", "2024-04-01")], [event("V1", "ended", "2024-06-30")])
    answer = timeline(facts).on(day("2024-07-01"))
    assert (answer.standing, answer.rule) == ("expired", "ended")
    assert answer.facts_used == ("certificate:C1", "event:V1")


def test_a_change_of_rule_alone_is_a_new_span_but_no_change_of_the_answer():
    facts = Facts(
        [certificate("C1", "2024-04-01")],
        [event("V1", "extended", "2026-03-01", until="2026-05-31")],
    )
    found = timeline(facts)
    assert spans_of(found) == [
        "2024-04-01 2026-04-01 certified C1",
        "2026-04-02 2026-05-31 certified C1",
        "2026-06-01 ... expired C1",
    ]
    assert found.on(day("2026-04-01")).changes_on == day("2026-06-01")
    assert found.on(day("2026-06-01")).changes_on is None


def test_before_the_first_certificate_the_answer_changes_on_its_issue():
    found = timeline(Facts([certificate("C1", "2024-04-01")]))
    assert found.on(day("2020-01-01")).changes_on == day("2024-04-01")
    assert found.span_on(day("2020-01-01")).last_day == day("2024-03-31")
    assert timeline(Facts()).on(day("2020-01-01")).changes_on is None


def test_nobody_known_has_an_answer_too():
    assert UNKNOWN_PERSON.standing == Standing.UNKNOWN_PERSON
    assert UNKNOWN_PERSON.facts_used == ()


def only(facts, used):
    """The facts that were named, and nothing else."""
    return Facts(
        [one for one in facts.certificates if f"certificate:{one.number}" in used],
        [one for one in facts.events if f"event:{one.event_id}" in used],
        [one for one in facts.vision_tests if f"vision:{one.test_id}" in used],
        [one for one in facts.practice if f"practice:{one.performed_on}" in used],
    )


@settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=True
)
@given(registers(), st.integers(1, 6))
def test_the_facts_used_alone_give_the_same_answer(facts, step):
    standing = timeline(facts)
    withdrawn = {one for one in (*facts.certificates, *facts.vision_tests) if one.withdrawn_at}
    for asked in all_days()[::step]:
        answer = standing.on(asked)
        named = only(facts, set(answer.facts_used))
        assert not withdrawn.intersection((*named.certificates, *named.vision_tests))
        again = timeline(named).on(asked)
        assert (again.standing, again.certificate_number, again.restriction, again.rule) == (
            answer.standing,
            answer.certificate_number,
            answer.restriction,
            answer.rule,
        ), asked
        assert again.facts_used == answer.facts_used
