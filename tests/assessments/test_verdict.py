"""Comparing a value with its limits, allowing for its uncertainty."""

from decimal import Decimal

import pytest
from scipy.stats import norm

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


@pytest.mark.parametrize("value", ["1.0", "1.95", "5"])
def test_what_is_not_proven_is_too_close_to_call_wherever_it_lies(value):
    assert verdict(Decimal(value), Decimal("0.1"), None, Decimal(2), proven=False) == (
        "too_close_to_call"
    )


@pytest.mark.parametrize(("limit", "inside"), [("low", 1), ("high", -1)])
def test_what_is_just_within_conforms_with_more_than_the_95_per_cent_asked_by_default(
    limit, inside
):
    """ISO 14253-1:2017 asks for 95 %, by default; SciPy says what two standard deviations give."""
    u = Decimal("0.05")
    limits = {"low": None, "high": None, limit: Decimal(2)}
    value = Decimal(2) + inside * 2 * u
    assert verdict(value, 2 * u, **limits) == "within"
    distance = float(abs(value - Decimal(2)) / u)
    assert norm.cdf(distance) == pytest.approx(0.97725, abs=1e-5)
    nearer = Decimal(2) + inside * Decimal("1.65") * u
    assert norm.cdf(1.65) == pytest.approx(0.9505, abs=1e-4)
    assert verdict(nearer, 2 * u, **limits) == "too_close_to_call"
