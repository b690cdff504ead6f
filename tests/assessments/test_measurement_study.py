"""What of the spread of readings is the joint, the grader, the marking; and how good a mark is."""

from itertools import product
from math import sqrt

import numpy as np
import pandas as pd  # type: ignore[import-untyped]
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from assessments.domain import distributions
from assessments.domain.measurement_study import (
    PIXEL_U,
    CannotAnalyse,
    Marked,
    MarkSpread,
    NothingVaries,
    Reading,
    Score,
    TooFewReadings,
    balanced,
    by_ranges,
    by_variances,
    mark_spread,
    marking_order,
    score_of,
    zeta_score,
)

# The ten parts, three appraisers and three trials of the AIAG's gauge example (MSA manual), whose
# results by both methods are published there; data and results as reproduced in many places.
A = """.29 -.56 1.34 .47 -.80 .02 .59 -.31 2.26 -1.36
.41 -.68 1.17 .50 -.92 -.11 .75 -.20 1.99 -1.25
.64 -.58 1.27 .64 -.84 -.21 .66 -.17 2.01 -1.31"""
B = """.08 -.47 1.19 .01 -.56 -.20 .47 -.63 1.80 -1.68
.25 -1.22 .94 1.03 -1.20 .22 .55 .08 2.12 -1.62
.07 -.68 1.34 .20 -1.28 .06 .83 -.34 2.19 -1.50"""
C = """.04 -1.38 .88 .14 -1.46 -.29 .02 -.46 1.77 -1.49
-.11 -1.13 1.09 .20 -1.07 -.67 .01 -.56 1.45 -1.77
-.15 -.96 .67 .11 -1.45 -.49 .21 -.49 1.87 -2.16"""
PUBLISHED = np.array(
    [[[float(x) for x in line.split()] for line in one.splitlines()] for one in (A, B, C)]
).transpose(2, 0, 1)


def test_the_published_gauge_study_by_variances():
    gauge = by_variances(PUBLISHED)
    assert gauge.pooled
    assert gauge.interaction_p == pytest.approx(0.974, abs=0.001)
    assert gauge.repeatability == pytest.approx(0.199933, abs=5e-7)
    assert gauge.reproducibility == pytest.approx(0.226838, abs=5e-7)
    assert gauge.gauge == pytest.approx(0.302372, abs=2e-6)
    assert gauge.part == pytest.approx(1.042327, abs=5e-7)
    assert 100 * gauge.of_total(gauge.gauge) == pytest.approx(27.86, abs=0.005)
    assert gauge.categories == pytest.approx(4.86, abs=0.005)


def test_the_published_gauge_study_by_ranges():
    assert np.ptp(PUBLISHED, axis=2).mean() == pytest.approx(0.341667, abs=5e-7)
    gauge = by_ranges(PUBLISHED)
    assert 100 * gauge.of_total(gauge.gauge) == pytest.approx(26.68, abs=0.005)
    assert gauge.categories == pytest.approx(5.09, abs=0.005)


def simulated(rng, parts=10, graders=3, trials=3, part=3.0, grader=0.5, both=0.4, within=1.0):
    return (
        part * rng.standard_normal((parts, 1, 1))
        + grader * rng.standard_normal((1, graders, 1))
        + both * rng.standard_normal((parts, graders, 1))
        + within * rng.standard_normal((parts, graders, trials))
    )


def test_mean_squares_and_the_test_of_the_interaction_are_those_of_pandas_and_scipy():
    values = simulated(np.random.default_rng(5), both=2.0)
    p, o, r = values.shape
    rows = [(*at, values[at]) for at in product(range(p), range(o), range(r))]
    frame = pd.DataFrame(rows, columns=["part", "grader", "trial", "x"])
    cells = frame.groupby(["part", "grader"])["x"]
    within = cells.var().mean()
    cell = cells.mean().unstack()
    apart = cell.sub(cell.mean(axis=1), axis=0).sub(cell.mean(axis=0), axis=1) + cell.mean().mean()
    between = r * (apart**2).to_numpy().sum() / ((p - 1) * (o - 1))
    by_part, by_grader = cell.mean(axis=1).var() * o * r, cell.mean(axis=0).var() * p * r
    gauge = by_variances(values)
    assert not gauge.pooled
    assert gauge.interaction_p == pytest.approx(
        stats.f.sf(between / within, (p - 1) * (o - 1), p * o * (r - 1)), rel=1e-6
    )
    assert gauge.repeatability == pytest.approx(sqrt(within))
    assert gauge.interaction == pytest.approx(sqrt((between - within) / r))
    assert gauge.grader == pytest.approx(sqrt(max(by_grader - between, 0) / (p * r)))
    assert gauge.part == pytest.approx(sqrt((by_part - between) / (o * r)))


def test_one_grader_alone_is_a_one_way_analysis():
    values = simulated(np.random.default_rng(6), graders=1)
    gauge = by_variances(values)
    groups = values[:, 0, :]
    f = stats.f_oneway(*groups).statistic
    within = groups.var(axis=1, ddof=1).mean()
    assert gauge.repeatability == pytest.approx(sqrt(within))
    assert gauge.part == pytest.approx(sqrt((f - 1) * within / groups.shape[1]))
    assert (gauge.reproducibility, gauge.graders, gauge.interaction_p) == (0, 1, None)


@pytest.mark.parametrize(
    ("probability", "freedom", "point"),
    [(0.95, 1, 3.841), (0.05, 10, 3.940), (0.975, 7, 16.013), (0.025, 40, 24.433), (0.9, 2, 4.605)],
)
def test_the_points_of_chi_square_are_those_of_printed_tables(probability, freedom, point):
    assert distributions.chi_square_point(probability, freedom) == pytest.approx(point, abs=0.0006)


@pytest.mark.parametrize("given", [(0, 3), (1, 3), (0.5, 0)])
def test_no_point_is_given_of_what_is_no_probability(given):
    with pytest.raises(ValueError, match="between 0 and 1"):
        distributions.chi_square_point(*given)


@pytest.mark.parametrize(
    ("f", "above", "below"), [(4.965, 1, 10), (161.448, 1, 1), (2.866, 4, 20), (2.978, 10, 10)]
)
def test_the_tail_of_f_is_five_percent_where_printed_tables_say_so(f, above, below):
    assert distributions.f_exceeds(f, above, below) == pytest.approx(0.05, abs=0.0001)
    assert distributions.f_exceeds(0, above, below) == 1


@pytest.mark.parametrize(
    ("size", "d2", "d3"),
    [(2, 1.128, 0.853), (3, 1.693, 0.888), (5, 2.326, 0.864), (10, 3.078, 0.797)],
)
def test_the_range_of_normal_readings_is_that_of_control_chart_tables(size, d2, d3):
    """d2 and d3 as control chart tables print them (ASTM MNL 7, table 49; from memory)."""
    assert distributions.range_moments(size) == pytest.approx((d2, d3), abs=0.0006)


def test_the_intervals_cover_what_they_should():
    """Of 1,500 studies; three standard errors of a share of 95 % are 1.7 %."""
    rng = np.random.default_rng(11)
    repeat = gauge = 0
    true_gauge = sqrt(1 + 0.5**2 + 2.0**2)
    for _study in range(1500):
        found = by_variances(simulated(rng, both=2.0))
        repeat += found.repeatability_interval.low <= 1 <= found.repeatability_interval.high
        gauge += found.gauge_interval.low <= true_gauge <= found.gauge_interval.high
    assert repeat / 1500 == pytest.approx(0.95, abs=0.017)
    assert 0.933 <= gauge / 1500 <= 0.99


tables = st.tuples(st.integers(2, 5), st.integers(1, 4), st.integers(2, 4)).flatmap(
    lambda shape: st.integers(0, 2**32 - 1).map(
        lambda seed: simulated(np.random.default_rng(seed), *shape)
    )
)


@given(tables, st.floats(-1e3, 1e3), st.floats(0.01, 100))
def test_shares_add_up_and_neither_shift_nor_scale_changes_them(values, shift, scale):
    for analyse in (by_variances, by_ranges):
        plain, changed = analyse(values), analyse(scale * values + shift)
        figures = ("repeatability", "grader", "interaction", "part")
        shares = [plain.share(getattr(plain, name)) for name in figures]
        assert sum(shares) == pytest.approx(1)
        for name in figures:
            assert getattr(changed, name) == pytest.approx(
                scale * getattr(plain, name), rel=1e-5, abs=1e-5 * scale
            )


@given(tables)
def test_no_order_of_joints_or_graders_changes_anything(values):
    for analyse in (by_variances, by_ranges):
        plain, turned = analyse(values), analyse(values[::-1, ::-1, ::-1])
        assert turned.gauge == pytest.approx(plain.gauge)
        assert turned.part == pytest.approx(plain.part)


@pytest.mark.parametrize(
    ("values", "refusal"),
    [
        pytest.param(np.ones((3, 2, 2)), NothingVaries, id="all the same"),
        pytest.param(np.ones((1, 2, 2)), TooFewReadings, id="one joint"),
        pytest.param(np.arange(6.0).reshape(3, 2, 1), TooFewReadings, id="read once"),
        pytest.param(np.full((3, 2, 2), np.nan), TooFewReadings, id="gaps"),
    ],
)
def test_what_cannot_be_taken_apart_is_refused(values, refusal):
    for analyse in (by_variances, by_ranges):
        with pytest.raises(refusal):
            analyse(values)
    assert issubclass(refusal, CannotAnalyse)


def read(part, grader, times, first=0.0):
    return [Reading(part, grader, first + n) for n in range(times)]


def test_the_largest_part_without_gaps_counts_and_the_rest_is_said():
    readings = [
        reading
        for part, grader in product("abc", "AB")
        for reading in read(part, grader, 3 if part != "c" else 2)
    ]
    readings += read("a", "C", 1)
    table = balanced(readings)
    assert table.values.shape == (3, 2, 2)
    assert (table.parts, table.graders) == (("a", "b", "c"), ("A", "B"))
    assert table.left_out == 4 + 1
    assert (table.values[0, 0] == [0, 1]).all()


def test_one_who_read_little_takes_nothing_from_the_others():
    readings = [r for part, grader in product("abcdef", "AB") for r in read(part, grader, 2)]
    readings += [r for part in "ab" for r in read(part, "C", 2)]
    assert balanced(readings).values.shape == (6, 2, 2)
    with pytest.raises(TooFewReadings):
        balanced([*read("a", "A", 3), *read("b", "B", 3), *read("b", "A", 1)])


def test_the_spread_of_a_mark_is_that_of_its_coordinates():
    """Two marks a length apart, both coordinates off by σ: u of the length is √2·σ."""
    rng = np.random.default_rng(3)
    sigma, along = 0.7, 200.0
    photographs = []
    for _photograph in range(400):
        ends = np.array([[0, 0], [along, 0]]) + sigma * rng.standard_normal((6, 2, 2))
        lengths = np.hypot(*(ends[:, 1] - ends[:, 0]).T)
        photographs.append([Marked(length, sqrt(2), 1.0) for length in lengths])
    spread = mark_spread(photographs)
    assert spread.freedom == 2000
    assert spread.sigma_px == pytest.approx(sigma, rel=0.04)
    assert spread.sigma_px < spread.upper_px < 1.05 * spread.sigma_px


@pytest.mark.parametrize(("freedom", "times"), [(1, 15.95), (4, 2.372), (10, 1.593), (30, 1.274)])
def test_what_may_be_stated_is_the_upper_end_of_a_one_sided_interval(freedom, times):
    spread = MarkSpread(freedom * 0.8**2, freedom, 1.0)
    assert spread.upper_px / spread.sigma_px == pytest.approx(times, abs=0.005)
    assert times == pytest.approx(sqrt(freedom / stats.chi2.ppf(0.05, freedom)), rel=1e-3)


def test_a_lucky_study_seldom_proves_too_little():
    rng = np.random.default_rng(4)
    short = sum(
        MarkSpread(float((rng.standard_normal(6) ** 2).sum()), 6, 0.1).upper_px < 1
        for _study in range(2000)
    )
    assert short / 2000 == pytest.approx(0.05, abs=0.015)


def test_marks_on_the_very_same_place_show_no_less_than_a_pixel_can():
    assert MarkSpread(0.0, 50, 0.2).upper_px == pytest.approx(PIXEL_U)
    assert MarkSpread(0.0, 50, 2.0).upper_px == pytest.approx(2 * PIXEL_U)


def test_studies_of_one_grader_are_pooled_and_the_closest_view_counts():
    lucky, plain = MarkSpread(0.4, 10, 1.0), MarkSpread(12.0, 10, 2.0)
    both = lucky.with_others([plain])
    assert (both.squares, both.freedom, both.pixel_px) == (12.4, 20, 1.0)
    assert lucky.upper_px < both.upper_px


def test_a_photograph_read_once_shows_nothing():
    assert mark_spread([[Marked(1.0, 1.0, 1.0)], []]) is None


@pytest.mark.parametrize(
    ("zeta", "score"),
    [
        (0.0, Score.SATISFACTORY),
        (-2.0, Score.SATISFACTORY),
        (2.01, Score.QUESTIONABLE),
        (-3.0, Score.UNSATISFACTORY),
        (9.0, Score.UNSATISFACTORY),
    ],
)
def test_zeta_scores_are_judged_at_two_and_three(zeta, score):
    assert score_of(zeta) == score
    assert zeta_score(10 + zeta, 0.6, 10, 0.8) == pytest.approx(zeta)


@given(
    st.integers(0, 99),
    st.integers(1, 9),
    st.lists(st.integers(1, 500), min_size=1, max_size=8, unique=True),
    st.integers(1, 5),
)
def test_the_order_has_every_photograph_once_a_round_and_never_twice_in_a_row(
    seed, grader, photographs, rounds
):
    order = marking_order(str(seed), grader, photographs, rounds)
    n = len(photographs)
    for begin in range(0, n * rounds, n):
        assert sorted(order[begin : begin + n]) == sorted(photographs)
    if n > 1:
        assert all(order[i] != order[i + 1] for i in range(len(order) - 1))
    assert order == marking_order(str(seed), grader, photographs[::-1], rounds)


def test_graders_mark_in_orders_of_their_own():
    photographs = list(range(12))
    assert marking_order("s", 1, photographs, 1) != marking_order("s", 2, photographs, 1)
