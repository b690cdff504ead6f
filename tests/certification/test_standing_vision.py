"""The latest vision test must be a pass and not too old."""

import pytest

from certification.domain.standing import Facts, timeline
from tests.certification.standing_facts import certificate, day, figures, spans_of, vision

SCHEME = figures(24, vision=12)


def found(*tests, scheme=SCHEME):
    return timeline(Facts([certificate("C1", "2024-04-01", scheme)], (), tests))


def test_current_through_the_last_day_of_the_test():
    assert spans_of(found(vision("T1", "2024-02-29"), vision("T2", "2025-03-05"))) == [
        "2024-04-01 2025-02-28 certified C1",
        "2025-03-01 2025-03-04 vision_not_current C1",
        "2025-03-05 2026-03-05 certified C1",
        "2026-03-06 2026-04-01 vision_not_current C1",
        "2026-04-02 ... expired C1",
    ]


def test_a_failed_test_counts_from_its_day_though_an_earlier_pass_is_young():
    assert spans_of(
        found(
            vision("T1", "2024-03-01"),
            vision("T2", "2024-05-02", False),
            vision("T3", "2024-06-03"),
        )
    )[:3] == [
        "2024-04-01 2024-05-01 certified C1",
        "2024-05-02 2024-06-02 vision_not_current C1",
        "2024-06-03 2025-06-03 certified C1",
    ]


def test_no_test_at_all_is_not_current():
    answer = found(vision("T1", "2024-05-01")).on(day("2024-04-30"))
    assert (answer.standing, answer.rule) == ("vision_not_current", "no_vision_test")


def test_no_test_is_asked_for_at_nought_months():
    assert found(scheme=figures(24, vision=0)).on(day("2024-05-01")).standing == "certified"


@pytest.mark.parametrize(
    ("tests", "standing"),
    [
        pytest.param(
            [
                vision("T2", "2024-03-20", False, recorded="2024-03-20T09:00"),
                vision("T1", "2024-03-20", recorded="2024-03-20T11:00"),
            ],
            "certified",
            id="recorded last counts, not the greater id",
        ),
        pytest.param(
            [vision("T10", "2024-03-20", False), vision("T9", "2024-03-20")],
            "certified",
            id="recorded at once: the greatest id as text",
        ),
        pytest.param(
            [vision("T9", "2024-03-20"), vision("T10", "2024-03-20", False)],
            "certified",
            id="the same entered the other way round",
        ),
        pytest.param(
            [vision("T1", "2024-03-20", recorded="2024-06-01"), vision("T2", "2024-03-21", False)],
            "vision_not_current",
            id="a later day beats a later entry",
        ),
    ],
)
def test_of_several_tests_the_latest_counts(tests, standing):
    assert found(*tests).on(day("2024-04-01")).standing == standing


def test_a_withdrawn_test_never_was():
    tests = [vision("T1", "2024-03-01"), vision("T2", "2024-05-02", False, withdrawn="2024-05-04")]
    assert found(*tests).on(day("2024-05-03")).standing == "certified"
