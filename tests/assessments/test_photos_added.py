"""Adding photographs: kept as they came, described truly, never half stored."""

import hashlib
from io import BytesIO

import pytest
from django.core.files.storage import default_storage
from django.db import IntegrityError
from django.test import override_settings

from assessments.exceptions import NotAPhotograph, PhotoAlreadyThere
from assessments.models import Photo
from assessments.services import photos
from records.models import TrailEntry
from records.queries.verification import verify_records
from tests.assessments import pictures
from tests.factories import NOW, make_board, make_user, write_down

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("files")]


def stored(files) -> list:
    return [path for path in files.rglob("*") if path.is_file()]


def add(board, data, name="E01_1.jpg", **fields):
    fields.setdefault("actor", make_user("instructor"))
    return photos.add_photo(board=board, file=BytesIO(data), name=name, at=NOW, **fields)


def test_the_original_is_kept_byte_for_byte_under_a_name_that_says_nothing(files):
    data = pictures.jpeg(exif=pictures.exif(orientation=6, located=True))
    photo = add(make_board(), data)
    [path] = stored(files)
    assert path.read_bytes() == data
    assert photo.sha256 == hashlib.sha256(data).hexdigest()
    assert (photo.original_name, photo.media_type) == ("E01_1.jpg", "image/jpeg")
    assert photo.size_bytes == len(data)
    assert "E01" not in str(path)
    assert path.suffix == ".bin"


def test_the_upright_size_is_stored():
    data = pictures.jpeg(96, 64, exif=pictures.exif(orientation=6))
    photo = add(make_board(), data)
    assert (photo.upright_width, photo.upright_height) == (64, 96)


def test_joint_stage_and_order_are_kept_and_written_in_the_trail():
    board = make_board()
    joint = board.joints.first()
    first = add(board, pictures.jpeg(), joint=joint, stage="soldered")
    second = add(board, pictures.png(), "E01_2.png", joint=joint)
    assert (first.joint, first.stage, first.recorded_at) == (joint, "soldered", NOW)
    assert first.order < second.order
    entry = TrailEntry.objects.get(about_type="photograph", about_id=str(first.pk))
    assert entry.act == "photograph added"
    assert first.sha256 in entry.payload.body


@pytest.mark.parametrize(
    "data", [b"", b"<html>", pictures.jpeg()[:200]], ids=["empty", "html", "cut"]
)
def test_what_is_no_photograph_leaves_nothing_behind(files, data):
    board = make_board()
    with pytest.raises(NotAPhotograph, match=r"E01_1\.jpg"):
        add(board, data)
    assert not stored(files)
    assert not Photo.objects.exists()
    assert not TrailEntry.objects.filter(act="photograph added").exists()


def test_a_file_leaves_the_storage_again_if_its_trail_entry_cannot_be_written(files, monkeypatch):
    board = make_board()

    def no_trail(**_fields):
        raise RuntimeError("the trail is closed")

    monkeypatch.setattr(photos.trail, "record", no_trail)
    with pytest.raises(RuntimeError):
        add(board, pictures.jpeg())
    assert not stored(files)
    assert not Photo.objects.exists()


def test_the_same_file_on_the_same_board_is_recognised_whatever_its_name(files):
    board = make_board()
    add(board, pictures.jpeg(), joint=board.joints.first())
    with pytest.raises(PhotoAlreadyThere, match=r"copy\.jpg is here already, at joint E01"):
        add(board, pictures.jpeg(), "copy.jpg")
    assert len(stored(files)) == 1
    assert board.photos.count() == 1


def test_the_same_file_on_another_board_is_another_photograph(files):
    add(make_board(), pictures.jpeg())
    add(make_board(), pictures.jpeg())
    assert len(stored(files)) == 2


def test_of_two_at_the_same_instant_one_is_recognised_and_its_file_removed(files, monkeypatch):
    board = make_board()
    look = photos._refuse_if_there
    looks = []

    def first_look_finds_nothing(*args):
        looks.append(args)
        if len(looks) > 1:
            look(*args)

    add(board, pictures.jpeg())
    monkeypatch.setattr(photos, "_refuse_if_there", first_look_finds_nothing)
    with pytest.raises(PhotoAlreadyThere):
        add(board, pictures.jpeg())
    assert len(looks) == 2
    assert len(stored(files)) == 1


def test_another_clash_in_the_database_is_not_hidden(files, monkeypatch):
    def clash(*_args):
        raise IntegrityError("something else")

    monkeypatch.setattr(photos, "_write", clash)
    with pytest.raises(IntegrityError, match="something else"):
        add(make_board(), pictures.jpeg())
    assert not stored(files)


def test_a_limit_of_the_installation_holds():
    with (
        override_settings(PHOTO_MAX_BYTES=100),
        pytest.raises(NotAPhotograph, match="can be taken in"),
    ):
        add(make_board(), pictures.jpeg())


@pytest.mark.parametrize(
    ("given", "kept"),
    [
        ("E07.jpg", "E07.jpg"),
        ("C:\\photos\\E07.jpg", "E07.jpg"),
        ("../../etc/E07.jpg", "E07.jpg"),
        ("E0\x007\r\n.jpg", "E07.jpg"),
        ("gpj.\u202egnp.exe", "gpj.gnp.exe"),
        ("  ", "photograph"),
        ("x" * 300 + ".jpeg", "x" * 195 + ".jpeg"),
    ],
)
def test_a_file_name_is_made_harmless(given, kept):
    assert photos.plain_name(given) == kept


def test_verification_of_the_records_finds_an_original_that_was_changed_or_is_gone(files):
    board = make_board()
    add(board, pictures.jpeg())
    gone = add(board, pictures.png(), "E02.png")
    write_down()
    report = verify_records()
    assert (report.files, report.faults) == (2, [])
    [first] = [path for path in stored(files) if gone.key not in str(path)]
    first.write_bytes(pictures.jpeg()[:-1] + b"\0")
    default_storage.delete(gone.original.name)
    said = [str(fault) for fault in verify_records().faults]
    assert len(said) == 2
    assert "was changed" in said[0]
    assert "cannot be read" in said[1]
