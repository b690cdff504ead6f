"""Measurements are kept with their marks, judge a measured criterion, and never change."""

from dataclasses import replace
from decimal import Decimal

import pytest
from django.db import DatabaseError, transaction

from assessments.exceptions import AssessmentError, CannotMeasure
from assessments.models import Judgement, Measurement, StageSigning
from assessments.queries import board_results
from assessments.services import grading, judgements, measuring
from assessments.services.judgements import Circumstances
from assessments.services.measuring import KnownSize
from assessments.services.undo import undo
from records.models import TrailEntry
from tests import factories
from tests.assessments.marks_placed import clearance, wrap
from tests.factories import NOW

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("everybody_has_standing")]


@pytest.fixture
def criteria():
    return factories.make_criteria_set(
        {
            "code": "W",
            "how": "measured",
            "quantity": "wrap",
            "low": 180,
            "high": 270,
            "unit": "deg",
        },
        {"code": "G", "how": "measured", "quantity": "clearance", "high": 2, "unit": "d"},
        {"code": "L", "how": "measured", "quantity": "length", "high": 1, "unit": "mm"},
    )


@pytest.fixture
def board(criteria):
    return factories.make_board()


@pytest.fixture
def photo(board):
    return factories.on_a_stand(factories.make_photo(board, board.joints.first()))


@pytest.fixture
def instructor():
    return factories.make_user("instructor")


def keep(photo, actor, one, criterion=None, sigma=1.0, **said):
    return measuring.keep_measurement(
        photo=photo,
        quantity=one.quantity,
        marks=one.marks,
        options=measuring.options_for(joint=photo.joint, criterion=criterion, **said),
        mark_uncertainty_px=sigma,
        actor=actor,
        at=NOW,
        joint=photo.joint,
        criterion=criterion,
    )


def judge(reading, photo, code, outcome, seen):
    return judgements.judge(
        grading=reading,
        criterion=reading.criteria_set.criteria.get(code=code),
        joint=photo.joint,
        outcome=outcome,
        seen=seen,
        at=NOW,
    )


def test_a_measurement_keeps_its_marks_its_result_and_what_it_says_of_the_limits(
    photo, instructor, criteria
):
    kept = keep(photo, instructor, wrap(213.5), criteria.criteria.get(code="W"))
    kept.refresh_from_db()
    assert kept.value == pytest.approx(213.5)
    assert kept.verdict == "within"
    assert kept.marks["centre"] == [[500.0, 400.0]]
    assert (kept.unit, kept.measured_by) == ("deg", instructor)
    entry = TrailEntry.objects.latest("pk")
    assert entry.act == "measured on a photograph"


def test_a_known_size_becomes_the_photographs_scale_and_is_kept_for_it(photo, instructor, criteria):
    ends = {"ends": [(100.0, 100.0), (180.0, 160.0)]}
    length = replace(wrap(90), quantity="length", marks=ends)
    with pytest.raises(CannotMeasure, match="scale"):
        keep(photo, instructor, length, criteria.criteria.get(code="L"))
    scale = keep(photo, instructor, replace(length, quantity="scale"), size=KnownSize(0.8, 0.007))
    photo.refresh_from_db()
    assert photo.scale_px_per_mm == pytest.approx(125)
    assert photo.scale_uncertainty == pytest.approx(scale.also["relative_u"])
    read = keep(photo, instructor, length, criteria.criteria.get(code="L"), sigma=2.0)
    assert (read.value, read.unit, read.verdict) == (pytest.approx(0.8), "mm", "within")
    assert read.mm_per_px == pytest.approx(1 / 125)
    photo.refresh_from_db()
    assert photo.mark_uncertainty_px == 2.0


def test_marks_off_the_photograph_and_for_another_criterion_are_refused(
    photo, instructor, criteria
):
    off = replace(wrap(90), marks=wrap(90).marks | {"centre": [(801.0, 10.0)]})
    with pytest.raises(CannotMeasure, match="outside the photograph"):
        keep(photo, instructor, off)
    with pytest.raises(CannotMeasure, match="does not ask"):
        keep(photo, instructor, wrap(90), criteria.criteria.get(code="G"))
    with pytest.raises(CannotMeasure, match="another board"):
        measuring.keep_measurement(
            photo=photo,
            quantity="wrap",
            marks=wrap(90).marks,
            options=measuring.options_for(joint=None, criterion=None),
            mark_uncertainty_px=1,
            actor=instructor,
            at=NOW,
            joint=factories.make_board().joints.first(),
        )
    assert not Measurement.objects.exists()


def test_a_measured_criterion_is_judged_by_the_marks(photo, instructor, criteria):
    kept = keep(photo, instructor, wrap(213.5), criteria.criteria.get(code="W"))
    reading = grading.start_grading(board=photo.board, grader=instructor, at=NOW)
    said = judge(reading, photo, "W", "accept", Circumstances(measured=kept.pk))
    said.refresh_from_db()
    assert (said.how, said.measurement, said.photo) == ("marks", kept, photo)
    assert said.value == Decimal("213.5")
    assert said.uncertainty == pytest.approx(Decimal(str(kept.expanded)), abs=Decimal("0.00001"))
    content = board_results.signed_content(
        StageSigning(grading=reading, stage="soldered", signed_at=NOW, result={})
    )
    assert content["judgements"][0]["measured"]["marks"] == kept.marks


@pytest.mark.parametrize(
    ("turn", "outcome", "says"),
    [(213.5, "reject", "within"), (120, "accept", "outside"), (181, "accept", "too close")],
)
def test_whoever_decides_against_the_marks_says_why(
    photo, instructor, criteria, turn, outcome, says
):
    kept = keep(photo, instructor, wrap(turn), criteria.criteria.get(code="W"), sigma=2)
    reading = grading.start_grading(board=photo.board, grader=instructor, at=NOW)
    by_marks = Circumstances(measured=kept.pk)
    by_eye = Circumstances(by_eye_because="seen from behind")
    for seen in (by_marks, by_eye):  # Nor are marks passed over in silence.
        with pytest.raises(AssessmentError, match=f"{says}.*say why"):
            judge(reading, photo, "W", outcome, seen)
    said = judge(reading, photo, "W", outcome, replace(by_marks, note="seen from behind"))
    assert said.outcome == outcome


def test_only_the_graders_own_latest_marks_of_the_place_count(photo, instructor, criteria):
    wrapped = criteria.criteria.get(code="W")
    first = keep(photo, instructor, wrap(213.5), wrapped)
    keep(photo, instructor, wrap(220), wrapped)
    somebody = keep(photo, factories.make_user("instructor"), wrap(230), wrapped)
    reading = grading.start_grading(board=photo.board, grader=instructor, at=NOW)
    for other in (first, somebody):
        with pytest.raises(AssessmentError, match="measured anew"):
            judge(reading, photo, "W", "accept", Circumstances(measured=other.pk))
    assert not Judgement.objects.exists()


def test_taking_a_judgement_back_brings_the_earlier_marks_with_it(photo, instructor, criteria):
    kept = keep(photo, instructor, wrap(213.5), criteria.criteria.get(code="W"))
    reading = grading.start_grading(board=photo.board, grader=instructor, at=NOW)
    judge(reading, photo, "W", "accept", Circumstances(measured=kept.pk))
    judge(reading, photo, "W", "accept", Circumstances(by_eye_because="seen from behind"))
    assert Judgement.objects.get().measurement is None
    undo(grading=reading)
    assert Judgement.objects.get().measurement == kept


def test_the_database_lets_no_measurement_change(photo, instructor):
    kept = keep(photo, instructor, clearance(1.3))
    with pytest.raises(DatabaseError), transaction.atomic():
        Measurement.objects.filter(pk=kept.pk).update(value=1)
    with pytest.raises(DatabaseError), transaction.atomic():
        kept.delete()
    kept.refresh_from_db()
    assert kept.value == pytest.approx(1.3)
