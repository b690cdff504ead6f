"""What was done to boards by mistake is put right: cancelled, another purpose, taken back."""

from copy import deepcopy
from datetime import timedelta
from io import BytesIO

import pytest
from django.db import IntegrityError, connection, transaction

from assessments.exceptions import CannotChangeBoard
from assessments.models import Board, BoardCancellation, Judgement, PurposeCorrection
from assessments.services import (
    board_corrections,
    boards,
    grading,
    judgements,
    measuring,
    photo_setups,
    photos,
    rework,
)
from certification.queries.requirements import requirements
from records.models import TrailEntry, append_only
from records.queries.verification import verify_records
from tests.assessments import pictures, several
from tests.factories import (
    NOW,
    TODAY,
    make_board,
    make_exercise,
    make_person,
    make_photo,
    make_photo_setup,
    make_revision,
    make_scope,
    make_site,
    make_user,
    write_down,
)
from tests.kept_rows import taken_back_after
from training.models import Stage

pytestmark = pytest.mark.django_db

LATER = NOW + timedelta(hours=1)


@pytest.fixture(scope="module", autouse=True)
def kept(django_db_setup, django_db_blocker):
    """An instructor, and two boards of one exercise, as they come from handing out; criteria to
    judge them by."""
    with taken_back_after(django_db_blocker):
        instructor = make_user("instructor")
        several.make_criteria()
        exercise = make_exercise(stages=(Stage.FORMED, Stage.SOLDERED))
        write_down()
        made = boards.make_boards(
            exercise=exercise,
            people=[make_person(), make_person()],
            purpose="practice",
            site=make_site(),
            handed_out_on=TODAY,
            actor=instructor,
            at=NOW,
        )
        yield instructor, made


@pytest.fixture
def instructor(kept, db):
    return deepcopy(kept[0])


@pytest.fixture
def made(kept, db):
    return deepcopy(kept[1])


def cancel(*which, actor, reason="Handed out twice."):
    return board_corrections.cancel_boards(boards=which, reason=reason, actor=actor, at=LATER)


def correct(*which, actor, purpose="qualification", reason="Wrong tick."):
    return board_corrections.correct_purpose(
        boards=which, purpose=purpose, reason=reason, actor=actor, at=LATER
    )


def judge_one(board, grader):
    reading = several.begin(board, grader)
    judgements.judge(
        grading=reading,
        criterion=reading.criteria_set.criteria.get(code="F-1"),
        joint=board.joints.first(),
        outcome="accept",
        seen=several.IN_HAND,
        at=NOW,
    )
    return reading


# Cancelling


def test_cancelled_board_waits_for_nobody_and_stays_in_the_records(made, instructor):
    board, other = made
    cancel(board, actor=instructor)

    assert list(Board.objects.at_the_bench()) == [other]
    assert list(Board.objects.cancelled()) == [board]
    boards.hand_in(board=other, actor=instructor, at=LATER)
    assert list(Board.objects.waiting()) == [other]
    entry = TrailEntry.objects.get(act="board cancelled")
    assert entry.about_id == str(board.pk)
    assert "Handed out twice." in entry.payload.body
    assert verify_records().fits


@pytest.mark.parametrize(
    "act",
    [
        lambda board, user: boards.hand_in(board=board, actor=user, at=LATER),
        lambda board, user: grading.start_grading(board=board, grader=user, at=LATER),
        lambda board, user: judge_one(board, user),
        lambda board, user: boards.dispose(board=board, how="scrapped", actor=user, at=LATER),
        lambda board, user: boards.describe_piece(
            board=board, tools=[], kept_where="a drawer", kept_until=None, actor=user, at=LATER
        ),
        lambda board, user: cancel(board, actor=user),
        lambda board, user: correct(board, actor=user),
        lambda board, user: boards.take_back_hand_in(board=board, actor=user, at=LATER),
    ],
    ids=["hand in", "begin", "judge", "dispose", "keep", "cancel", "purpose", "take back"],
)
def test_nothing_is_done_on_a_cancelled_board(made, instructor, act):
    cancel(made[0], actor=instructor)

    with pytest.raises(CannotChangeBoard, match="was cancelled on 25 Nov 2026"):
        act(made[0], instructor)


@pytest.mark.parametrize("quantity", ["scale", "length"])
def test_nothing_is_measured_on_a_cancelled_boards_photograph(made, instructor, quantity):
    photo = make_photo(made[0], made[0].joints.first())
    photo.scale_px_per_mm, photo.scale_uncertainty, photo.scale_view = 40, 0.01, 0.01
    photo.save()
    cancel(made[0], actor=instructor)

    with pytest.raises(CannotChangeBoard, match="was cancelled on"):
        measuring.keep_measurement(
            photo=photo,
            quantity=quantity,
            marks={"ends": [(350.0, 300.0), (450.0, 300.0)]},
            options=measuring.options_for(
                joint=photo.joint, criterion=None, size=measuring.KnownSize(2.0, 0.01)
            ),
            mark_uncertainty_px=None,
            actor=instructor,
            at=LATER,
        )
    assert not photo.measurements.exists()


def test_no_set_up_is_chosen_for_a_cancelled_boards_photograph(made, instructor):
    photo = make_photo(made[0])
    setup = make_photo_setup(made[0].site)
    cancel(made[0], actor=instructor)

    with pytest.raises(CannotChangeBoard, match="was cancelled on"):
        photo_setups.choose_setup(photo=photo, setup=setup, actor=instructor, at=LATER)
    photo.refresh_from_db()
    assert photo.setup is None


def test_cancelled_board_takes_no_photograph(made, instructor, files):
    cancel(made[0], actor=instructor)

    with pytest.raises(CannotChangeBoard, match="was cancelled on"):
        photos.add_photo(
            board=made[0],
            file=BytesIO(pictures.jpeg()),
            name="E01.jpg",
            actor=instructor,
            at=NOW,
        )


def test_board_is_cancelled_until_something_is_judged_and_all_or_none_are(made, instructor):
    judge_one(made[1], instructor)

    with pytest.raises(CannotChangeBoard, match="is judged, so it is not cancelled"):
        cancel(*made, actor=instructor)
    assert not BoardCancellation.objects.exists()
    assert not Board.objects.cancelled().exists()
    Judgement.objects.all().delete()
    assert len(cancel(*made, actor=instructor)) == 2


def test_own_reading_of_its_maker_keeps_no_board_from_being_cancelled(instructor):
    trainee = make_user()
    board = make_board(trainee.person)
    reading = grading.start_own_reading(board=board, trainee=trainee, at=NOW)
    several.judge(reading)

    assert cancel(board, actor=instructor)


@pytest.mark.parametrize(
    "put_right", [cancel, correct], ids=["cancelling", "correcting the purpose"]
)
@pytest.mark.parametrize(
    ("actor", "reason", "says"),
    [
        (lambda: make_user("instructor"), "  ", "Say why"),
        (lambda: make_user("quality"), "So.", "by another instructor"),
        (
            lambda: make_user("instructor", site=make_site("Aldergate", "AL")),
            "So.",
            "by another instructor",
        ),
    ],
    ids=["no reason", "quality", "elsewhere"],
)
def test_boards_are_put_right_by_instructors_there_with_a_reason(
    made, put_right, actor, reason, says
):
    with pytest.raises(CannotChangeBoard, match=says):
        put_right(made[0], actor=actor(), reason=reason)


def test_nobody_puts_their_own_board_right(instructor):
    board = make_board(instructor.person)

    for put_right in (cancel, correct):
        with pytest.raises(CannotChangeBoard, match="by another instructor"):
            put_right(board, actor=instructor)


@pytest.mark.each_database
def test_database_keeps_a_cancelled_board_as_it_is(made, instructor):
    cancel(made[0], actor=instructor)

    refused = pytest.raises(IntegrityError, match="is cancelled and does not change")
    with refused, transaction.atomic():
        Board.objects.filter(pk=made[0].pk).update(cancelled_at=None)


# The purpose


def test_class_day_of_practice_boards_counts_once_its_purpose_is_corrected(instructor):
    person, exercise, scope = make_person(), make_exercise(), make_scope()
    revision = make_revision(scope, exercise=exercise, published=False)
    revision.requirements.update(purposes=["qualification"])
    first, second = (make_board(person, exercise, handed_in_at=NOW) for _ in range(2))
    correct(second, actor=instructor)
    for board in (first, second):
        several.read(board, instructor)

    [boards_asked] = [
        line for line in requirements(person, scope, revision, TODAY) if line.exercise_code
    ]
    assert [passed.board for passed in boards_asked.boards] == [second]


def test_purpose_is_corrected_until_the_first_stage_is_signed(made, instructor):
    board, other = made
    reading = judge_one(board, instructor)
    correct(board, actor=instructor)
    several.judge(reading, stages=["formed"])
    several.sign(reading, stages=["formed"])

    with pytest.raises(CannotChangeBoard, match="signed, so its purpose stays as it is"):
        correct(other, board, actor=instructor, purpose="requalification")
    assert Board.objects.get(pk=other.pk).purpose == "practice"
    assert Board.objects.get(pk=board.pk).purpose == "qualification"
    correction = PurposeCorrection.objects.get()
    assert (correction.before, correction.after) == ("practice", "qualification")
    assert correction.reason == "Wrong tick."
    assert TrailEntry.objects.filter(act="purpose of board corrected").count() == 1


def test_purpose_that_it_has_already_is_said_and_production_is_no_correction(made, instructor):
    with pytest.raises(CannotChangeBoard, match="for practice already"):
        correct(made[0], actor=instructor, purpose="practice")
    with pytest.raises(CannotChangeBoard, match="names its unit or work order"):
        correct(made[0], actor=instructor, purpose="production")
    sample = make_board(purpose="production", unit="SN 1")
    with pytest.raises(CannotChangeBoard, match="is a production sample and stays one"):
        correct(sample, actor=instructor)


# Altered behind us


def alter(statement, *values):
    with append_only.lifted(connection), connection.cursor() as cursor:
        cursor.execute(statement, values)
        assert cursor.rowcount == 1, statement


ALTERED = {
    "a purpose past its corrections": (
        "UPDATE assessments_board SET purpose = 'practice' WHERE id = %s"
    ),
    "a purpose corrected to another": (
        "UPDATE assessments_purposecorrection SET after = 'requalification' "
        "WHERE id = (SELECT min(id) FROM assessments_purposecorrection WHERE board_id = %s)"
    ),
    "a correction deleted": "DELETE FROM assessments_purposecorrection WHERE board_id = %s",
    "a cancellation given another reason": (
        "UPDATE assessments_boardcancellation SET reason = 'x' WHERE board_id = %s"
    ),
    "a cancellation deleted": "DELETE FROM assessments_boardcancellation WHERE board_id = %s",
    "a cancelled board that is none": (
        "UPDATE assessments_board SET cancelled_at = NULL WHERE id = %s"
    ),
}


@pytest.mark.each_database
@pytest.mark.parametrize("altered", ALTERED)
def test_what_is_altered_of_a_board_put_right_is_named(made, instructor, altered):
    board, _other = made
    correct(board, actor=instructor)
    cancel(board, actor=instructor)
    assert verify_records().faults == []

    alter(ALTERED[altered], board.pk)

    assert verify_records().faults != []


def test_board_cancelled_past_the_records_is_named(made):
    assert verify_records().faults == []
    alter("UPDATE assessments_board SET cancelled_at = %s WHERE id = %s", NOW, made[0].pk)

    assert verify_records().faults != []


def test_second_correction_and_what_tests_write_down_fit(made, instructor):
    correct(made[0], actor=instructor)
    correct(made[0], actor=instructor, purpose="practice")
    write_down()

    assert verify_records().faults == []


# Handing in, and taking it back


def test_hand_in_is_taken_back_until_somebody_judges(made, instructor):
    board = boards.hand_in(board=made[0], actor=instructor, at=NOW)
    board = boards.take_back_hand_in(board=board, actor=instructor, at=LATER)
    assert board.handed_in_at is None
    assert TrailEntry.objects.get(act="board taken back").about_id == str(board.pk)
    with pytest.raises(CannotChangeBoard, match="is not handed in"):
        boards.take_back_hand_in(board=board, actor=instructor, at=LATER)
    boards.hand_in(board=board, actor=instructor, at=LATER)
    judge_one(board, instructor)

    with pytest.raises(CannotChangeBoard, match="begun to judge"):
        boards.take_back_hand_in(board=board, actor=instructor, at=LATER)


@pytest.mark.each_database
def test_rework_that_was_handed_in_is_taken_back_until_it_is_judged(instructor):
    board = make_board(exercise=make_exercise(rework_allowed=1), handed_in_at=NOW)
    several.read(board, instructor, ("E01", "S-1"))
    rework.send_back(
        board=several.fresh(board),
        joint=several.joint(board, "E01"),
        codes=["S-1"],
        actor=instructor,
        at=NOW,
    )
    boards.hand_in(board=board, actor=instructor, at=NOW)

    boards.take_back_hand_in(board=board, actor=instructor, at=LATER)
    made_again = several.joint(board, "E01", make=2).rework
    assert made_again.handed_in_at is None
    boards.hand_in(board=board, actor=instructor, at=LATER)
    several.judge(several.begin(board, instructor))
    with pytest.raises(CannotChangeBoard, match="has judged what was reworked"):
        boards.take_back_hand_in(board=board, actor=instructor, at=LATER)
    made_again.refresh_from_db()
    made_again.handed_in_at = None
    refused = pytest.raises(IntegrityError, match="says why a joint was sent back")
    with refused, transaction.atomic():
        made_again.save(update_fields=["handed_in_at"])
