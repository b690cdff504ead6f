"""Wire sizes against printed tables, and what they must never be."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from training.domain.wire import (
    UnknownWireSize,
    awg_diameter_mm,
    copper_area_mm2,
    stranded_diameter_mm,
)

# Nominal sizes by ASTM B258 as printed: gauge, millimetres, inches, square millimetres.
SOLID = """
10 2.5882 0.1019 5.2612
11 2.3048 0.0907 4.1723
12 2.0525 0.0808 3.3088
13 1.8278 0.0720 2.6240
14 1.6277 0.0641 2.0809
15 1.4495 0.0571 1.6502
16 1.2908 0.0508 1.3087
17 1.1495 0.0453 1.0378
18 1.0237 0.0403 0.8230
19 0.9116 0.0359 0.6527
20 0.8118 0.0320 0.5176
21 0.7229 0.0285 0.4105
22 0.6438 0.0253 0.3255
23 0.5733 0.0226 0.2582
24 0.5106 0.0201 0.2047
25 0.4547 0.0179 0.1624
26 0.4049 0.0159 0.1288
27 0.3606 0.0142 0.1021
28 0.3211 0.0126 0.0810
29 0.2859 0.0113 0.0642
30 0.2546 0.0100 0.0509
31 0.2268 0.0089 0.0404
32 0.2019 0.0080 0.0320
33 0.1798 0.0071 0.0254
34 0.1601 0.0063 0.0201
35 0.1426 0.0056 0.0160
36 0.1270 0.0050 0.0127
"""

# Make-up, strand, over the bundle, area; to the digits printed.
STRANDED = """
7/38 0.101 0.302 0.0558
7/36 0.127 0.381 0.0887
7/34 0.160 0.480 0.141
19/38 0.101 0.504 0.151
7/32 0.202 0.606 0.224
19/36 0.127 0.635 0.241
7/30 0.255 0.764 0.356
19/34 0.160 0.801 0.383
7/28 0.321 0.963 0.567
19/32 0.202 1.010 0.609
7/26 0.405 1.215 0.901
19/30 0.255 1.273 0.968
19/29 0.286 1.430 1.220
19/27 0.361 1.803 1.940
19/25 0.455 2.273 3.085
37/28 0.321 2.248 2.996
37/26 0.405 2.834 4.764
"""


def rows(table: str) -> list[tuple[str, ...]]:
    return [tuple(line.split()) for line in table.split("\n") if line.strip()]


def as_printed(value: float, like: str) -> str:
    """A value with as many decimals as the printed one."""
    return f"{value:.{len(like.partition('.')[2])}f}"


@pytest.mark.parametrize(("awg", "mm", "inch", "mm2"), rows(SOLID), ids=lambda value: str(value))
def test_solid_wire_has_the_printed_sizes(awg: str, mm: str, inch: str, mm2: str) -> None:
    assert as_printed(awg_diameter_mm(int(awg)), mm) == mm
    assert as_printed(awg_diameter_mm(int(awg)) / 25.4, inch) == inch
    assert as_printed(copper_area_mm2(1, int(awg)), mm2) == mm2


@pytest.mark.parametrize(
    ("make_up", "strand", "over", "mm2"), rows(STRANDED), ids=lambda value: str(value)
)
def test_stranded_wire_has_the_printed_sizes(
    make_up: str, strand: str, over: str, mm2: str
) -> None:
    strands, strand_awg = (int(part) for part in make_up.split("/"))
    assert as_printed(awg_diameter_mm(strand_awg), strand) == strand
    assert as_printed(stranded_diameter_mm(strands, strand_awg), over) == over
    assert as_printed(copper_area_mm2(strands, strand_awg), mm2) == mm2


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
