"""Wire sizes against printed charts, and what they must never be."""

from decimal import Decimal, localcontext

import pytest
from hypothesis import given
from hypothesis import strategies as st

from training.domain.wire import (
    STRANDED_LIMITS_MM,
    STRANDED_SHARE,
    UnknownWireSize,
    awg_diameter_mm,
    copper_area_mm2,
    overall_tolerance_mm,
    solid_tolerance_mm,
    stranded_diameter_mm,
    stranded_tolerance_mm,
)

# ASTM B258 states AWG diameters in inches, to the nearest 0.0001 in (its rule as public summaries
# of the 2002 edition tell it), and converts its SI values from those. So charts print them.
INCHES = """
10 0.1019
11 0.0907
12 0.0808
13 0.0720
14 0.0641
15 0.0571
16 0.0508
17 0.0453
18 0.0403
19 0.0359
20 0.0320
21 0.0285
22 0.0253
23 0.0226
24 0.0201
25 0.0179
26 0.0159
27 0.0142
28 0.0126
29 0.0113
30 0.0100
31 0.0089
32 0.0080
33 0.0071
34 0.0063
35 0.0056
36 0.0050
"""

# Millimetres to three decimals, as a cable maker's public chart prints them: of the formula, not
# of the rounded inches (which would give AWG 12 as 2.052).
MILLIMETRES = """
10 2.588
11 2.305
12 2.053
13 1.828
14 1.628
15 1.450
16 1.291
17 1.150
18 1.024
19 0.912
20 0.812
21 0.723
22 0.644
23 0.573
24 0.511
25 0.455
26 0.405
27 0.361
28 0.321
29 0.286
30 0.255
"""

# Over the strands of concentric wire, as a connector maker's public AWG chart prints them.
OVER_STRANDS = """
7/36 0.38
7/34 0.48
19/38 0.51
7/32 0.61
19/36 0.64
7/30 0.76
19/34 0.81
7/28 0.97
19/32 1.02
19/30 1.27
19/29 1.44
19/27 1.80
19/25 2.29
"""


PI = Decimal("3.14159265358979323846264338327950288419716939937510")


def rows(table: str) -> list[tuple[str, ...]]:
    return [tuple(line.split()) for line in table.split("\n") if line.strip()]


def as_printed(value: float, like: str) -> str:
    """A value with as many decimals as the printed one."""
    return f"{value:.{len(like.partition('.')[2])}f}"


@pytest.mark.parametrize(("awg", "inch"), rows(INCHES))
def test_solid_wire_has_the_inches_that_charts_print(awg: str, inch: str) -> None:
    assert as_printed(awg_diameter_mm(int(awg)) / 25.4, inch) == inch


@pytest.mark.parametrize(("awg", "mm"), rows(MILLIMETRES))
def test_solid_wire_has_the_millimetres_that_a_chart_prints(awg: str, mm: str) -> None:
    assert as_printed(awg_diameter_mm(int(awg)), mm) == mm


@pytest.mark.parametrize(("make_up", "over"), rows(OVER_STRANDS))
def test_stranded_wire_of_our_formula_is_near_what_a_chart_prints(make_up: str, over: str) -> None:
    """Not printed so: three, five or seven strands across, within 1.5 % of the chart."""
    strands, strand_awg = (int(part) for part in make_up.split("/"))
    assert stranded_diameter_mm(strands, strand_awg) == pytest.approx(float(over), rel=0.015)


@pytest.mark.parametrize(("make_up", "limits"), STRANDED_LIMITS_MM.items())
def test_stranded_wire_lies_within_the_limits_that_its_specification_prints(
    make_up: str, limits: tuple[float, float]
) -> None:
    """Limits as MIL-DTL-29606, table III-A, prints them; diameters by our own formula."""
    strands, strand_awg = (int(part) for part in make_up.split("/"))
    least, greatest = limits
    nominal = stranded_diameter_mm(strands, strand_awg)
    assert least < nominal < greatest
    half = stranded_tolerance_mm(nominal, make_up)
    assert nominal - half <= least
    assert nominal + half >= greatest
    assert half <= STRANDED_SHARE * nominal  # Our own figure, for others, is as wide as any.


def test_the_makers_chart_lies_within_those_limits_too() -> None:
    """Two sources that know nothing of each other, where both name a make-up."""
    both = [row for row in rows(OVER_STRANDS) if row[0] in STRANDED_LIMITS_MM]
    assert len(both) >= 8
    for make_up, over in both:
        least, greatest = STRANDED_LIMITS_MM[make_up]
        assert least <= float(over) <= greatest, make_up


def test_solid_wire_has_the_tolerance_of_its_standard() -> None:
    """ASTM B3 from memory: 1 % from 0.010 in on, 0.0001 in below."""
    assert solid_tolerance_mm(awg_diameter_mm(22)) == pytest.approx(0.00644, abs=1e-5)
    assert solid_tolerance_mm(awg_diameter_mm(34)) == pytest.approx(0.0001 * 25.4)
    assert overall_tolerance_mm(1.27) == pytest.approx(0.127)


@pytest.mark.parametrize("awg", range(-3, 41))
def test_floats_agree_with_exact_decimals(awg: int) -> None:
    """No chart: the same formula in fifty decimals, for sizes and areas that none prints."""
    with localcontext(prec=50):
        diameter = Decimal("0.127") * Decimal(92) ** (Decimal(36 - awg) / 39)
        area = 7 * PI / 4 * diameter**2
    assert awg_diameter_mm(awg) == pytest.approx(float(diameter), rel=1e-12)
    assert stranded_diameter_mm(37, awg) == pytest.approx(float(7 * diameter), rel=1e-12)
    assert copper_area_mm2(7, awg) == pytest.approx(float(area), rel=1e-12)


@pytest.mark.parametrize(
    ("awg", "inch"), [(36, "0.0050"), (0, "0.3249"), (-3, "0.4600")], ids=["36", "0", "4/0"]
)
def test_anchors_of_the_scale(awg: int, inch: str) -> None:
    assert as_printed(awg_diameter_mm(awg) / 25.4, inch) == inch


def test_telephone_wire_of_a_federal_rule_agrees() -> None:
    # 7 CFR 1755.860 prints 0.643 mm (cut, not rounded, from 0.6438) and 0.511 mm.
    assert awg_diameter_mm(22) == pytest.approx(0.643, abs=0.001)
    assert awg_diameter_mm(24) == pytest.approx(0.511, abs=0.0005)


@given(st.integers(min_value=-3, max_value=39))
def test_each_size_is_thinner_by_one_ratio(awg: int) -> None:
    assert awg_diameter_mm(awg) / awg_diameter_mm(awg + 1) == pytest.approx(1.122932, abs=1e-6)


@given(st.integers(min_value=-3, max_value=40))
def test_one_strand_is_solid_wire(awg: int) -> None:
    assert stranded_diameter_mm(1, awg) == awg_diameter_mm(awg)


@given(st.sampled_from([7, 19, 37]), st.integers(min_value=20, max_value=40))
def test_a_bundle_is_wider_than_solid_wire_of_its_area(strands: int, strand_awg: int) -> None:
    solid = (4 * copper_area_mm2(strands, strand_awg) / 3.141592653589793) ** 0.5
    assert solid < stranded_diameter_mm(strands, strand_awg) < solid * 1.2


@pytest.mark.parametrize("awg", [-4, 41, float("nan")])
def test_a_gauge_outside_the_scale_is_refused(awg: float) -> None:
    with pytest.raises(UnknownWireSize, match="give one from -3"):
        awg_diameter_mm(awg)


@pytest.mark.parametrize("strands", [0, 2, 12, 133])
def test_a_bundle_that_does_not_pack_is_refused(strands: int) -> None:
    with pytest.raises(UnknownWireSize, match="1, 7, 19 or 37"):
        stranded_diameter_mm(strands, 34)


def test_a_wire_without_strands_has_no_area() -> None:
    with pytest.raises(UnknownWireSize, match="at least one"):
        copper_area_mm2(0, 34)
