"""The limit line holds everything it shows on its scale and says the same in words."""

import math
import re

import pytest
from django.utils import translation
from hypothesis import example, given
from hypothesis import strategies as st

from people.presenters.limit_line import LEFT, MAX_TICKS, RIGHT, LimitLine
from people.presenters.quantities import with_unit
from people.templatetags.look import limit_line

numbers = st.floats(-1e6, 1e6, allow_nan=False).map(lambda number: round(number, 4))


@pytest.fixture(autouse=True)
def english():
    with translation.override("en"):
        yield


@pytest.mark.parametrize(
    ("value", "u", "low", "high", "verdict"),
    [
        pytest.param(266, 1, 180, 270, "within", id="well within"),
        pytest.param(268, 1, 180, 270, "within", id="spread ends on the limit"),
        pytest.param(269, 1, 180, 270, "too_close", id="spread crosses the limit"),
        pytest.param(272, 1, 180, 270, "too_close", id="outside spread ends on the limit"),
        pytest.param(272.1, 1, 180, 270, "outside", id="beyond"),
        pytest.param(140, 1, 180, None, "outside", id="under an only limit"),
        pytest.param(0.2, 0.01, None, 0.5, "within", id="no lower limit"),
        pytest.param(180, None, 180, 270, "within", id="no uncertainty, on the limit"),
        pytest.param(5, 1, None, None, "", id="no limits"),
        pytest.param(None, 1, 1, 2, "", id="no value"),
    ],
)
def test_verdict_compares_the_whole_spread_with_the_limits(value, u, low, high, verdict):
    assert LimitLine(value, u, low, high).verdict() == verdict


@example(value=0.0, u=5e-324, low=None, high=None, unit="°")
@given(
    value=st.none() | numbers,
    u=st.none() | st.floats(0, 1e4),
    low=st.none() | numbers,
    high=st.none() | numbers,
    unit=st.sampled_from(["°", "mm", "d", "%", ""]),
)
def test_everything_shown_lies_on_the_drawing(value, u, low, high, unit):
    line = LimitLine(value, u, low, high, unit)
    shown = [number for number in (value, low, high) if number is not None]

    assert all(LEFT <= line.x(number) <= RIGHT for number in shown)
    assert len(line.ticks()) <= MAX_TICKS + 1
    assert all(LEFT - 0.01 <= line.x(tick) <= RIGHT + 0.01 for tick in line.ticks())
    drawn = [float(number) for number in re.findall(r'[ MHx="](-?\d+\.\d)(?=[ "HV])', line.svg())]
    assert all(math.isfinite(number) for number in drawn)


def test_scale_is_true_to_the_numbers():
    line = LimitLine(225, 0, 180, 270, "°")

    assert line.x(225) == pytest.approx((line.x(180) + line.x(270)) / 2)


@pytest.mark.parametrize("unit", ["°", "deg"])
def test_degrees_are_ticked_in_parts_of_a_turn(unit):
    ticks = LimitLine(266, 1, 180, 270, unit).ticks()

    assert ticks[1] - ticks[0] == 10


@pytest.mark.parametrize(
    ("arguments", "description"),
    [
        ((148, 1.25, 180, None, "°"), "148.0° ± 2.5°, at least 180° is asked: outside"),
        ((0.4, 0.01, None, 0.5, "mm"), "0.400 mm ± 0.020 mm, at most 0.5 mm is asked: within"),
        ((226, None, 180, 270, "°"), "226°, between 180° and 270° is asked: within"),
        ((None, None, 180, None, "°"), "at least 180° is asked"),
        ((None, None, None, None, ""), "not measured"),
        ((3, None, None, None, "d"), "3 d"),
    ],
)
def test_drawing_says_its_result_in_words(arguments, description):
    assert LimitLine(*arguments).description().replace("\u00a0", " ") == description


def test_an_open_limit_lets_the_band_run_to_the_edge():
    assert f'x="{LEFT}"' in LimitLine(0.4, 0.01, None, 0.5, "mm").svg()


def test_limits_that_nearly_touch_stand_beside_each_other():
    svg = LimitLine(5000, 0, 1, 2, "D").svg()

    assert 'text-anchor="end"' in svg
    assert 'text-anchor="start"' in svg


def test_coordinates_keep_the_decimal_point_where_the_language_has_a_comma():
    with translation.override("de"):
        svg = LimitLine(0.4, 0.01, 0.1, 0.5, "mm").svg()

    assert re.search(r'd="M\d+\.\d 13V29"', svg)
    assert "0,1\u00a0mm" in svg


def test_tag_takes_what_a_template_has():
    assert "limit-line" in limit_line("266.5", "", 180, None, "°")


@pytest.mark.parametrize(
    ("unit", "shown"),
    [
        pytest.param("deg", "148°", id="degrees"),
        pytest.param("percent", "148\u00a0%", id="percent"),
        pytest.param("ratio", "148", id="a bare ratio"),
        pytest.param("mm", "148\u00a0mm", id="as written"),
    ],
)
def test_units_of_criteria_are_shown_as_they_are_written(unit, shown):
    assert with_unit("148", unit) == shown
