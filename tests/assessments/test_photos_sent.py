"""Sending photographs from the board's page: many at once, each answered by its name."""

import re

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from tests.assessments import pictures
from tests.factories import make_board, make_site, make_user

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("files")]


def sent(name, data):
    return SimpleUploadedFile(name, data)


def send(client, board, *files, as_json=False, **fields):
    return client.post(
        reverse("assessments:board_photos_add", args=[board.number]),
        {"photos": list(files), **fields},
        headers={"Accept": "application/json"} if as_json else {},
    )


@pytest.fixture
def board():
    return make_board()


@pytest.fixture
def instructor(client):
    user = make_user("instructor")
    client.force_login(user)
    return user


@pytest.mark.usefixtures("instructor")
def test_one_bad_file_stops_no_other_and_each_is_answered_by_name(client, board):
    response = send(
        client,
        board,
        sent("E02_1.jpg", pictures.jpeg()),
        sent("notes.jpg", b"<html>"),
        sent("empty.png", b""),
        sent("IMG_7.png", pictures.png()),
        sent("again.jpg", pictures.jpeg()),
    )
    assert response.status_code == 200
    told = response.content.decode()
    for sentence in (
        "E02_1.jpg is added, at joint E02.",
        "notes.jpg is a web page",
        "empty.png is empty",
        "IMG_7.png is added, with the whole board.",
        "again.jpg is here already, at joint E02",
    ):
        assert sentence in told
    kept = {photo.original_name: str(photo.joint or "") for photo in board.photos.all()}
    assert kept == {"E02_1.jpg": "E02", "IMG_7.png": ""}


@pytest.mark.usefixtures("instructor")
def test_sending_the_same_again_adds_nothing(client, board):
    send(client, board, sent("E02_1.jpg", pictures.jpeg()))
    response = send(client, board, sent("E02_1.jpg", pictures.jpeg()))
    assert response.status_code == 422
    assert board.photos.count() == 1


@pytest.mark.usefixtures("instructor")
def test_a_chosen_joint_and_stage_go_before_the_file_name(client, board):
    joint = board.joints.get(position__name="E03")
    send(client, board, sent("E02.jpg", pictures.jpeg()), joint=joint.pk, stage="soldered")
    photo = board.photos.get()
    assert (photo.joint, photo.stage) == (joint, "soldered")


@pytest.mark.usefixtures("instructor")
def test_the_whole_board_can_be_chosen_against_the_file_name(client, board):
    send(client, board, sent("E02.jpg", pictures.jpeg()), joint="board")
    assert board.photos.get().joint is None


@pytest.mark.usefixtures("instructor")
def test_a_tapped_joint_is_chosen_in_the_form_where_no_script_opens_the_camera(client, board):
    joint = board.joints.get(position__name="E03")
    address = reverse("assessments:board_detail", args=[board.number])
    page = client.get(address).content.decode()
    assert f'href="?joint={joint.pk}#add-photographs"' in page
    assert "multiple" in page
    page = client.get(address, {"joint": joint.pk}).content.decode()
    assert re.search(rf'<option value="{joint.pk}"\s+selected>', page)
    assert client.get(address, {"joint": "nonsense"}).status_code == 200


@pytest.mark.usefixtures("instructor")
def test_nothing_chosen_is_said_in_words(client, board):
    response = send(client, board)
    assert response.status_code == 422
    assert "Choose at least one photograph." in response.content.decode()


@pytest.mark.usefixtures("instructor")
@pytest.mark.parametrize("field", [{"joint": "99999"}, {"stage": "burnt"}], ids=["joint", "stage"])
def test_a_joint_of_another_board_or_an_unknown_stage_is_refused(client, board, field):
    response = send(client, board, sent("E02.jpg", pictures.jpeg()), **field)
    assert response.status_code == 422
    assert not board.photos.exists()


@pytest.mark.usefixtures("instructor")
def test_the_pages_script_is_answered_in_json(client, board):
    good = send(client, board, sent("E02.jpg", pictures.jpeg()), as_json=True)
    assert good.status_code == 200
    assert good.json()["photos"] == [
        {
            "added": True,
            "state": "added",
            "name": "E02.jpg",
            "says": "E02.jpg is added, at joint E02.",
            "key": board.photos.get().key,
        }
    ]
    bad = send(client, board, sent("E03.jpg", b""), as_json=True)
    assert bad.status_code == 422
    assert bad.json()["photos"][0]["says"].startswith("E03.jpg is empty")
    none = send(client, board, as_json=True)
    assert none.status_code == 422
    assert none.json()["photos"][0]["added"] is False


def test_an_operator_adds_photographs_to_their_own_board(client):
    user = make_user()
    client.force_login(user)
    board = make_board(user.person)
    assert send(client, board, sent("E01.jpg", pictures.jpeg())).status_code == 200
    assert board.photos.get().added_by == user


@pytest.mark.parametrize("role", ["operator", "line_lead", "quality", "administrator"])
def test_nobody_else_adds_photographs(client, board, role):
    client.force_login(make_user(role))
    assert send(client, board, sent("E01.jpg", pictures.jpeg())).status_code == 404
    assert not board.photos.exists()


def test_an_instructor_of_another_site_adds_none(client, board):
    client.force_login(make_user("instructor", site=make_site("Aldergate", "AL")))
    assert send(client, board, sent("E01.jpg", pictures.jpeg())).status_code == 404


def test_sending_needs_a_sign_in_and_a_post(client, board):
    assert send(client, board, sent("E01.jpg", pictures.jpeg())).status_code == 302
    client.force_login(make_user("instructor"))
    address = reverse("assessments:board_photos_add", args=[board.number])
    assert client.get(address).status_code == 405
    assert not board.photos.exists()
