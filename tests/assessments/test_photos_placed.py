"""Saying what a photograph shows: changed freely, written down, fixed once it is evidence."""

from io import BytesIO

import pytest
from django.db import connection
from django.urls import reverse

from assessments.exceptions import CannotChangeBoard, PhotoIsEvidence
from assessments.models import (
    CriteriaSet,
    Criterion,
    Grading,
    Judgement,
    Photo,
    StageSigning,
)
from assessments.services import board_corrections, photos
from records.models import TrailEntry
from records.services import trail
from tests.assessments import pictures
from tests.factories import NOW, make_board, make_user

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("files")]


@pytest.fixture
def instructor():
    return make_user("instructor")


@pytest.fixture
def board():
    return make_board()


def add(board, instructor, width=96, joint=None):
    return photos.add_photo(
        board=board,
        joint=joint,
        file=BytesIO(pictures.jpeg(width, 64)),
        name=f"IMG_{width}.jpg",
        actor=instructor,
        at=NOW,
    )


def place(photo, instructor, **fields):
    said = {"joint": photo.joint, "stage": photo.stage, "note": photo.note, **fields}
    return photos.place_photo(photo=photo, actor=instructor, at=NOW, **said)


def change(client, photo, as_json=False, **fields):
    return client.post(
        reverse("assessments:photo_change", args=[photo.key]),
        fields,
        headers={"Accept": "application/json"} if as_json else {},
    )


def judge_from(photo, grader, *, signed):
    """One judgement that names the photograph, signed or still open."""
    criteria = CriteriaSet.objects.create(title="Workmanship", revision=1)
    criterion = Criterion.objects.create(
        criteria_set=criteria,
        code="W1",
        order=1,
        stage="soldered",
        joint_types=["turret"],
        severity="major",
        demerits=10,
    )
    grading = Grading.objects.create(board=photo.board, grader=grader, criteria_set=criteria)
    Judgement.objects.create(
        grading=grading,
        joint=photo.joint,
        criterion=criterion,
        stage="soldered",
        outcome="accept",
        how="photograph",
        photo=photo,
    )
    if signed:
        signature = trail.sign(
            actor=grader, meaning="graded", about=grading, content={"n": 1}, at=NOW
        )
        StageSigning.objects.create(
            grading=grading, stage="soldered", signature=signature, signed_at=NOW, result={}
        )


def test_joint_stage_and_note_change_and_the_trail_keeps_both(board, instructor):
    photo = add(board, instructor)
    joint = board.joints.first()
    assert place(photo, instructor, joint=joint, stage="soldered", note="from the left")
    photo.refresh_from_db()
    assert (photo.joint, photo.stage, photo.note) == (joint, "soldered", "from the left")
    entry = TrailEntry.objects.get(act="photograph placed")
    assert '"joint":"E01"' in entry.payload.body
    assert '"joint":""' in entry.payload.body


def test_a_change_that_changes_nothing_is_not_written_down(board, instructor):
    photo = add(board, instructor)
    before = TrailEntry.objects.count()
    assert not place(photo, instructor)
    assert TrailEntry.objects.count() == before


def test_a_photograph_under_a_signed_judgement_stays_at_its_joint(board, instructor):
    photo = add(board, instructor, joint=board.joints.first())
    judge_from(photo, make_user("instructor"), signed=True)
    with pytest.raises(PhotoIsEvidence, match="stays at joint E01"):
        place(photo, instructor, joint=None)
    photo.refresh_from_db()
    assert photo.joint is not None
    assert place(photo, instructor, note="lamp low")


def test_a_photograph_under_an_open_judgement_may_still_move(board, instructor):
    photo = add(board, instructor, joint=board.joints.first())
    judge_from(photo, make_user("instructor"), signed=False)
    assert place(photo, instructor, joint=None)


def test_photographs_of_one_joint_change_places(board, instructor):
    joint = board.joints.first()
    first, second, third = (add(board, instructor, 90 + n, joint) for n in range(3))
    other = add(board, instructor, 99)
    assert photos.move_photo(photo=third, earlier=True, actor=instructor, at=NOW)
    assert list(Photo.objects.filter(joint=joint)) == [first, third, second]
    assert photos.move_photo(photo=first, earlier=False, actor=instructor, at=NOW)
    assert list(Photo.objects.filter(joint=joint)) == [third, first, second]
    assert not photos.move_photo(photo=third, earlier=True, actor=instructor, at=NOW)
    assert not photos.move_photo(photo=other, earlier=False, actor=instructor, at=NOW)


def test_photographs_that_share_a_number_still_change_places(board, instructor):
    first, second = (add(board, instructor, 90 + n) for n in range(2))
    Photo.objects.update(order=1)
    assert photos.move_photo(photo=second, earlier=True, actor=instructor, at=NOW)
    assert list(board.photos.all()) == [second, first]


# The page of one photograph


def test_its_page_saves_what_it_shows(client, board, instructor):
    client.force_login(instructor)
    photo = add(board, instructor)
    joint = board.joints.first()
    response = change(client, photo, joint=joint.pk, stage="soldered", note="from above")
    assert response.status_code == 302
    photo.refresh_from_db()
    assert (photo.joint, photo.stage, photo.note) == (joint, "soldered", "from above")


def test_what_is_not_sent_stays_as_it_is(client, board, instructor):
    client.force_login(instructor)
    photo = add(board, instructor)
    place(photo, instructor, note="from above", stage="soldered")
    response = change(client, photo, as_json=True, joint=board.joints.first().pk)
    assert (response.status_code, response.json()) == (200, {"says": ""})
    photo.refresh_from_db()
    assert (str(photo.joint), photo.stage, photo.note) == ("E01", "soldered", "from above")


def test_its_page_moves_it(client, board, instructor):
    client.force_login(instructor)
    first, second = (add(board, instructor, 90 + n) for n in range(2))
    change(client, second, move="earlier")
    assert list(board.photos.all()) == [second, first]


def test_a_joint_of_another_board_is_refused(client, board, instructor):
    client.force_login(instructor)
    photo = add(board, instructor)
    response = change(client, photo, joint=make_board().joints.first().pk)
    assert response.status_code == 422
    photo.refresh_from_db()
    assert photo.joint is None


def test_a_refusal_is_shown_on_the_page_and_told_to_the_script(client, board, instructor):
    client.force_login(instructor)
    photo = add(board, instructor, joint=board.joints.first())
    judge_from(photo, make_user("instructor"), signed=True)
    page = change(client, photo, joint="")
    assert page.status_code == 422
    assert "stays at joint E01" in page.content.decode()
    told = change(client, photo, as_json=True, joint="")
    assert told.status_code == 422
    assert "stays at joint E01" in told.json()["says"]


def test_quality_looks_and_changes_nothing(client, board, instructor):
    photo = add(board, instructor)
    client.force_login(make_user("quality"))
    page = client.get(reverse("assessments:photo_detail", args=[photo.key]))
    assert page.status_code == 200
    assert reverse("assessments:photo_change", args=[photo.key]) not in page.content.decode()
    assert change(client, photo, note="mine").status_code == 404


def test_the_original_of_a_photograph_cannot_be_exchanged(board, instructor):
    photo = add(board, instructor)
    with pytest.raises(Exception, match="keeps its original"), connection.cursor() as cursor:
        cursor.execute(
            "UPDATE assessments_photo SET sha256 = %s WHERE id = %s", ["0" * 64, photo.pk]
        )


def test_nothing_is_said_of_a_cancelled_boards_photograph(board):
    instructor = make_user("instructor", site=board.site)
    photo = add(board, instructor)
    board_corrections.cancel_boards(
        boards=[board], reason="Handed out twice.", actor=instructor, at=NOW
    )
    with pytest.raises(CannotChangeBoard, match="was cancelled"):
        place(photo, instructor, note="from the left")
    photo.refresh_from_db()
    assert photo.note == ""
