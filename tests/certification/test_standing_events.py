"""What suspending, reinstating, revoking, ending, extending and voiding do to a certificate."""

import pytest

from certification.domain.standing import Facts, timeline
from tests.certification.standing_facts import certificate, day, event, spans_of

ISSUED = "2024-04-01"


def spans(*events):
    return spans_of(timeline(Facts([certificate("C1", ISSUED)], events)))


def test_suspended_until_the_day_of_reinstatement():
    assert spans(
        event("V1", "suspended", "2024-08-01"), event("V2", "reinstated", "2024-09-15")
    ) == [
        "2024-04-01 2024-07-31 certified C1",
        "2024-08-01 2024-09-14 suspended C1",
        "2024-09-15 2026-04-01 certified C1",
        "2026-04-02 ... expired C1",
    ]


def test_one_reinstatement_ends_all_suspensions_before_it():
    assert spans(
        event("V1", "suspended", "2024-08-01"),
        event("V2", "suspended", "2024-08-20"),
        event("V3", "reinstated", "2024-09-15"),
    ) == [
        "2024-04-01 2024-07-31 certified C1",
        "2024-08-01 2024-09-14 suspended C1",
        "2024-09-15 2026-04-01 certified C1",
        "2026-04-02 ... expired C1",
    ]


def test_reinstated_without_a_suspension_changes_nothing():
    assert spans(event("V1", "reinstated", "2024-05-01")) == spans()


def test_suspended_goes_on_past_the_end_of_the_period():
    assert spans(event("V1", "suspended", "2026-03-01"))[-1] == "2026-03-01 ... suspended C1"


@pytest.mark.parametrize(
    ("first_recorded", "second_recorded", "standing"),
    [
        pytest.param("2024-05-10T09:00", "2024-05-10T15:00", "certified", id="reinstated last"),
        pytest.param("2024-05-10T15:00", "2024-05-10T09:00", "suspended", id="suspended last"),
        pytest.param("2024-05-10T09:00", "2024-05-10T09:00", "suspended", id="at once: V10 < V9"),
    ],
)
def test_events_of_one_day_act_as_recorded_then_by_id_as_text(
    first_recorded, second_recorded, standing
):
    events = [
        event("V9", "suspended", "2024-05-10", recorded=first_recorded),
        event("V10", "reinstated", "2024-05-10", recorded=second_recorded),
    ]
    found = timeline(Facts([certificate("C1", ISSUED)], events))
    assert found.on(day("2024-05-10")).standing == standing


def test_revoked_is_for_ever_whatever_comes_later():
    assert spans(
        event("V1", "revoked", "2024-05-01"),
        event("V2", "reinstated", "2024-06-01"),
        event("V3", "extended", "2024-06-01", until="2027-01-01"),
        event("V4", "ended", "2024-07-01"),
        event("V5", "suspended", "2024-07-01"),
    ) == ["2024-04-01 2024-04-30 certified C1", "2024-05-01 ... revoked C1"]


def test_ended_is_good_through_its_day():
    assert spans(event("V1", "ended", "2024-06-30")) == [
        "2024-04-01 2024-06-30 certified C1",
        "2024-07-01 ... expired C1",
    ]


def test_ended_after_the_period_prolongs_nothing():
    assert spans(event("V1", "ended", "2026-06-30")) == spans()


@pytest.mark.parametrize(
    ("effective", "until", "last_day"),
    [
        pytest.param("2026-03-01", "2026-07-01", "2026-07-01", id="in time"),
        pytest.param("2026-04-01", "2026-07-01", "2026-07-01", id="on the last day"),
        pytest.param("2026-04-02", "2026-07-01", "2026-04-01", id="a day after it had ended"),
        pytest.param("2026-03-01", "2026-03-20", "2026-04-01", id="until is no later"),
        pytest.param("2024-01-01", "2026-07-01", "2026-07-01", id="effective before issue"),
    ],
)
def test_extended_moves_the_last_day_if_it_had_not_passed(effective, until, last_day):
    found = spans(event("V1", "extended", effective, until=until))
    assert found[-2].split()[1:] == [last_day, "certified", "C1"]


def test_extended_again_while_extended():
    found = spans(
        event("V1", "extended", "2026-03-01", until="2026-05-01"),
        event("V2", "extended", "2026-04-30", until="2026-06-01"),
    )
    assert found[-1] == "2026-06-02 ... expired C1"


def test_ended_cuts_an_extension_short():
    found = spans(
        event("V1", "extended", "2026-03-01", until="2026-07-01"),
        event("V2", "ended", "2026-05-10"),
    )
    assert found[-1] == "2026-05-11 ... expired C1"


@pytest.mark.parametrize(
    ("extended_on", "last_day"),
    [
        pytest.param("2024-06-30", "2026-07-01", id="on its last good day"),
        pytest.param("2024-07-01", "2024-06-30", id="the day after"),
    ],
)
def test_extended_after_ended_counts_only_while_it_is_good(extended_on, last_day):
    found = timeline(
        Facts(
            [certificate("C1", ISSUED)],
            [
                event("V1", "ended", "2024-06-30"),
                event("V2", "extended", extended_on, until="2026-07-01"),
            ],
        )
    )
    assert [str(span.last_day) for span in found.spans if span.standing == "certified"][-1] == (
        last_day
    )


@pytest.mark.parametrize("kind", ["suspended", "revoked"])
def test_an_event_effective_before_issue_holds_from_issue(kind):
    assert spans(event("V1", kind, "2024-01-01")) == [f"2024-04-01 ... {kind} C1"]


def test_ended_before_issue_leaves_no_good_day():
    assert spans(event("V1", "ended", "2024-01-01")) == ["2024-04-01 ... expired C1"]


def test_suspended_and_reinstated_before_issue_in_their_own_order():
    assert (
        spans(
            event("V1", "suspended", "2024-02-01", recorded="2024-04-09"),
            event("V2", "reinstated", "2024-03-01", recorded="2024-04-02"),
        )
        == spans()
    )


def test_voided_removes_an_event_from_all_days():
    assert (
        spans(
            event("V1", "suspended", "2024-05-01"), event("V2", "voided", "2025-12-01", voids="V1")
        )
        == spans()
    )


def test_voided_reinstatement_leaves_the_suspension():
    assert (
        spans(
            event("V1", "suspended", "2024-05-01"),
            event("V2", "reinstated", "2024-06-01"),
            event("V3", "voided", "2024-06-02", voids="V2"),
        )[-1]
        == "2024-05-01 ... suspended C1"
    )


def test_a_voided_event_cannot_be_voided():
    assert (
        spans(
            event("V1", "suspended", "2024-05-01"),
            event("V2", "voided", "2024-05-02", voids="V1"),
            event("V3", "voided", "2024-05-03", voids="V2"),
        )
        == spans()
    )


def test_voided_names_an_event_of_the_same_certificate_or_does_nothing():
    certificates = [certificate("C1", ISSUED), certificate("C2", "2024-03-01")]
    events = [
        event("V1", "suspended", "2024-05-01"),
        event("V2", "voided", "2024-05-02", of="C2", voids="V1"),
    ]
    assert timeline(Facts(certificates, events)).on(day("2024-05-03")).standing == "suspended"
