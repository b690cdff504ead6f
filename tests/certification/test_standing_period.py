"""How long a certificate is good for, and what renewing does to it."""

import pytest

from certification.domain.standing import Facts, timeline, valid_through
from tests.certification.standing_facts import certificate, day, event, figures

YEAR_TO_MONTH_END = figures(12, window=60, end_of_month=True)


def last_certified_day(number, *certificates, events=()):
    spans = timeline(Facts(certificates, events)).spans
    return max(
        str(span.last_day)
        for span in spans
        if span.certificate_number == number and span.standing == "certified"
    )


@pytest.mark.parametrize(
    ("scheme", "issued", "renewed", "expected"),
    [
        pytest.param(figures(24), "2022-03-15", None, "2024-03-15", id="same day"),
        pytest.param(figures(12), "2024-02-29", None, "2025-02-28", id="from a leap day"),
        pytest.param(YEAR_TO_MONTH_END, "2024-02-10", None, "2025-02-28", id="month end"),
        pytest.param(YEAR_TO_MONTH_END, "2023-02-28", None, "2024-02-29", id="leap month end"),
        pytest.param(
            figures(24, window=90), "2024-01-20", "2024-03-15", "2026-03-15", id="in the window"
        ),
        pytest.param(
            figures(24, window=90), "2023-12-16", "2024-03-15", "2026-03-15", id="window opens"
        ),
        pytest.param(
            figures(24, window=90), "2023-12-15", "2024-03-15", "2025-12-15", id="day too early"
        ),
        pytest.param(
            figures(24, window=90), "2024-03-15", "2024-03-15", "2026-03-15", id="on the last day"
        ),
        pytest.param(
            figures(24, window=90), "2024-03-16", "2024-03-15", "2026-03-16", id="a day late"
        ),
        pytest.param(
            figures(24, window=0), "2024-03-14", "2024-03-15", "2026-03-14", id="no window"
        ),
        pytest.param(
            YEAR_TO_MONTH_END, "2024-12-30", "2025-02-28", "2026-02-28", id="window to month end"
        ),
        pytest.param(
            YEAR_TO_MONTH_END, "2024-12-29", "2025-02-28", "2025-12-31", id="month end, too early"
        ),
        pytest.param(
            figures(24, window=90), "2024-01-20", "2024-02-29", "2026-02-28", id="from a leap end"
        ),
    ],
)
def test_period_ends_on(scheme, issued, renewed, expected):
    renewed_through = day(renewed) if renewed else None
    assert valid_through(scheme, day(issued), renewed_through) == day(expected)


def test_renewing_in_good_time_costs_no_day():
    first = certificate("C1", "2022-03-15")
    second = certificate("C2", "2024-01-20", renews="C1")
    assert last_certified_day("C2", first, second) == "2026-03-15"


def test_window_is_that_of_the_new_certificate():
    first = certificate("C1", "2022-03-15", figures(24, window=0))
    second = certificate("C2", "2024-01-20", figures(24, window=60), renews="C1")
    assert last_certified_day("C2", first, second) == "2026-03-15"


def test_renewed_period_runs_from_the_month_end_of_the_earlier_one():
    first = certificate("C1", "2024-02-10", YEAR_TO_MONTH_END)
    second = certificate("C2", "2025-01-05", figures(12, window=60), renews="C1")
    assert last_certified_day("C2", first, second) == "2026-02-28"


def test_a_chain_of_renewals_keeps_its_end_date():
    chain = [
        certificate("C1", "2020-03-15"),
        certificate("C2", "2022-01-10", renews="C1"),
        certificate("C3", "2024-02-01", renews="C2"),
    ]
    assert last_certified_day("C3", *reversed(chain)) == "2026-03-15"


@pytest.mark.parametrize(
    "change",
    [
        pytest.param(event("V1", "extended", "2024-03-01", until="2024-06-30"), id="extended"),
        pytest.param(event("V1", "ended", "2023-06-30"), id="ended early"),
        pytest.param(event("V1", "suspended", "2023-06-30"), id="suspended"),
    ],
)
def test_what_happened_to_the_earlier_one_does_not_move_the_renewed_period(change):
    first = certificate("C1", "2022-03-15")
    second = certificate("C2", "2024-01-20", renews="C1")
    assert last_certified_day("C2", first, second, events=[change]) == "2026-03-15"


@pytest.mark.parametrize(
    ("first", "events"),
    [
        pytest.param(None, [], id="not in the register, or of another person or scope"),
        pytest.param(
            certificate("C1", "2022-03-15", withdrawn="2024-02-01"), [], id="entered in error"
        ),
        pytest.param(
            certificate("C1", "2022-03-15"),
            [event("V1", "revoked", "2024-01-20")],
            id="revoked on the day of issue",
        ),
        pytest.param(
            certificate("C1", "2022-03-15"),
            [event("V1", "revoked", "2023-01-20", recorded="2025-01-20")],
            id="revoked before, entered later",
        ),
    ],
)
def test_renewal_of_one_that_does_not_count_runs_from_issue(first, events):
    second = certificate("C2", "2024-01-20", renews="C1")
    certificates = [one for one in (first, second) if one]
    assert last_certified_day("C2", *certificates, events=events) == "2026-01-20"


@pytest.mark.parametrize(
    "events",
    [
        pytest.param([event("V1", "revoked", "2024-01-21")], id="revoked the day after"),
        pytest.param(
            [
                event("V1", "revoked", "2023-01-20"),
                event("V2", "voided", "2025-01-01", voids="V1"),
            ],
            id="revocation voided",
        ),
    ],
)
def test_renewal_counts_if_the_earlier_one_was_not_revoked_by_then(events):
    first = certificate("C1", "2022-03-15")
    second = certificate("C2", "2024-01-20", renews="C1")
    assert last_certified_day("C2", first, second, events=events) == "2026-03-15"


def test_a_certificate_does_not_renew_one_of_the_same_day_or_itself():
    scheme = figures(1, window=60)
    first = certificate("C1", "2024-01-31", scheme, renews="C2")
    second = certificate("C2", "2024-01-31", scheme, renews="C1")
    itself = certificate("C3", "2024-05-31", scheme, renews="C3")
    assert last_certified_day("C2", first, second) == "2024-02-29"
    assert last_certified_day("C3", itself) == "2024-06-30"
