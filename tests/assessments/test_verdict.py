"""Comparing a value with its limits, allowing for its uncertainty."""

from decimal import Decimal

import pytest

from assessments.domain.verdict import verdict


@pytest.mark.parametrize(
    ("value", "expanded", "low", "high", "said"),
    [
        # Limit 2.0, U = 0.10: accepted up to 1.90, as ISO 14253-1 is publicly described.
        pytest.param("1.90", "0.10", None, "2", "within", id="exactly within"),
        pytest.param("1.91", "0.10", None, "2", "too_close_to_call", id="inside but near"),
        pytest.param("2.10", "0.10", None, "2", "too_close_to_call", id="touching from outside"),
        pytest.param("2.11", "0.10", None, "2", "outside", id="beyond"),
        pytest.param("180", "0", "180", "270", "within", id="the limit itself is allowed"),
        pytest.param("148", "2.5", "180", "270", "outside", id="148 ± 2.5 under 180"),
        pytest.param("225", "60", "180", "270", "too_close_to_call", id="wider than the band"),
        pytest.param("5", "1", None, None, "within", id="no limits"),
    ],
)
def test_a_value_is_within_outside_or_too_close(value, expanded, low, high, said):
    limits = [None if one is None else Decimal(one) for one in (low, high)]
    assert verdict(Decimal(value), Decimal(expanded), *limits) == said
