"""Where photographs will go is told before they are sent, and is where they go when they are."""

import hashlib
import json
import re

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from PIL import Image
from PIL.ExifTags import IFD

from assessments import imaging
from assessments.models import Photo
from tests.assessments import pictures
from tests.factories import make_board, make_exercise, make_user
from training.models import JointType

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("files")]


def taken(at: str, grey: int = 0, fraction: str = "", **options) -> bytes:
    exif = Image.Exif()
    camera = exif.get_ifd(IFD.Exif)
    camera[0x9003] = at
    if fraction:
        camera[0x9291] = fraction
    picture = Image.new("L", (20, 20), grey)
    return pictures.encoded(picture, options.pop("form", "JPEG"), exif=exif.tobytes(), **options)


@pytest.fixture
def board():
    return make_board(exercise=make_exercise((JointType.TURRET,) * 6))


@pytest.fixture(autouse=True)
def instructor(client):
    user = make_user("instructor")
    client.force_login(user)
    return user


def foresee(client, board, *files, hashed=True, **fields):
    data = {
        "head": [
            SimpleUploadedFile(name, data[: imaging.EXIF_WITHIN_BYTES]) for name, data in files
        ],
        "bytes": [len(data) for _name, data in files],
        "sha256": [hashlib.sha256(data).hexdigest() if hashed else "" for _name, data in files],
        **fields,
    }
    address = reverse("assessments:board_photos_foresee", args=[board.number])
    return client.post(address, data)


def told(client, board, *files, **fields) -> list[tuple[str, str]]:
    joints = {one.pk: str(one) for one in board.joints.select_related("position")} | {None: ""}
    answer = foresee(client, board, *files, **fields)
    assert answer.status_code == 200
    return [(one["state"], joints[one["joint"]]) for one in answer.json()["photos"]]


def send(client, board, *files, **fields):
    address = reverse("assessments:board_photos_add", args=[board.number])
    sent = [SimpleUploadedFile(name, data) for name, data in files]
    return client.post(address, {"photos": sent, **fields})


DROP = (
    ("IMG_0010.jpg", taken("2026:03:05 14:00:30", 10)),
    ("IMG_0009.jpg", taken("2026:03:05 14:00:20", 20)),
    ("late E02.jpg", taken("2026:03:05 14:00:40", 30)),
    ("no clock.png", pictures.png()),
    ("joint 3.jpg", taken("2026:03:05 14:00:10", 40)),
)


@pytest.mark.parametrize(
    ("fields", "places"),
    [
        ({}, ["", "", "E02", "", "E03"]),
        ({"joint": "by-name"}, ["", "", "E02", "", "E03"]),
        ({"joint": "board"}, ["", "", "", "", ""]),
        ({"joint": "in-order-taken"}, ["E03", "E02", "E04", "E05", "E01"]),
        ({"joint": "in-order-taken", "each": 2}, ["E02", "E01", "E02", "E03", "E01"]),
        ({"joint": "in-order-of-names"}, ["E02", "E01", "E04", "E05", "E03"]),
        ({"joint": "in-order-of-names", "each": 5}, ["E01"] * 5),
    ],
)
def test_photographs_go_where_it_was_foreseen(client, board, fields, places):
    assert [str(one) for one in board.joints.all()][:5] == ["E01", "E02", "E03", "E04", "E05"]
    assert told(client, board, *DROP, **fields) == [("goes", place) for place in places]
    assert not board.photos.exists()
    send(client, board, *DROP, **fields)
    kept = {one.original_name: str(one.joint or "") for one in board.photos.all()}
    assert kept == dict(zip([name for name, _data in DROP], places, strict=True))


def test_a_later_drop_begins_at_a_later_joint_and_what_is_over_goes_with_the_board(client, board):
    joints = list(board.joints.select_related("position"))
    last = joints[-2]
    fields = {"joint": "in-order-of-names", "first": last.pk}
    found = [place for _state, place in told(client, board, *DROP, **fields)]
    assert sorted(found) == ["", "", "", str(last), str(joints[-1])]
    send(client, board, *DROP, **fields)
    assert board.photos.filter(joint=None).count() == 3


def test_what_is_here_is_said_with_where_and_the_rest_of_a_broken_drop_keeps_its_places(
    client, board
):
    fields = {"joint": "in-order-taken"}
    send(client, board, DROP[4], DROP[1], **fields)
    assert told(client, board, *DROP, **fields) == [
        ("goes", "E03"),
        ("here", "E02"),
        ("goes", "E04"),
        ("goes", "E05"),
        ("here", "E01"),
    ]
    says = foresee(client, board, *DROP, **fields).json()["photos"][1]["says"]
    assert says == (
        "IMG_0009.jpg is here already, at joint E02 as IMG_0009.jpg, so it was not added again."
    )
    send(client, board, *DROP, **fields)
    assert board.photos.count() == 5
    assert {one.original_name: str(one.joint) for one in board.photos.all()}[
        "late E02.jpg"
    ] == "E04"


def test_a_bad_file_and_a_copy_are_told_and_take_no_place_in_the_order(client, board):
    files = (
        ("a.jpg", DROP[0][1]),
        ("b.jpg", b"<html>"),
        ("c.jpg", DROP[0][1]),
        ("d.jpg", b""),
        ("e.jpg", DROP[1][1]),
    )
    fields = {"joint": "in-order-of-names"}
    states = [("goes", "E01"), ("refused", ""), ("same", ""), ("refused", ""), ("goes", "E02")]
    assert told(client, board, *files, **fields) == states
    says = [one["says"] for one in foresee(client, board, *files, **fields).json()["photos"]]
    assert says[1].startswith("b.jpg is a web page")
    assert says[2] == "c.jpg is the same file as a.jpg, so it is sent once."
    assert says[3].startswith("d.jpg is empty")
    page = send(client, board, *files, **fields).content.decode()
    assert [str(one.joint) for one in board.photos.order_by("order")] == ["E01", "E02"]
    assert "c.jpg is here already, at joint E01 as a.jpg" in page


def test_what_names_say_and_both_orders_are_told_whatever_is_chosen(client, board):
    """By these a browser deals anew as is typed, without asking again."""
    joints = {str(one): one.pk for one in board.joints.select_related("position")}
    answer = foresee(client, board, *DROP, joint="board").json()
    named = [one["named"] for one in answer["photos"]]
    assert named == [None, None, joints["E02"], None, joints["E03"]]
    names = [name for name, _data in DROP]
    by_clock, by_names = (
        [names[at] for at in answer["orders"][how]["places"]]
        for how in ("in-order-taken", "in-order-of-names")
    )
    assert by_clock == [names[at] for at in (4, 1, 0, 2, 3)]
    assert by_names == [names[at] for at in (1, 0, 4, 2, 3)]
    assert answer["orders"]["in-order-of-names"]["says"] == ""


CLOCK_FIRST = taken("2026:03:05 14:00:10", 1)
CLOCK_NEXT = taken("2026:03:05 14:00:20", 2)


@pytest.mark.parametrize(
    ("files", "says"),
    [
        ((("IMG_1.jpg", CLOCK_FIRST), ("IMG_2.jpg", CLOCK_NEXT)), ""),
        (
            (("IMG_1.jpg", CLOCK_NEXT), ("IMG_2.jpg", CLOCK_FIRST)),
            "By the clock IMG_2.jpg comes before IMG_1.jpg, by their names after it: look whether"
            " the order is right.",
        ),
        (
            (("IMG_1.jpg", CLOCK_FIRST), ("IMG_0.png", pictures.png())),
            "IMG_0.png does not say when it was taken, so it comes last.",
        ),
        (
            (("IMG_1.jpg", pictures.jpeg()), ("IMG_2.png", pictures.png())),
            "No file says when it was taken, so they stand in the order of their names.",
        ),
        ((("IMG_1.jpg", taken("2026:03:05 14:00:10", 3)), ("IMG_0.jpg", CLOCK_FIRST)), ""),
    ],
    ids=["agree", "disagree", "one silent", "all silent", "one instant"],
)
def test_where_the_clock_and_the_names_disagree_it_is_said(client, board, files, says):
    answer = foresee(client, board, *files).json()
    assert answer["orders"]["in-order-taken"]["says"] == says


def test_those_of_one_joint_stand_in_the_order_of_their_names_however_they_are_sent(client, board):
    names = ["E01_10.jpg", "E01-2.jpg", "e1 (1).jpg", "E02_2.jpg", "E02_1.jpg"]
    send(client, board, *((name, taken("", grey)) for grey, name in enumerate(names)))
    stand = [one.original_name for one in board.photos.order_by("joint__position__order", "order")]
    assert stand == ["e1 (1).jpg", "E01-2.jpg", "E01_10.jpg", "E02_1.jpg", "E02_2.jpg"]


def test_a_browser_that_cannot_hash_is_answered_all_the_same(client, board):
    send(client, board, DROP[0])
    assert told(client, board, DROP[0], hashed=False) == [("goes", "")]


def test_too_many_bytes_are_told_before_they_are_sent(client, board):
    data = {"head": [SimpleUploadedFile("E01.jpg", pictures.jpeg())], "bytes": [50_000_000]}
    address = reverse("assessments:board_photos_foresee", args=[board.number])
    answer = client.post(address, data | {"sha256": [""]}).json()["photos"][0]
    assert answer["state"] == "refused"
    assert re.match(r"E01\.jpg has .*, and at most 40.0.MB can be taken in", answer["says"])


@pytest.mark.parametrize(
    "wrong",
    [
        {"bytes": []},
        {"bytes": ["many"]},
        {"bytes": ["-1"]},
        {"bytes": ["9" * 30]},
        {"sha256": []},
        {"joint": "99999"},
        {"joint": "together"},
        {"joint": "in-order-taken", "each": 0},
        {"joint": "in-order-taken", "first": "99999"},
    ],
    ids=json.dumps,
)
def test_what_does_not_fit_is_refused_in_words(client, board, wrong):
    answer = foresee(client, board, DROP[0], **wrong)
    assert answer.status_code == 422
    assert answer.json()["says"].endswith(".")


def test_the_beginning_of_a_file_says_when_it_was_taken():
    cases = {
        "2026:03:05 14:00:30": taken("2026:03:05 14:00:30"),
        "2026:03:05 14:00:30.25": taken("2026:03:05 14:00:30", fraction="25"),
        "2026:03:05 14:00:31": taken("2026:03:05 14:00:31", form="PNG"),
        "2026:03:05 14:00:32": taken("2026:03:05 14:00:32", form="WEBP"),
    }
    assert {said: imaging.taken_at(data) for said, data in cases.items()} == {
        said: said for said in cases
    }


@pytest.mark.parametrize(
    "data",
    [
        b"",
        pictures.jpeg(),
        pictures.jpeg(exif=pictures.exif(orientation=6)),
        taken("    :  :     :  :  "),
        taken("0000:00:00 00:00:00"),
        taken("yesterday"),
        b"Exif\0\0II*\0",
        b"Exif\0\0MM\0*" + b"\xff" * 40,
        taken("2026:03:05 14:00:30")[:60],
    ],
)
def test_what_says_no_time_or_is_broken_has_none(data):
    assert imaging.taken_at(data) == ""


def test_the_limits_stand_on_the_page_before_anything_is_sent(client, board):
    page = client.get(reverse("assessments:board_detail", args=[board.number])).content.decode()
    for limit in ("JPEG, PNG, WebP or HEIC", "stills only", "40.0", "80 million", "at most 200"):
        assert limit in page


def test_nobody_else_is_told_anything(client, board):
    client.force_login(make_user("quality"))
    assert foresee(client, board, DROP[0]).status_code == 404
    client.logout()
    assert foresee(client, board, DROP[0]).status_code == 302
    assert not Photo.objects.exists()
