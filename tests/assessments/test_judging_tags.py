"""How figures, limits and marked places are written on the pages of grading."""

from decimal import Decimal

import pytest
from django.utils import translation

from assessments.models import Criterion, Judgement, Photo
from assessments.presenters import judgement_words as judging


@pytest.mark.parametrize(
    ("value", "written"),
    [
        pytest.param(Decimal("180.0000"), "180", id="no needless noughts"),
        pytest.param(Decimal("100"), "100", id="no exponent"),
        pytest.param(Decimal("0.2500"), "0.25", id="decimals that count"),
        pytest.param(None, "", id="none"),
        pytest.param("", "", id="what a template makes of none"),
    ],
)
def test_a_decimal_is_written_as_one_would(value, written):
    assert judging.plain(value) == written


def test_a_decimal_is_written_in_the_readers_own_marks():
    with translation.override("de"):
        assert judging.plain(Decimal("2.5000")) == "2,5"


@pytest.mark.parametrize(
    ("low", "high", "unit", "written"),
    [
        (180, 270, "deg", "180° to 270°"),
        (None, 2, "D", "at most 2\u00a0D"),
        (75, None, "percent", "at least 75\u00a0%"),
        (0, None, "ratio", "sagitta over chord at least 0"),
        (None, None, "deg", ""),
    ],
)
def test_limits_are_written_with_their_unit(low, high, unit, written):
    criterion = Criterion(
        low=None if low is None else Decimal(low),
        high=None if high is None else Decimal(high),
        unit=unit,
    )
    assert judging.criterion_limits(criterion) == written


@pytest.mark.parametrize(
    ("mark", "window"),
    [
        pytest.param((None, None), "0 0 1000 500", id="no mark, the whole photograph"),
        pytest.param((500, 250), "200.0 100.0 600.0 300.0", id="round the mark"),
        pytest.param((0, 500), "0.0 200.0 600.0 300.0", id="kept inside at a corner"),
        pytest.param((1000, 0), "400.0 0.0 600.0 300.0", id="and at the other"),
    ],
)
def test_a_photograph_is_shown_round_its_mark(mark, window):
    photo = Photo(upright_width=1000, upright_height=500)
    judgement = Judgement(photo=photo, mark_x=mark[0], mark_y=mark[1])
    assert judging.photo_window(judgement) == window
