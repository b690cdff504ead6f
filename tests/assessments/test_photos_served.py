"""Photographs are shown to those who may see them, as pictures; originals as files alone."""

import hashlib
from io import BytesIO

import pytest
from django.urls import reverse
from PIL import Image

from assessments.presenters import grading_state
from assessments.services import photos
from records.models import TrailEntry
from tests.assessments import pictures
from tests.factories import NOW, make_board, make_site, make_user

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("files")]


@pytest.fixture
def owner():
    return make_user()


@pytest.fixture
def photo(owner):
    return photos.add_photo(
        board=make_board(owner.person),
        file=BytesIO(pictures.jpeg(exif=pictures.exif(orientation=6, located=True))),
        name='E01 "best".jpg',
        actor=owner,
        at=NOW,
    )


def shown(photo, size=160):
    return reverse("assessments:photo_rendition", args=[photo.key, size])


def original(photo):
    return reverse("assessments:photo_original", args=[photo.key])


def body(response) -> bytes:
    """All of an answer; reading a file to its end closes it."""
    return b"".join(response.streaming_content) if response.streaming else response.content


def status(response) -> int:
    body(response)
    return response.status_code


def elsewhere(role):
    return make_user(role, site=make_site("Aldergate", "AL", time_zone="Europe/London"))


MAY_SEE = {
    "owner": (lambda owner: owner, True),
    "instructor": (lambda owner: make_user("instructor"), True),
    "quality": (lambda owner: make_user("quality"), True),
    "another-operator": (lambda owner: make_user(), False),
    "line-lead": (lambda owner: make_user("line_lead"), False),
    "administrator": (lambda owner: make_user("administrator"), False),
    "instructor-elsewhere": (lambda owner: elsewhere("instructor"), False),
    "quality-elsewhere": (lambda owner: elsewhere("quality"), False),
}


@pytest.mark.parametrize(("who", "may"), MAY_SEE.values(), ids=MAY_SEE)
@pytest.mark.parametrize(
    "address",
    [shown, lambda photo: reverse("assessments:photo_detail", args=[photo.key])],
    ids=["rendition", "page"],
)
def test_a_photograph_is_seen_by_its_owner_and_by_instructors_and_quality_there(
    client, owner, photo, who, may, address
):
    client.force_login(who(owner))
    assert status(client.get(address(photo))) == (200 if may else 404)


@pytest.mark.parametrize(("who", "may"), MAY_SEE.values(), ids=MAY_SEE)
def test_an_original_is_for_instructors_and_quality_there(client, owner, photo, who, may):
    client.force_login(who(owner))
    may = may and who is not MAY_SEE["owner"][0]
    assert status(client.get(original(photo))) == (200 if may else 404)


@pytest.mark.parametrize("address", [shown, original], ids=["rendition", "original"])
def test_nothing_is_shown_without_a_sign_in(client, photo, address):
    response = client.get(address(photo))
    assert response.status_code == 302
    assert response.url.startswith(reverse("account_login"))


def test_an_unknown_photograph_and_an_unknown_size_answer_like_a_forbidden_one(
    client, owner, photo
):
    client.force_login(owner)
    assert client.get(shown(photo, 161)).status_code == 404
    assert (
        client.get(reverse("assessments:photo_rendition", args=["x" * 32, 160])).status_code == 404
    )


def test_a_smaller_size_goes_out_as_an_upright_jpeg_that_says_nothing_of_where(
    client, owner, photo
):
    client.force_login(owner)
    response = client.get(shown(photo, 2048))
    data = body(response)
    assert response["Content-Type"] == "image/jpeg"
    assert response["X-Content-Type-Options"] == "nosniff"
    assert response["Cache-Control"].startswith("private")
    assert response["Content-Disposition"] == (
        f'inline; filename="{photo.board.number}-{photo.pk}.jpg"'
    )
    assert data.startswith(b"\xff\xd8\xff")
    assert b"Exif" not in data


def test_a_browser_that_has_the_picture_is_told_so(client, owner, photo):
    client.force_login(owner)
    first = client.get(shown(photo))
    body(first)
    again = client.get(shown(photo), headers={"If-None-Match": first["ETag"]})
    assert again.status_code == 304
    client.force_login(make_user())
    other = client.get(shown(photo), headers={"If-None-Match": first["ETag"]})
    assert other.status_code == 404


def test_an_original_goes_out_unchanged_as_a_file_to_keep(client, photo):
    client.force_login(make_user("instructor"))
    response = client.get(original(photo))
    assert body(response) == pictures.jpeg(exif=pictures.exif(orientation=6, located=True))
    assert response["Content-Type"] == "application/octet-stream"
    assert response["Content-Disposition"].startswith("attachment; ")
    assert response["X-Content-Type-Options"] == "nosniff"
    assert "sandbox" in response["Content-Security-Policy"]


def test_an_original_that_is_gone_answers_404_and_is_logged(client, photo, files, caplog):
    (files / photo.original.name).unlink()
    client.force_login(make_user("instructor"))
    assert client.get(original(photo)).status_code == 404
    assert client.get(shown(photo)).status_code == 404
    assert f"photograph {photo.pk}" in caplog.text.lower()


@pytest.mark.parametrize("address", [shown, original], ids=["rendition", "original"])
def test_a_photograph_is_only_got(client, photo, address):
    client.force_login(make_user("instructor"))
    assert client.post(address(photo)).status_code == 405


def test_picture_that_was_filled_up_says_so_wherever_it_is_shown(client, owner):
    grader = make_user("instructor")
    board = make_board(owner.person)
    noise = Image.effect_noise((640, 480), 60).convert("RGB")
    whole = pictures.encoded(noise, "JPEG")
    cut = whole[: len(whole) // 2] + b"\xff\xd9"
    for data, name in ((whole, "whole.jpg"), (cut, "cut.jpg")):
        photos.add_photo(board=board, file=BytesIO(data), name=name, actor=owner, at=NOW)
    added = {photo.original_name: photo for photo in board.photos.all()}
    assert not added["whole.jpg"].is_incomplete
    assert added["cut.jpg"].is_incomplete
    assert '"is_incomplete":true' in TrailEntry.objects.last().payload.body.replace(" ", "")

    client.force_login(grader)
    for name, says in (("whole.jpg", False), ("cut.jpg", True)):
        page = client.get(reverse("assessments:photo_detail", args=[added[name].key]))
        assert ("A part of this file was lost" in page.content.decode()) is says
        assert bool(grading_state._photo(added[name])["incomplete"]) is says
    board_page = client.get(reverse("assessments:board_detail", args=[board.number]))
    assert board_page.content.decode().count("incomplete file") == 1


@pytest.mark.parametrize(("form", "name"), [("TIFF", "M1.tif"), ("BMP", "M1.bmp")])
def test_picture_of_a_microscope_is_kept_as_it_came(client, owner, form, name):
    data = pictures.encoded(pictures.quadrants(), form)
    kept = photos.add_photo(
        board=make_board(owner.person), file=BytesIO(data), name=name, actor=owner, at=NOW
    )
    assert kept.sha256 == hashlib.sha256(data).hexdigest()
    with kept.original.open("rb") as file:
        assert file.read() == data
    client.force_login(make_user("instructor"))
    assert body(client.get(original(kept))) == data
    photos.make_renditions(kept)
    answer = client.get(shown(kept))
    assert answer["Content-Type"] == "image/jpeg"
    assert pictures.stands_upright(body(answer))
