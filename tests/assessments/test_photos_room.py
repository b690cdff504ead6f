"""How many photographs a board and a person may add, and that a signed board takes no more."""

from datetime import UTC, datetime, timedelta
from io import BytesIO

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from assessments.exceptions import TakesNoPhotograph
from assessments.models import Photo
from assessments.services import boards, photos, reading_requests
from assessments.services import grading as gradings
from assessments.services import rework as reworking
from tests import factories
from tests.assessments import pictures
from tests.assessments.several import fresh, joint, judge, make_criteria, read, sign
from tests.factories import NOW
from training.models import Stage

LATER = NOW + timedelta(hours=2)

pytestmark = [
    pytest.mark.django_db,
    pytest.mark.usefixtures("files", "everybody_has_standing"),
]


@pytest.fixture
def instructor():
    make_criteria()
    return factories.make_user("instructor")


@pytest.fixture
def other():
    return factories.make_user("instructor")


@pytest.fixture
def board():
    exercise = factories.make_exercise(stages=(Stage.FORMED, Stage.SOLDERED), rework_allowed=1)
    return factories.make_board(exercise=exercise)


@pytest.fixture
def trainee(board):
    return factories.make_user(person=board.person)


_widths = iter(range(96, 1000))


def add(board, actor, at=NOW, **fields):
    """Add a photograph that is like no other."""
    return photos.add_photo(
        board=board,
        file=BytesIO(pictures.jpeg(next(_widths))),
        name="E01.jpg",
        actor=actor,
        at=at,
        **fields,
    )


# How many


def test_a_board_takes_as_many_as_a_board_may(board, instructor, trainee, settings, files):
    settings.PHOTOS_A_BOARD = 2
    add(board, trainee)
    add(board, instructor)
    with pytest.raises(TakesNoPhotograph, match=f"{board.number} holds 2 photographs"):
        add(board, instructor)
    assert board.photos.count() == 2
    assert len(list((files / "originals").rglob("*.bin"))) == 2
    add(factories.make_board(), instructor)


def test_a_person_adds_as_many_a_day_as_one_may_whatever_the_board(board, instructor, settings):
    settings.PHOTOS_A_PERSON_A_DAY = 2
    add(board, instructor)
    add(factories.make_board(), instructor)
    with pytest.raises(TakesNoPhotograph, match="You have added 2 photographs today"):
        add(board, instructor)
    add(board, factories.make_user("instructor"))


@pytest.mark.parametrize(
    ("zone", "first", "second", "is_same_day"),
    [
        ("Europe/Madrid", "2026-03-28T22:59", "2026-03-28T23:00", False),
        ("Europe/Madrid", "2026-03-28T23:00", "2026-03-29T21:59", True),  # 23 hours long
        ("Europe/Madrid", "2026-03-28T23:00", "2026-03-29T22:00", False),
        ("Pacific/Auckland", "2026-03-28T23:00", "2026-03-29T10:59", True),
        ("Pacific/Auckland", "2026-03-28T10:59", "2026-03-28T11:00", False),
    ],
)
def test_the_day_is_the_one_at_the_persons_site(zone, first, second, is_same_day, settings, board):
    settings.PHOTOS_A_PERSON_A_DAY = 1
    site = factories.make_site("Elsewhere", "EL", time_zone=zone)
    away = factories.make_user("instructor", site=site)
    first, second = (datetime.fromisoformat(at).replace(tzinfo=UTC) for at in (first, second))
    add(board, away, at=first)
    if is_same_day:
        with pytest.raises(TakesNoPhotograph):
            add(board, away, at=second)
    else:
        add(board, away, at=second)
    assert Photo.objects.count() == (1 if is_same_day else 2)


def test_the_largest_honest_board_fits_into_what_is_allowed_by_default(settings):
    joints, stages, a_joint, makes = 40, 4, 4, 1.5
    assert joints * stages * a_joint * makes <= settings.PHOTOS_A_BOARD
    assert 12 * joints * stages <= settings.PHOTOS_A_PERSON_A_DAY  # a class of twelve


# Once every stage is signed


def test_a_board_takes_photographs_until_its_last_stage_is_signed(board, instructor, trainee):
    read(board, instructor, stages=[Stage.FORMED])
    add(board, trainee)
    read(board, instructor, stages=[Stage.SOLDERED])
    for actor in (trainee, instructor):
        with pytest.raises(TakesNoPhotograph) as refusal:
            add(board, actor)
        assert str(refusal.value).startswith(f"Every stage of {board.number} is signed")
        assert "begins a correction first" in str(refusal.value)
    assert board.photos.count() == 1


def test_a_refused_photograph_is_not_even_looked_at(board, instructor, monkeypatch):
    read(board, instructor)
    monkeypatch.setattr("assessments.imaging.inspect", lambda *_a, **_k: pytest.fail("looked at"))
    with pytest.raises(TakesNoPhotograph):
        add(board, instructor)


def test_rework_opens_it_until_it_is_inspected(board, instructor, trainee):
    read(board, instructor, ("E02", "S-1"))
    reworking.send_back(
        board=board, joint=joint(board, "E02"), codes=["S-1"], actor=instructor, at=LATER
    )
    add(board, trainee, joint=joint(board, "E02", make=2))
    boards.hand_in(board=fresh(board), actor=trainee, at=LATER)
    add(board, instructor)
    read(board, instructor, at=LATER)
    with pytest.raises(TakesNoPhotograph):
        add(board, trainee)


def test_another_reading_opens_it_until_that_is_signed(board, instructor, other, trainee):
    read(board, instructor)
    reading_requests.ask_for_another_reading(
        board=fresh(board), trainee=trainee, reason="E02 is wetted all round.", at=LATER
    )
    add(board, other)
    read(board, other, stages=[Stage.FORMED], at=LATER)
    add(board, trainee)
    read(board, other, stages=[Stage.SOLDERED], at=LATER)
    with pytest.raises(TakesNoPhotograph):
        add(board, other)


def test_a_correction_opens_it_until_that_is_signed(board, instructor):
    grading = read(board, instructor)
    corrected = gradings.correct_grading(
        grading=grading, grader=instructor, reason="The lamp stood wrong.", at=LATER
    )
    add(board, instructor)
    judge(corrected, at=LATER)
    sign(corrected, at=LATER)
    with pytest.raises(TakesNoPhotograph):
        add(board, instructor)


def test_of_two_graders_both_have_signed_before_it_is_closed(instructor, other):
    exercise = factories.make_exercise(stages=(Stage.SOLDERED,), graders=2)
    board = factories.make_board(exercise=exercise)
    third = factories.make_user("instructor")
    read(board, instructor, ("E01", "S-1"))
    add(board, other)
    read(board, other)
    add(board, third)  # They differ, and a third person decides.


# What the pages offer


def post(client, board, *, as_json=False):
    sent = SimpleUploadedFile("E01.jpg", pictures.jpeg(next(_widths)), "image/jpeg")
    return client.post(
        reverse("assessments:board_photos_add", args=[board.number]),
        {"photos": sent, "joint": "board"},
        headers={"accept": "application/json"} if as_json else {},
    )


def test_page_of_a_signed_board_says_why_it_offers_no_form(client, board, instructor):
    client.force_login(instructor)
    page = reverse("assessments:board_detail", args=[board.number])
    assert b'id="add-photographs"' in client.get(page).content
    read(board, instructor)
    shown = client.get(page).content.decode()
    assert 'id="add-photographs"' not in shown
    assert 'href="#add-photographs"' not in shown
    assert f"Every stage of {board.number} is signed, so it takes no more photographs" in shown


def test_page_shown_before_the_signature_is_answered_in_a_sentence(client, board, instructor):
    client.force_login(instructor)
    read(board, instructor)
    answered = post(client, board, as_json=True)
    assert answered.status_code == 422
    assert answered.json()["photos"][0]["state"] == "refused"
    assert "takes no more photographs" in answered.json()["photos"][0]["says"]
    without_script = post(client, board)
    assert without_script.status_code == 422
    assert b"takes no more photographs" in without_script.content
    foreseen = client.post(
        reverse("assessments:board_photos_foresee", args=[board.number]), {"joint": ""}
    )
    assert foreseen.status_code == 422
    assert "takes no more photographs" in foreseen.json()["says"]
    assert not Photo.objects.exists()


def test_class_day_offers_no_camera_for_a_signed_board(client, instructor):
    exercise = factories.make_exercise()
    session = factories.make_session(instructor=instructor)
    today, made = session.site.today(), []
    for _ in range(2):
        person = factories.make_person()
        session.enrolments.create(person=person)
        made.append(factories.make_board(person, exercise, session=session, handed_out_on=today))
    read(made[0], instructor)
    client.force_login(instructor)
    page = reverse("assessments:class_day", args=[session.number])
    shown = client.get(page).content.decode()
    assert f'data-board="{made[1].number}"' in shown
    assert made[0].number in shown
    assert f'data-board="{made[0].number}"' not in shown


def test_a_site_that_decodes_enough_asks_for_it_again(client, board, instructor, monkeypatch):
    from assessments.imaging import apart

    monkeypatch.setattr("assessments.imaging.LARGE_FROM_BYTES", 0)
    monkeypatch.setattr(apart, "_places", apart.BoundedSemaphore(1))
    assert apart._places.acquire(blocking=False)
    client.force_login(instructor)
    answered = post(client, board, as_json=True)
    assert (answered.status_code, answered.headers["Retry-After"]) == (503, "5")
    assert "Send this one again in a minute." in answered.json()["says"]
    without_script = post(client, board)
    assert without_script.status_code == 422
    assert b"Send this one again in a minute." in without_script.content
    apart._places.release()
    assert post(client, board, as_json=True).status_code == 200
