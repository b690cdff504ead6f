"""One certificate with every limit, asked on the last good day of each and the day after.

Worked by hand: good for 24 months to the day, a vision test of at most 12 months, no gap in
the work above 6 months.
"""

import pytest

from certification.domain.standing import Facts, timeline
from tests.certification.standing_facts import certificate, day, figures, vision, work

# Work often enough that no earlier gap ends the certificate.
STEADY = ["2024-08-20", "2025-02-20", "2025-08-20"]


@pytest.mark.parametrize(
    ("newest_test", "newest_work", "asked", "standing"),
    [
        pytest.param("2024-03-01", "2024-08-20", "2024-09-01", "certified", id="well within"),
        pytest.param("2024-03-01", "2025-02-20", "2025-03-01", "certified", id="vision, last day"),
        pytest.param(
            "2024-03-01", "2025-02-20", "2025-03-02", "vision_not_current", id="vision, day after"
        ),
        pytest.param(
            "2025-02-20", "2025-08-31", "2026-02-20", "certified", id="vision, last day, gap later"
        ),
        pytest.param("2026-02-10", "2025-08-31", "2026-02-28", "certified", id="gap, last day"),
        pytest.param(
            "2026-02-10", "2025-08-31", "2026-03-01", "practice_lapsed", id="gap, day after"
        ),
        pytest.param("2026-02-10", "2026-03-10", "2026-03-15", "certified", id="period, last day"),
        pytest.param("2026-02-10", "2026-03-10", "2026-03-16", "expired", id="period, day after"),
    ],
)
def test_limits_hold_through_their_last_day(newest_test, newest_work, asked, standing):
    earlier = [text for text in STEADY if text < newest_work]
    if newest_work == "2026-03-10":
        earlier.append("2026-02-10")
    facts = Facts(
        [certificate("C1", "2024-03-15", figures(24, vision=12, absence=6))],
        (),
        [vision("T1", newest_test)],
        [work(text) for text in [*earlier, newest_work]],
    )
    assert timeline(facts).on(day(asked)).standing == standing
