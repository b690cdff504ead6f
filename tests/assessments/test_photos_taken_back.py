"""What was sent by mistake is taken back in one act, until somebody has gone by it."""

from datetime import timedelta
from io import BytesIO

import pytest
from django.db import DatabaseError, connection, transaction
from django.urls import reverse

from assessments.exceptions import AssessmentError, PhotoTakenBack, TakesNoPhotograph
from assessments.models import Criterion, Judgement, Photo
from assessments.queries import photo_use
from assessments.services import grading, judgements, measuring, photos
from assessments.services.judgements import Circumstances
from people.models import SiteRole
from records.models import TrailEntry
from records.queries.verification import verify_records
from tests import factories
from tests.assessments import pictures, several, together
from tests.assessments.marks_placed import wrap
from tests.factories import NOW, make_board, make_user, write_down

pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.usefixtures("files", "everybody_has_standing"),
]

SENDING, ANOTHER = "0" * 32, "1" * 32
LATER = NOW + timedelta(minutes=5)
FROM_PHOTO = Judgement.How.PHOTOGRAPH


@pytest.fixture
def board():
    return make_board()


@pytest.fixture
def trainee(board):
    return make_user(person=board.person)


@pytest.fixture
def instructor(board):
    return make_user("instructor", site=board.site)


def add(board, actor, number=0, sending=SENDING, **fields):
    return photos.add_photo(
        board=board,
        file=BytesIO(pictures.jpeg(96 + number, 64)),
        name=f"IMG_{number}.jpg",
        actor=actor,
        at=NOW,
        sending=sending,
        **fields,
    )


def take_back(board, actor, sending=SENDING, at=LATER):
    return photos.take_back_sending(board=board, sending=sending, actor=actor, at=at)


def left(board) -> list[str]:
    return [photo.original_name for photo in board.photos.order_by("order")]


def test_one_act_takes_back_what_came_by_one_act_and_nothing_else(board, trainee, files):
    for number in range(3):
        add(board, trainee, number)
    add(board, trainee, 3, sending=ANOTHER)
    add(board, trainee, 4, sending="")
    back = take_back(board, trainee)
    assert [photo.original_name for photo in back.photos] == ["IMG_0.jpg", "IMG_1.jpg", "IMG_2.jpg"]
    assert back.stay == []
    assert left(board) == ["IMG_3.jpg", "IMG_4.jpg"]
    assert Photo.every.filter(taken_back_at=LATER).count() == 3
    assert len(list((files / "originals").rglob("*.bin"))) == 5
    assert TrailEntry.objects.filter(act="photograph taken back").count() == 3
    write_down()
    assert verify_records().fits


def test_the_same_files_are_sent_again_and_the_order_goes_on(board, trainee):
    add(board, trainee)
    take_back(board, trainee)
    again = add(board, trainee, sending=ANOTHER)
    assert left(board) == ["IMG_0.jpg"]
    assert again.order == 2
    assert [photo.pk for photo in take_back(board, trainee, ANOTHER).photos] == [again.pk]
    write_down()
    assert verify_records().fits


def test_what_comes_after_the_rest_was_taken_back_is_refused(board, trainee):
    add(board, trainee)
    take_back(board, trainee)
    with pytest.raises(TakesNoPhotograph, match="was taken back, so it was not added"):
        add(board, trainee, 1)
    assert left(board) == []


@pytest.mark.parametrize("sending", [ANOTHER, "", "nonsense"])
def test_what_is_not_there_is_not_taken_back(board, trainee, sending):
    add(board, trainee)
    add(board, trainee, 1, sending="")
    with pytest.raises(PhotoTakenBack, match="Nothing is left to take back"):
        take_back(board, trainee, sending)
    assert len(left(board)) == 2


def test_pressed_twice_it_says_that_nothing_is_left(board, trainee):
    add(board, trainee)
    take_back(board, trainee)
    with pytest.raises(PhotoTakenBack, match="Nothing is left"):
        take_back(board, trainee)


def test_nobody_takes_back_what_another_sent(board, trainee, instructor):
    add(board, trainee)
    with pytest.raises(PhotoTakenBack):
        take_back(board, instructor)
    assert left(board) == ["IMG_0.jpg"]


def judge_by(board, grader, photo, outcome="accept", at=NOW):
    reading = grading.start_grading(board=board, grader=grader, at=at)
    judgements.judge(
        grading=reading,
        criterion=Criterion.objects.get(code="S-1"),
        joint=board.joints.first(),
        outcome=outcome,
        seen=Circumstances(how=FROM_PHOTO, photo=photo),
        at=at,
    )
    return reading


def judged(board, instructor, photo):
    several.make_criteria()
    judge_by(board, instructor, photo)


def judged_and_judged_anew(board, instructor, photo):
    """Undoing would bring the judgement by that photograph back."""
    several.make_criteria()
    reading = judge_by(board, instructor, photo)
    judge_by(board, instructor, board.photos.last(), outcome="reject", at=LATER)
    assert not photo.judgements.exists()
    assert reading.undo_steps.count() == 2


def not_told(board, instructor, photo):
    several.make_criteria()
    grading.start_grading(board=board, grader=instructor, at=NOW)
    judgements.say_cannot_tell(
        boards=type(board).objects.all(),
        number=board.number,
        grader=instructor,
        place=judgements.NamedPlace("soldered", "E01", "S-1"),
        asks="photo",
        photo=photo,
        note="",
        at=NOW,
    )


def measured(board, instructor, photo):
    photo = factories.on_a_stand(photo)
    measuring.keep_measurement(
        photo=photo,
        quantity="wrap",
        marks=wrap(225).marks,
        options=measuring.options_for(joint=photo.joint, criterion=None),
        mark_uncertainty_px=None,
        actor=instructor,
        at=NOW,
        joint=photo.joint,
    )


@pytest.mark.parametrize("use", [judged, judged_and_judged_anew, not_told, measured])
def test_what_somebody_has_gone_by_stays_and_is_named(board, trainee, instructor, use):
    joint = board.joints.first()
    photo = photos.add_photo(
        board=board,
        file=BytesIO(pictures.jpeg(1000, 800)),
        name="E01.jpg",
        actor=trainee,
        at=NOW,
        joint=joint,
        sending=SENDING,
    )
    add(board, trainee, 1)
    add(board, trainee, 2, sending=ANOTHER)
    use(board, instructor, photo)
    back = take_back(board, trainee)
    assert [one.original_name for one in back.stay] == ["E01.jpg"]
    assert [one.original_name for one in back.photos] == ["IMG_1.jpg"]
    assert left(board) == ["E01.jpg", "IMG_2.jpg"]


def test_what_was_there_when_a_stage_was_signed_stays(trainee, board, instructor):
    exercise = factories.make_exercise(stages=["formed", "soldered"])
    board = make_board(board.person, exercise=exercise)
    several.make_criteria()
    add(board, trainee)
    reading = several.begin(board, instructor)
    several.judge(reading, stages=["formed"])
    several.sign(reading, stages=["formed"])
    later = photos.add_photo(
        board=board,
        file=BytesIO(pictures.jpeg(200, 64)),
        name="late.jpg",
        actor=trainee,
        at=LATER,
        sending=SENDING,
    )
    assert photo_use.gone_by(board, board.photos.all()) == set(
        board.photos.exclude(pk=later.pk).values_list("pk", flat=True)
    )
    back = take_back(board, trainee)
    assert [photo.original_name for photo in back.photos] == ["late.jpg"]


def test_of_a_signed_board_nothing_is_taken_back(board, trainee, instructor):
    several.make_criteria()
    add(board, trainee)
    reading = several.begin(board, instructor)
    several.judge(reading)
    several.sign(reading)
    with pytest.raises(PhotoTakenBack, match="signed, so its photographs stay"):
        take_back(board, trainee)


def test_what_was_taken_back_is_neither_judged_by_nor_measured_nor_moved(
    board, trainee, instructor
):
    """A page that was shown before goes on offering it."""
    several.make_criteria()
    photo = add(board, trainee, joint=board.joints.first())
    take_back(board, trainee)
    with pytest.raises(PhotoTakenBack, match=r"IMG_0\.jpg was taken back"):
        judge_by(board, instructor, photo)
    with pytest.raises(PhotoTakenBack):
        not_told_by(board, instructor, photo)
    with pytest.raises(PhotoTakenBack):
        photos.place_photo(photo=photo, joint=None, stage="", note="", actor=instructor, at=LATER)
    with pytest.raises(PhotoTakenBack):
        measuring.keep_measurement(
            photo=photo,
            quantity="wrap",
            marks=wrap(225).marks,
            options=measuring.options_for(joint=photo.joint, criterion=None),
            mark_uncertainty_px=None,
            actor=instructor,
            at=LATER,
            joint=photo.joint,
        )
    assert not photos.move_photo(photo=photo, earlier=True, actor=instructor, at=LATER)
    assert not Judgement.objects.exists()


def not_told_by(board, grader, photo):
    judgements.say_cannot_tell(
        boards=type(board).objects.all(),
        number=board.number,
        grader=grader,
        place=judgements.NamedPlace("soldered", "E01", "S-1"),
        asks="photo",
        photo=photo,
        note="",
        at=LATER,
    )


def test_the_database_refuses_to_bring_one_back(board, trainee):
    photo = add(board, trainee)
    take_back(board, trainee)
    with pytest.raises(DatabaseError, match="keeps its original"), transaction.atomic():
        Photo.every.filter(pk=photo.pk).update(taken_back_at=None)
    other = add(board, trainee, 1, sending=ANOTHER)
    with pytest.raises(DatabaseError, match="keeps its original"), transaction.atomic():
        Photo.objects.filter(pk=other.pk).update(sending=SENDING)


def test_what_was_taken_back_counts_for_the_day(board, trainee, settings):
    settings.PHOTOS_A_PERSON_A_DAY = 1
    add(board, trainee)
    take_back(board, trainee)
    with pytest.raises(TakesNoPhotograph, match="as many as one person may"):
        add(board, trainee, 1, sending=ANOTHER)


# Two at once


@pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only")
@pytest.mark.parametrize("first", ["taking back", "judging"])
def test_whoever_comes_second_sees_what_the_first_did(board, trainee, instructor, first):
    several.make_criteria()
    photo = add(board, trainee)
    reading = grading.start_grading(board=board, grader=instructor, at=NOW)

    def judge():
        return judgements.judge(
            grading=reading,
            criterion=Criterion.objects.get(code="S-1"),
            joint=board.joints.first(),
            outcome="accept",
            seen=Circumstances(how=FROM_PHOTO, photo=photo),
            at=LATER,
        )

    acts = [lambda: take_back(board, trainee), judge]
    if first == "judging":
        acts.reverse()
    answer = together.wait_behind(*acts)
    if first == "judging":
        assert [one.pk for one in answer.stay] == [photo.pk]
        assert Judgement.objects.get().photo == photo
    else:
        assert isinstance(answer, PhotoTakenBack)
        assert not Judgement.objects.exists()


@pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only")
def test_one_on_its_way_while_the_rest_is_taken_back_does_not_come_in(board, trainee, files):
    add(board, trainee)
    answer = together.wait_behind(lambda: take_back(board, trainee), lambda: add(board, trainee, 1))
    assert isinstance(answer, TakesNoPhotograph)
    assert left(board) == []
    assert len(list((files / "originals").rglob("*.bin"))) == 1


def test_of_two_who_take_back_at_once_one_does(board, trainee):
    add(board, trainee)
    answers = together.at_once(*[lambda: take_back(board, trainee)] * 2)
    assert sum(isinstance(answer, AssessmentError) for answer in answers) == 1
    assert TrailEntry.objects.filter(act="photograph taken back").count() == 1


# The page


def post(client, board, sending=SENDING, **headers):
    address = reverse("assessments:board_photos_take_back", args=[board.number])
    return client.post(address, {"sending": sending}, headers=headers)


def page_of(client, board) -> str:
    return client.get(reverse("assessments:board_detail", args=[board.number])).content.decode()


def test_the_page_says_what_was_sent_and_takes_it_back(client, board, trainee):
    client.force_login(trainee)
    joints = list(board.joints.all())
    for number in range(4):
        add(board, trainee, number, joint=joints[number // 2])
    page = page_of(client, board)
    assert "4 photographs sent, 2 to each of 2 joints" in page
    assert "Take back what was sent" in page
    answer = post(client, board)
    assert answer.status_code == 302
    page = page_of(client, board)
    assert "4 photographs are taken back." in page
    assert "photographs sent" not in page
    assert not board.photos.exists()
    assert "Nothing is left to take back" in client.get(post(client, board).url).content.decode()


def test_the_script_is_told_which_came_back_and_which_stay(client, board, trainee, instructor):
    client.force_login(trainee)
    joint = board.joints.first()
    stays, goes = (add(board, trainee, number, joint=joint) for number in (0, 1))
    judged(board, instructor, stays)
    answer = post(client, board, accept="application/json")
    assert answer.json() == {
        "says": "1 photograph is taken back. IMG_0.jpg stays: somebody has judged or measured"
        " by it.",
        "photos": [goes.key],
    }
    assert client.get(reverse("assessments:photo_detail", args=[goes.key])).status_code == 404
    assert post(client, board, ANOTHER, accept="application/json").status_code == 422


def test_who_no_longer_teaches_there_takes_nothing_back(client, board, instructor):
    add(board, instructor)
    client.force_login(instructor)
    SiteRole.objects.filter(user=instructor).delete()
    assert post(client, board).status_code == 404
    assert left(board) == ["IMG_0.jpg"]


def test_others_see_no_line_about_what_somebody_sent(client, board, trainee, instructor):
    add(board, trainee)
    client.force_login(instructor)
    assert "photograph sent" not in page_of(client, board)


def test_without_a_script_a_form_s_photographs_come_back_together(client, board, trainee):
    client.force_login(trainee)
    sending = page_of(client, board).split('name="sending" value="')[1][:32]
    files = [BytesIO(pictures.jpeg(96 + number, 64)) for number in range(2)]
    for number, file in enumerate(files):
        file.name = f"E0{number + 1}.jpg"
    address = reverse("assessments:board_photos_add", args=[board.number])
    assert client.post(address, {"photos": files, "sending": sending}).status_code == 200
    assert "2 photographs sent, 1 to each of 2 joints" in page_of(client, board)
    post(client, board, sending)
    assert not board.photos.exists()


@pytest.mark.parametrize("sending", ["x" * 32, "0" * 31, "0" * 33, "'; DROP"])
def test_a_sending_by_another_name_is_refused_in_words(client, board, trainee, sending):
    client.force_login(trainee)
    file = BytesIO(pictures.jpeg())
    file.name = "E01.jpg"
    address = reverse("assessments:board_photos_add", args=[board.number])
    answer = client.post(
        address, {"photos": file, "sending": sending}, headers={"accept": "application/json"}
    )
    assert answer.json()["photos"][0]["says"].startswith("Open the board anew")
    assert not board.photos.exists()
