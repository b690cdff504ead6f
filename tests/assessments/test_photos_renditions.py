"""Smaller sizes: made by whoever comes first, made again at need, each once."""

from io import BytesIO

import pytest
from PIL import Image

from assessments import tasks
from assessments.models import Photo, Rendition
from assessments.services import photos
from tests.assessments import pictures
from tests.factories import NOW, make_board, make_user

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("files")]

SIZES = [160, 800, 2048]


def add(board=None, data=None, name="E01.jpg"):
    return photos.add_photo(
        board=board or make_board(),
        file=BytesIO(data or pictures.jpeg(1200, 800)),
        name=name,
        actor=make_user("instructor"),
        at=NOW,
    )


def test_a_worker_makes_every_size_once():
    photo = add()
    assert tasks.make_renditions(photo.pk) == 3
    assert tasks.make_renditions(photo.pk) == 0
    made = {one.size: (one.width, one.height) for one in photo.renditions.all()}
    assert made == {160: (160, 107), 800: (800, 533), 2048: (1200, 800)}


def test_a_message_about_an_unknown_photograph_is_nobodys_work():
    assert tasks.make_renditions(4711) == 0


def test_a_worker_is_woken_when_the_photograph_is_committed(
    monkeypatch, django_capture_on_commit_callbacks
):
    woken = []
    monkeypatch.setattr(photos, "wake_a_worker", woken.append)
    with django_capture_on_commit_callbacks(execute=True):
        photo = add()
        assert not woken
    assert woken == [photo.pk]


def test_a_broker_that_is_away_loses_no_photograph(
    monkeypatch, django_capture_on_commit_callbacks, caplog
):
    def away(*_args, **_options):
        raise ConnectionError("no broker")

    monkeypatch.setattr(photos.celery.current_app, "send_task", away)
    with django_capture_on_commit_callbacks(execute=True):
        photo = add()
    assert Photo.objects.filter(pk=photo.pk).exists()
    assert "no broker" in caplog.text
    assert tasks.make_missing_renditions() == 3


def test_the_sweep_makes_what_is_missing_and_passes_over_what_cannot_be_read(files, caplog):
    board = make_board()
    whole, partly, broken = (
        add(board, pictures.jpeg(200 + n, 100), f"E0{n}.jpg") for n in range(1, 4)
    )
    photos.make_renditions(whole)
    photos.open_rendition(partly, 160)[1].close()
    (files / broken.original.name).write_bytes(b"\xff\xd8\xff nothing more")
    assert tasks.make_missing_renditions() == 2
    assert sorted(partly.renditions.values_list("size", flat=True)) == SIZES
    assert not broken.renditions.exists()
    assert f"photograph {broken.pk}" in caplog.text


def test_the_frequent_sweep_looks_at_the_latest_photographs_and_the_daily_one_at_all(monkeypatch):
    board = make_board()
    old = add(board, pictures.jpeg(300, 200))
    new = add(board, pictures.png(300, 200), "E02.png")
    monkeypatch.setattr(tasks, "SWEPT_OFTEN", new.pk - old.pk)
    assert tasks.make_missing_renditions() == 3
    assert (old.renditions.count(), new.renditions.count()) == (0, 3)
    assert tasks.make_missing_renditions(everywhere=True) == 3


def test_the_frequent_sweep_stops_in_time_and_the_next_one_goes_on(monkeypatch):
    board = make_board()
    for n in range(3):
        add(board, pictures.jpeg(300 + n, 200), f"E0{n}.jpg")
    clock = iter(range(0, 1000, 20))  # so many seconds pass with every photograph
    monkeypatch.setattr(photos.time, "monotonic", lambda: float(next(clock)))
    assert tasks.make_missing_renditions() == 3
    assert tasks.make_missing_renditions() == 3
    assert Photo.objects.filter(renditions=None).count() == 1
    assert tasks.make_missing_renditions(everywhere=True) == 3


def test_a_size_that_nobody_made_yet_is_made_when_asked_for():
    photo = add()
    rendition, file = photos.open_rendition(photo, 160)
    with file:
        assert Image.open(file).size == (160, 107)
    assert (rendition.width, rendition.height) == (160, 107)
    assert photo.renditions.count() == 1


def test_a_smaller_size_whose_file_is_lost_is_made_again(files):
    photo = add()
    photos.make_renditions(photo)
    lost = photo.renditions.get(size=800)
    (files / lost.file.name).unlink()
    again, file = photos.open_rendition(photo, 800)
    file.close()
    assert again.pk != lost.pk
    assert sorted(photo.renditions.values_list("size", flat=True)) == SIZES


def test_of_two_who_make_one_size_at_once_the_second_takes_the_first_ones(files):
    photo = add()
    photos.make_renditions(photo)
    before = sorted(path.name for path in (files / "renditions").rglob("*.jpg"))
    [again] = photos._make(photo, [800])
    assert again == photo.renditions.get(size=800)
    assert Rendition.objects.filter(photo=photo, size=800).count() == 1
    assert sorted(path.name for path in (files / "renditions").rglob("*.jpg")) == before
