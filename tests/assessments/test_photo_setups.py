"""Photo set-ups: declared, qualified by a graticule, chosen for photographs, taken out of use."""

from dataclasses import replace
from datetime import timedelta
from math import inf, nan

import pytest
from django.db import DatabaseError, transaction
from django.urls import reverse

from assessments.domain.view import BY_HAND, Bounds
from assessments.exceptions import AssessmentError
from assessments.models import PhotoSetup, SetupQualification, WireTolerance
from assessments.queries import photo_setups as queries
from assessments.services import measuring, photo_setups
from assessments.services.measuring import KnownSize
from assessments.services.photo_setups import Reading
from records.models import TrailEntry
from records.queries.verification import verify_records
from tests import factories
from tests.assessments.marks_placed import wrap, wrap_by_post
from tests.factories import NOW, TODAY
from training.models import Position

pytestmark = pytest.mark.django_db

STAND = Bounds(
    tilt_deg=2, depth_mm=3, relief_mm=0.2, distance_mm=200, distortion=0.001, field_mm=20
)
READ = [Reading(0, 10, 10.0), Reading(1, 10, 10.05), Reading(2, 10, 9.95)]


@pytest.fixture
def site():
    return factories.make_site()


@pytest.fixture
def instructor(client, site):
    user = factories.make_user("instructor", site=site)
    client.force_login(user)
    return user


@pytest.fixture
def setup(site, instructor):
    return photo_setups.declare_setup(
        site=site, name="Stand 2", kind="stand", bounds=STAND, actor=instructor, at=NOW
    )


@pytest.fixture
def photo(site):
    board = factories.make_board(factories.make_person(site))
    return factories.make_photo(board, board.joints.first())


def qualify(setup, actor, readings=READ, day=TODAY):
    return photo_setups.qualify_setup(
        setup=setup, done_on=day, graticule="K-1", readings=readings, actor=actor, at=NOW
    )


def choose(photo, setup, actor):
    changed = photo_setups.choose_setup(photo=photo, setup=setup, actor=actor, at=NOW)
    photo.refresh_from_db()
    return changed


def keep(photo, actor, one, **said):
    return measuring.keep_measurement(
        photo=photo,
        quantity=one.quantity,
        marks=one.marks,
        options=measuring.options_for(joint=photo.joint, criterion=None, **said),
        mark_uncertainty_px=None,
        actor=actor,
        at=NOW,
        joint=photo.joint,
    )


def test_a_photograph_without_a_set_up_is_by_hand_with_wide_bounds(photo):
    seen = queries.view_of(photo)
    assert seen.is_qualified
    assert (seen.view.tilt_deg, seen.view.depth_mm) == (BY_HAND.tilt_deg, BY_HAND.depth_mm)
    assert (seen.view.width_px, seen.view.height_px) == (800, 600)


def test_the_bounds_of_a_set_up_count_once_it_is_qualified(photo, setup, instructor):
    by_hand = keep(photo, instructor, wrap_by_post(213.5))
    assert choose(photo, setup, instructor)
    declared = keep(photo, instructor, wrap_by_post(213.5))
    assert declared.remarks == ["setup_not_qualified"]
    assert declared.standard_uncertainty == pytest.approx(by_hand.standard_uncertainty)
    qualify(setup, instructor)
    photo.refresh_from_db()
    qualified = keep(photo, instructor, wrap_by_post(213.5))
    assert qualified.remarks == []
    assert qualified.standard_uncertainty < by_hand.standard_uncertainty / 2
    assert (qualified.view["setup"], qualified.view["tilt_deg"]) == ("Stand 2", 2)


@pytest.mark.parametrize(
    ("readings", "says"),
    [
        pytest.param(READ[:2], "3 readings or more", id="too few"),
        pytest.param([*READ[:2], Reading(1.9, 10, 10)], "2°, or up to", id="not to its tilt"),
        pytest.param([*READ[:2], Reading(20, 10, 10)], "2°, or up to", id="far beyond its tilt"),
        pytest.param(READ[1:] * 2, None, id="upright within a degree"),
        pytest.param(READ[2:] * 3, "upright too", id="never upright"),
        pytest.param([*READ, Reading(2, 10, 10.5)], "declare wider ones", id="beyond the bounds"),
        pytest.param([*READ, Reading(9, 10, 9.8)], None, id="leaning farther, as far as that does"),
        pytest.param([*READ, Reading(9, 10, 12.0)], "declare wider", id="far off, leaning farther"),
        pytest.param([*READ, Reading(1, inf, inf)], "every reading in full", id="infinite"),
        pytest.param([*READ, Reading(nan, 10, 10)], "every reading in full", id="no tilt"),
        pytest.param([Reading(nan, 10, 10), *READ], "every reading in full", id="no tilt first"),
        pytest.param([*READ, Reading(1, 10, nan)], "every reading in full", id="nothing read"),
        pytest.param([*READ, Reading(60, 10, 5)], "every reading in full", id="from the side"),
        pytest.param(READ * 40, "100 readings at most", id="too many"),
        pytest.param([*READ, Reading(1, 0, 1.0)], "every reading in full", id="nothing true"),
    ],
)
def test_readings_qualify_a_set_up_or_say_why_not(setup, instructor, readings, says):
    if says is None:
        assert qualify(setup, instructor, readings).readings[0]["true_mm"] == 10
        return
    with pytest.raises(AssessmentError, match=says):
        qualify(setup, instructor, readings)
    assert not SetupQualification.objects.exists()


def test_no_set_up_is_qualified_by_a_day_to_come(setup, instructor):
    with pytest.raises(AssessmentError, match="still to come"):
        qualify(setup, instructor, day=TODAY + timedelta(days=400))


@pytest.mark.parametrize(
    "change",
    [
        {"tilt_deg": 60},
        {"tilt_deg": float("nan")},
        {"depth_mm": -1},
        {"distance_mm": 0},
        {"distance_mm": 2},
        {"field_mm": 0},
        {"distortion": -0.1},
    ],
)
def test_bounds_that_cannot_be_are_refused(site, instructor, change):
    with pytest.raises(AssessmentError, match="0 to 45"):
        photo_setups.declare_setup(
            site=site, name="X", kind="hand", bounds=replace(STAND, **change),
            actor=instructor, at=NOW,
        )  # fmt: skip
    assert not PhotoSetup.objects.exists()


def test_a_site_has_one_set_up_of_a_name(site, setup, instructor):
    with pytest.raises(AssessmentError, match="another name"):
        photo_setups.declare_setup(
            site=site, name="stand 2", kind="stand", bounds=STAND, actor=instructor, at=NOW
        )


def test_what_is_retired_is_chosen_and_qualified_no_more(photo, setup, instructor):
    choose(photo, setup, instructor)
    photo_setups.retire_setup(setup=setup, reason="Sold.", actor=instructor, at=NOW)
    other = factories.make_photo(photo.board)
    for act in (
        lambda: choose(other, setup, instructor),
        lambda: qualify(setup, instructor),
        lambda: photo_setups.retire_setup(setup=setup, reason="Twice.", actor=instructor, at=NOW),
    ):
        with pytest.raises(AssessmentError, match="out of use"):
            act()
    photo.refresh_from_db()
    assert photo.setup == setup


def test_a_set_up_of_another_site_is_refused(photo, instructor):
    there = factories.make_photo_setup(factories.make_site("Aldergate", "AL"))
    with pytest.raises(AssessmentError, match="another site"):
        choose(photo, there, instructor)


def test_the_scale_takes_the_bounds_of_the_set_up_that_is_chosen_later(photo, setup, instructor):
    size = KnownSize(2.0, 0.01)
    one = replace(wrap(90), quantity="scale", marks={"ends": [(350.0, 300.0), (450.0, 300.0)]})
    keep(photo, instructor, one, size=size)
    photo.refresh_from_db()
    wide, marks = photo.scale_view, photo.scale_uncertainty
    qualify(setup, instructor)
    choose(photo, setup, instructor)
    assert 0 < photo.scale_view < wide / 3
    assert photo.scale_uncertainty == marks
    choose(photo, None, instructor)
    assert photo.scale_view == pytest.approx(wide)


def test_a_scale_of_before_views_were_bounded_proves_nothing(photo, instructor):
    photo.scale_px_per_mm, photo.scale_uncertainty = 40, 0.01
    photo.save()
    length = replace(wrap(90), quantity="length", marks={"ends": [(5.0, 5.0), (85.0, 5.0)]})
    assert "scale_unsure" in keep(photo, instructor, length).remarks


def test_the_latest_word_of_a_site_on_its_wire_counts(photo, site, instructor):
    with factories.unprotected():
        Position.objects.update(conductor_mm="0.801", overall_mm="1.27", stranding="19/34")
    photo.joint.position.refresh_from_db()
    for conductor, overall in ((4, 8), (2, 3)):
        photo_setups.state_wire_tolerance(
            site=site, conductor_percent=conductor, overall_percent=overall,
            source="20 pieces by micrometer", actor=instructor, at=NOW,
        )  # fmt: skip
    wire = measuring.wire_of(photo.joint)
    assert wire.conductor.half_mm == pytest.approx(0.02 * 0.801)
    assert wire.overall.half_mm == pytest.approx(0.03 * 1.27)
    with pytest.raises(AssessmentError, match="more than 0"):
        photo_setups.state_wire_tolerance(
            site=site, conductor_percent=0, overall_percent=3, source="x",
            actor=instructor, at=NOW,
        )  # fmt: skip


def test_everything_said_is_in_the_trail_fits_it_and_stays(photo, setup, instructor, site):
    qualify(setup, instructor)
    choose(photo, setup, instructor)
    photo_setups.retire_setup(setup=setup, reason="Sold.", actor=instructor, at=NOW)
    photo_setups.state_wire_tolerance(
        site=site, conductor_percent=2, overall_percent=3, source="x", actor=instructor, at=NOW
    )
    acts = set(TrailEntry.objects.values_list("act", flat=True))
    assert {
        "photo set-up declared",
        "photo set-up qualified",
        "photo set-up retired",
        "wire tolerance stated",
        "photograph described",
    } <= acts
    for rows in (PhotoSetup, SetupQualification, WireTolerance):
        with pytest.raises(DatabaseError), transaction.atomic():
            rows.objects.all().delete()
    said = [str(fault) for fault in verify_records().faults]
    assert [fault for fault in said if "setup" in fault or "wire" in fault] == []


# Pages


def declared(**change):
    return {
        "name": "Stand 3",
        "kind": "stand",
        "tilt_deg": "2",
        "distance_mm": "200",
        "depth_mm": "3",
        "relief_mm": "0.2",
        "distortion_percent": "0.1",
        "field_mm": "20",
    } | change


def test_a_set_up_is_declared_and_qualified_by_its_pages(client, site, instructor):
    answer = client.post(reverse("assessments:setup_list"), declared(site=site.pk), follow=True)
    text = answer.content.decode()
    assert "Not qualified." in text
    setup = PhotoSetup.objects.get()
    assert queries.bounds_of(setup) == STAND
    readings = {
        "tilt_deg": ["0", "1", "2", "", ""],
        "true_mm": ["10", "10", "10", "", ""],
        "read_mm": ["10", "10,05", "9.95", "", ""],
    }
    url = reverse("assessments:setup_qualify", args=[setup.pk])
    answer = client.post(url, readings | {"done_on": str(TODAY), "graticule": "K-1"}, follow=True)
    assert "The set-up is qualified" in answer.content.decode()
    assert setup.qualifications.get().readings[1]["read_mm"] == 10.05


def test_what_was_written_stands_there_again_beside_the_refusal(client, setup, instructor):
    readings = {"tilt_deg": ["0"], "true_mm": ["10"], "read_mm": ["a hair"]}
    url = reverse("assessments:setup_qualify", args=[setup.pk])
    answer = client.post(url, readings | {"done_on": str(TODAY), "graticule": "K-1"})
    text = answer.content.decode()
    assert answer.status_code == 422
    assert "three numbers" in text
    assert 'value="a hair"' in text


def test_the_measuring_page_offers_the_sites_set_ups_and_takes_one(
    client, photo, setup, instructor
):
    there = factories.make_photo_setup(factories.make_site("Aldergate", "AL"))
    page = client.get(reverse("assessments:photo_measure", args=[photo.key])).content.decode()
    assert "Stand 2" in page
    assert there.name not in page
    url = reverse("assessments:photo_setup_choose", args=[photo.key])
    page = client.post(url, {"setup": setup.pk, "quantity": "wrap"}, follow=True)
    photo.refresh_from_db()
    assert photo.setup == setup
    assert "quantity=wrap" in page.request["QUERY_STRING"]
    refused = client.post(url, {"setup": there.pk}, follow=True).content.decode()
    assert "Choose another" in refused
    photo.refresh_from_db()
    assert photo.setup == setup


def test_figures_for_the_wire_are_kept_or_refused_on_the_page(client, site, instructor):
    url = reverse("assessments:wire_tolerance")
    said = {"wire_site": site.pk, "conductor_percent": "2", "overall_percent": "4"}
    assert client.post(url, said).status_code == 422
    answer = client.post(url, said | {"source": "20 pieces by micrometer"}, follow=True)
    assert "20 pieces by micrometer" in answer.content.decode()
    refused = client.post(url, said | {"source": "x", "conductor_percent": "0"})
    assert refused.status_code == 422
    assert WireTolerance.objects.count() == 1
