"""As known at an instant: only what had been recorded by then, that instant included."""

import pytest

from certification.domain.standing import Facts, History, timeline
from tests.certification.standing_facts import at, certificate, day, event, figures, vision, work


def standing(facts, asked, known_at):
    return timeline(facts, at(known_at)).on(day(asked)).standing


@pytest.mark.parametrize(
    ("known_at", "expected"),
    [
        ("2024-04-03T13:59:59", "never_certified"),
        ("2024-04-03T14:00:00", "certified"),
    ],
)
def test_a_certificate_is_known_from_the_instant_it_is_recorded(known_at, expected):
    facts = Facts([certificate("C1", "2024-04-01", recorded="2024-04-03T14:00:00")])
    assert standing(facts, "2024-04-02", known_at) == expected


@pytest.mark.parametrize(
    ("known_at", "expected"),
    [
        ("2024-05-04T13:59:59", "certified"),
        ("2024-05-04T14:00:00", "never_certified"),
    ],
)
def test_a_certificate_never_was_from_the_instant_it_is_withdrawn(known_at, expected):
    facts = Facts([certificate("C1", "2024-04-01", withdrawn="2024-05-04T14:00:00")])
    assert standing(facts, "2024-04-02", known_at) == expected


@pytest.mark.parametrize(
    ("known_at", "expected"),
    [
        pytest.param("2024-05-31T23:59:59", "certified", id="nothing entered"),
        pytest.param("2024-06-01T00:00:00", "suspended", id="suspension entered, back-dated"),
        pytest.param("2024-06-08T23:59:59", "suspended", id="void not entered yet"),
        pytest.param("2024-06-09T00:00:00", "certified", id="void entered, effective later"),
    ],
)
def test_an_event_and_its_voiding_act_by_their_recorded_instants(known_at, expected):
    facts = Facts(
        [certificate("C1", "2024-04-01")],
        [
            event("V1", "suspended", "2024-05-01", recorded="2024-06-01T00:00:00"),
            event("V2", "voided", "2030-01-01", recorded="2024-06-09T00:00:00", voids="V1"),
        ],
    )
    assert standing(facts, "2024-05-20", known_at) == expected


def test_a_renewal_counts_only_if_the_earlier_certificate_was_known():
    facts = Facts(
        [
            certificate("C1", "2022-03-15", recorded="2025-01-01"),
            certificate("C2", "2024-01-20", renews="C1"),
        ]
    )
    assert standing(facts, "2026-03-15", "2024-12-31") == "expired"
    assert standing(facts, "2026-03-15", "2025-01-01") == "certified"


def test_tests_and_work_entered_late_were_not_known():
    facts = Facts(
        [certificate("C1", "2024-01-31", figures(24, vision=12, absence=6))],
        (),
        [vision("T1", "2024-01-15", recorded="2024-02-05")],
        [work("2024-07-15", recorded="2024-08-20")],
    )
    assert standing(facts, "2024-02-01", "2024-02-04") == "vision_not_current"
    assert standing(facts, "2024-02-01", "2024-02-05") == "certified"
    assert standing(facts, "2024-08-01", "2024-08-19") == "practice_lapsed"
    assert standing(facts, "2024-08-01", "2024-08-20") == "certified"


def test_history_works_out_each_state_of_knowledge_once():
    facts = Facts(
        [certificate("C1", "2024-04-01", recorded="2024-04-03T14:00:00")],
        [event("V1", "suspended", "2024-05-01")],
    )
    history = History(facts)
    assert history.as_known_at(at("2024-04-03T14:00:00")) is history.as_known_at(at("2024-04-20"))
    assert history.as_known_at(at("2024-04-03T13:59:59")).spans == ()
    assert history.as_known_at() is history.as_known_at(None)
    assert history.as_known_at().on(day("2024-05-01")).standing == "suspended"
