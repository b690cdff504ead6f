"""Two people, or two windows, on one photograph, place or set-up in the same instant."""

import pytest
from django.db import connection

from assessments.exceptions import AssessmentError
from assessments.models import Criterion, Judgement, Measurement, Photo, PhotoSetup
from assessments.services import grading, judgements, measuring, photo_setups
from assessments.services.judgements import Circumstances
from tests import factories
from tests.assessments.marks_placed import wrap
from tests.assessments.together import at_once, wait_behind
from tests.factories import NOW

pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.usefixtures("everybody_has_standing"),
]


@pytest.fixture
def photo():
    factories.make_criteria_set(
        {"code": "W", "how": "measured", "quantity": "wrap", "low": 180, "high": 270,
         "unit": "deg"}
    )  # fmt: skip
    board = factories.make_board()
    return factories.on_a_stand(factories.make_photo(board, board.joints.first()))


@pytest.fixture
def instructor(photo):
    return factories.make_user("instructor", site=photo.board.site)


def keep(photo, actor, turn):
    criterion = Criterion.objects.get(code="W")
    fresh = Photo.objects.get(pk=photo.pk)
    return measuring.keep_measurement(
        photo=fresh,
        quantity="wrap",
        marks=wrap(turn).marks,
        options=measuring.options_for(joint=fresh.joint, criterion=criterion),
        mark_uncertainty_px=None,
        actor=actor,
        at=NOW,
        joint=fresh.joint,
        criterion=criterion,
    )


def test_a_set_up_of_one_name_is_declared_once(photo, instructor):
    bounds = photo_setups.Bounds(1, 3, 0.2, 150, 0.002, 10)

    def declare():
        return photo_setups.declare_setup(
            site=photo.board.site, name="Stand", kind="stand", bounds=bounds,
            actor=instructor, at=NOW,
        )  # fmt: skip

    answers = at_once(declare, declare)
    assert PhotoSetup.objects.filter(name="Stand").count() == 1
    assert sum(isinstance(answer, AssessmentError) for answer in answers) == 1


@pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only")
def test_whoever_judges_by_marks_sees_what_was_measured_meanwhile(photo, instructor):
    first = keep(photo, instructor, 225)
    reading = grading.start_grading(board=photo.board, grader=instructor, at=NOW)

    def judge():
        return judgements.judge(
            grading=reading, criterion=Criterion.objects.get(code="W"), joint=photo.joint,
            outcome="accept", seen=Circumstances(measured=first.pk), at=NOW,
        )  # fmt: skip

    answer = wait_behind(lambda: keep(photo, instructor, 150), judge)
    assert "measured anew" in str(answer)
    assert Measurement.objects.count() == 2
    assert not Judgement.objects.exists()


@pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only")
def test_whoever_judges_by_marks_while_the_scale_is_set_anew_measures_again():
    length = {"code": "L", "how": "measured", "quantity": "length", "high": 1, "unit": "mm"}
    criterion = factories.make_criteria_set(length).criteria.get()
    board = factories.make_board()
    photo = factories.on_a_stand(factories.make_photo(board, board.joints.first()))
    grader = factories.make_user("instructor", site=board.site)

    def measure(quantity, size=None):
        of = {} if size else {"criterion": criterion}
        fresh = Photo.objects.get(pk=photo.pk)
        return measuring.keep_measurement(
            photo=fresh, quantity=quantity, marks={"ends": [(100.0, 100.0), (180.0, 160.0)]},
            options=measuring.options_for(joint=fresh.joint, criterion=None, size=size),
            mark_uncertainty_px=None, actor=grader, at=NOW, joint=fresh.joint, size=size, **of,
        )  # fmt: skip

    def judge():
        return judgements.judge(
            grading=reading, criterion=criterion, joint=photo.joint, outcome="accept",
            seen=Circumstances(measured=wrong.pk), at=NOW,
        )  # fmt: skip

    measure("scale", measuring.KnownSize(0.2, 0.002))
    wrong = measure("length")
    reading = grading.start_grading(board=board, grader=grader, at=NOW)
    answer = wait_behind(lambda: measure("scale", measuring.KnownSize(0.8, 0.007)), judge)
    assert "scale was set anew" in str(answer)
    assert not Judgement.objects.exists()


@pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only")
def test_a_set_up_that_is_retired_meanwhile_is_not_chosen(photo, instructor):
    setup = factories.make_photo_setup(photo.board.site)
    before = photo.setup_id
    answer = wait_behind(
        lambda: photo_setups.retire_setup(setup=setup, reason="Sold.", actor=instructor, at=NOW),
        lambda: photo_setups.choose_setup(photo=photo, setup=setup, actor=instructor, at=NOW),
    )
    assert "out of use" in str(answer)
    photo.refresh_from_db()
    assert photo.setup_id == before


@pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only")
def test_what_is_measured_while_the_set_up_changes_counts_by_the_new_one(photo, instructor):
    answer = wait_behind(
        lambda: photo_setups.choose_setup(photo=photo, setup=None, actor=instructor, at=NOW),
        lambda: keep(photo, instructor, 225),
    )
    assert answer.view["setup"] == ""
    assert answer.verdict == "too_close_to_call"
