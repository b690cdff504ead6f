"""Work that rests for too long ends a certificate, and later work does not cure it."""

import pytest

from certification.domain.standing import ALWAYS_KNOWN, Facts, PracticeFact, timeline
from tests.certification.standing_facts import certificate, day, event, figures, spans_of, work

SCHEME = figures(24, absence=6)


def found(*practice, events=(), more=()):
    certificates = [certificate("C1", "2024-01-31", SCHEME), *more]
    return timeline(Facts(certificates, events, (), [work(text) for text in practice]))


def test_without_work_it_rests_from_the_day_of_issue():
    assert spans_of(found()) == [
        "2024-01-31 2024-07-31 certified C1",
        "2024-08-01 2026-01-31 practice_lapsed C1",
        "2026-02-01 ... expired C1",
    ]


def test_work_on_the_last_day_in_time_carries_on_from_there():
    assert spans_of(found("2024-07-31"))[0] == "2024-01-31 2025-01-31 certified C1"


def test_work_a_day_late_cures_nothing():
    assert spans_of(found("2024-08-01", "2024-08-02", "2024-12-01"))[:2] == [
        "2024-01-31 2024-07-31 certified C1",
        "2024-08-01 2026-01-31 practice_lapsed C1",
    ]


def test_a_gap_between_two_work_days_ends_it_too():
    assert spans_of(found("2024-03-10", "2024-09-11", "2024-09-12"))[0] == (
        "2024-01-31 2024-09-10 certified C1"
    )


def test_a_rest_that_ends_a_day_before_the_period_costs_the_last_day():
    assert spans_of(found("2024-07-31", "2025-01-30", "2025-07-30"))[:2] == [
        "2024-01-31 2026-01-30 certified C1",
        "2026-01-31 2026-01-31 practice_lapsed C1",
    ]


def test_work_before_issue_does_not_count_and_on_the_day_of_issue_does():
    before = found("2024-01-30")
    on_the_day = found("2024-01-31")
    assert before.spans == on_the_day.spans == found().spans
    assert before.on(day("2024-02-10")).facts_used == ("certificate:C1",)


def test_work_counts_whatever_the_standing_was_that_day():
    suspended = [
        event("V1", "suspended", "2024-06-01"),
        event("V2", "reinstated", "2024-09-01"),
    ]
    assert found("2024-07-15", events=suspended).on(day("2024-12-24")).standing == "certified"


def test_only_a_new_certificate_cures_a_gap():
    answers = found("2024-10-01", more=[certificate("C2", "2024-09-15", SCHEME)])
    assert answers.on(day("2024-09-14")).standing == "practice_lapsed"
    assert answers.on(day("2024-09-15")).standing == "certified"
    assert answers.on(day("2024-09-15")).certificate_number == "C2"


def test_a_withdrawn_record_never_was():
    practice = [work("2024-07-15", withdrawn="2024-07-16")]
    answers = timeline(Facts([certificate("C1", "2024-01-31", SCHEME)], (), (), practice))
    assert answers.on(day("2024-08-01")).standing == "practice_lapsed"


def test_work_that_is_taken_as_it_is_was_known_from_the_start():
    practice = [PracticeFact(day("2024-07-15"), ALWAYS_KNOWN)]
    facts = Facts(
        [certificate("C1", "2024-01-31", SCHEME, recorded="1990-01-01")], (), (), practice
    )
    known_at = facts.certificates[0].recorded_at
    assert timeline(facts, known_at).on(day("2025-01-15")).standing == "certified"


@pytest.mark.parametrize("often", [1, 7, 30])
def test_however_often_somebody_works_the_gap_counts_from_the_last_day(often):
    year = [
        f"2024-{month:02d}-{date:02d}" for month in range(2, 11) for date in range(1, 29, often)
    ]
    last = max(year)
    ends = {end.kind: end for end in found(*year).ends_after(day("2024-02-15"))}
    assert ends["practice"].source == f"practice:C1:{last}"
