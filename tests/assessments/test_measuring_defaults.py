"""What counts where a grader states nothing, or less than can be: marks, scales, diameters."""

from dataclasses import replace
from math import hypot, sqrt
from statistics import mean, stdev

import pytest
from django.urls import reverse

from assessments.exceptions import CannotMeasure
from assessments.models import Measurement
from assessments.services import measuring
from assessments.services.measuring import KnownSize, least_mark_uncertainty_px
from tests import factories
from tests.assessments.marks_placed import wrap, wrap_by_post
from tests.factories import NOW
from training.domain.wire import awg_diameter_mm
from training.models import Position

pytestmark = pytest.mark.django_db

ENDS = {"ends": [(100.0, 100.0), (180.0, 160.0)]}


@pytest.fixture
def photo():
    board = factories.make_board()
    return factories.make_photo(board, board.joints.first())


@pytest.fixture
def instructor():
    return factories.make_user("instructor")


def keep(photo, actor, one, *, sigma=None, shown=None, size=None, criterion=None, **said):
    return measuring.keep_measurement(
        photo=photo,
        quantity=one.quantity,
        marks=one.marks,
        options=measuring.options_for(joint=photo.joint, criterion=None, size=size, **said),
        mark_uncertainty_px=sigma,
        shown_width_px=shown,
        size=size,
        actor=actor,
        at=NOW,
        joint=photo.joint,
        criterion=criterion,
    )


@pytest.mark.parametrize(
    ("width", "shown", "least"),
    [
        pytest.param(800, 800, 1.0, id="every pixel shown"),
        pytest.param(800, 400, 2.0, id="shown at half its size"),
        pytest.param(800, 3200, 1.0, id="closer than its pixels"),
        pytest.param(4096, 1024, 4.0, id="a large one shown small"),
        pytest.param(4096, 9000, 2.0, id="closer than the copy that is shown"),
        pytest.param(4096, None, 5.12, id="nobody knows how it was shown"),
        pytest.param(600, None, 1.0, id="small, and nobody knows"),
    ],
)
def test_a_mark_is_uncertain_by_a_pixel_as_it_was_shown(photo, width, shown, least):
    photo.upright_width, photo.upright_height = width, width * 3 // 4
    assert least_mark_uncertainty_px(photo, shown) == pytest.approx(least)


@pytest.mark.parametrize(("stated", "counts"), [(None, 2.0), (0.05, 2.0), (3.0, 3.0)])
def test_nobody_claims_less_than_they_could_see(photo, instructor, stated, counts):
    kept = keep(photo, instructor, wrap(213.5), sigma=stated, shown=400)
    assert kept.mark_uncertainty_px == counts
    assert kept.options["shown_width_px"] == 400
    alone = keep(photo, instructor, wrap(213.5), sigma=1.0, shown=800)
    assert kept.budget["marks"] == pytest.approx(counts * alone.budget["marks"])


def test_what_is_kept_holds_the_terms_of_its_uncertainty(photo, instructor):
    kept = keep(photo, instructor, wrap_by_post(213.5))
    kept.refresh_from_db()
    assert hypot(*kept.budget.values()) == pytest.approx(kept.standard_uncertainty)


def test_a_scale_takes_a_rectangular_share_of_what_its_size_may_be_off_by(photo, instructor):
    one = replace(wrap(90), quantity="scale", marks=ENDS)
    size = KnownSize(2.0, 0.02, "graticule", "K-123 of 2026")
    kept = keep(photo, instructor, one, size=size)
    assert kept.budget["size"] / kept.value == pytest.approx(0.02 / sqrt(3) / 2.0)
    assert kept.options["certificate"] == "K-123 of 2026"
    photo.refresh_from_db()
    marks = sqrt(2) / 100
    assert photo.scale_uncertainty == pytest.approx(hypot(marks, 0.01 / sqrt(3)))


def test_a_wire_that_is_known_here_brings_its_own_tolerance(photo, instructor):
    with factories.unprotected():
        Position.objects.update(conductor_mm="0.801", overall_mm="1.27", stranding="19/34")
    photo.joint.position.refresh_from_db()
    one = replace(wrap(90), quantity="scale", marks=ENDS)
    for mm, half in (
        (0.801, 0.801 - 0.724),
        (1.27, 0.127),
        (awg_diameter_mm(22), 0.01 * awg_diameter_mm(22)),
        (awg_diameter_mm(34), 0.00254),
    ):
        kept = keep(photo, instructor, one, size=KnownSize(mm, None, "wire"))
        assert kept.options["size_u_mm"] == pytest.approx(half / sqrt(3))
    with pytest.raises(CannotMeasure, match="nothing is known exactly"):
        keep(photo, instructor, one, size=KnownSize(0.7, None, "wire"))


def test_a_length_in_diameters_is_less_certain_for_the_diameter(photo, instructor):
    with factories.unprotected():
        Position.objects.update(conductor_mm="0.801", stranding="19/34")
    photo.joint.position.refresh_from_db()
    scale = replace(wrap(90), quantity="scale", marks=ENDS)
    keep(photo, instructor, scale, size=KnownSize(2.0, 0.01))
    photo.refresh_from_db()
    length = replace(scale, quantity="length")
    in_mm, in_d = (keep(photo, instructor, length, unit=unit) for unit in ("mm", "d"))
    assert "size" not in in_mm.budget
    assert in_d.budget["size"] / in_d.value == pytest.approx((0.801 - 0.724) / 0.801 / sqrt(3))


def test_a_solid_wires_diameter_has_its_standards_tolerance(photo, instructor):
    with factories.unprotected():
        Position.objects.update(conductor_mm="0.644", stranding="solid")
    photo.joint.position.refresh_from_db()
    options = measuring.options_for(joint=photo.joint, criterion=None)
    assert options.conductor_u_mm == pytest.approx(0.00644 / sqrt(3))
    assert not Measurement.objects.exists()


ERRORS_PX = [27.0, -27.0, 18.0, -18.0, 9.0, -9.0, 24.0, -24.0, 15.0, -15.0, 3.0, -3.0]


@pytest.fixture
def asked():
    [criterion] = factories.make_criteria_set(
        {"code": "W", "how": "measured", "quantity": "wrap", "low": 180, "unit": "deg"}
    ).criteria.all()
    return criterion


def repeated(photo, actor, asked, errors_px):
    """The same wrap so many times, its end marked wrongly by so much each time."""
    one = wrap(200)
    [(x, y)] = one.marks["end"]
    for error in errors_px:
        marks = one.marks | {"end": [(x, y + error)]}
        yield keep(photo, actor, replace(one, marks=marks), criterion=asked)


def test_whose_own_repeats_scatter_more_may_not_claim_a_pixel(photo, instructor, asked):
    assert keep(photo, instructor, wrap(90)).mark_uncertainty_px == 1.0
    kept = list(repeated(photo, instructor, asked, ERRORS_PX))
    after = keep(photo, instructor, wrap(90), sigma=0.1)
    # Where the marks lie moves what one pixel makes of them by some per cent.
    unit = mean(each.budget["marks"] / each.mark_uncertainty_px for each in kept)
    shown = stdev(each.value for each in kept) / unit
    assert after.mark_uncertainty_px == pytest.approx(shown, rel=0.1)
    assert after.mark_uncertainty_px > 3
    somebody = factories.make_user("instructor")
    assert keep(photo, somebody, wrap(90)).mark_uncertainty_px == 1.0


def test_marks_kept_again_where_they_lay_show_nothing(photo, instructor, asked):
    for _ in range(14):
        keep(photo, instructor, wrap(200), criterion=asked)
    list(repeated(photo, instructor, asked, ERRORS_PX[:2]))
    assert keep(photo, instructor, wrap(90)).mark_uncertainty_px == 1.0


def test_different_things_on_one_photograph_show_nothing(photo, instructor):
    for turn in range(20, 340, 20):
        assert keep(photo, instructor, wrap(turn)).mark_uncertainty_px == 1.0


def test_the_page_measures_by_what_the_grader_has_shown(client, photo, asked):
    user = factories.make_user("instructor", site=photo.board.site)
    list(repeated(photo, user, asked, ERRORS_PX))
    client.force_login(user)
    page = client.get(reverse("assessments:photo_measure", args=[photo.key]))
    assert page.context["screen"].told["scatter"] > 3
    assert "such pixels, so that counts" in page.content.decode()
