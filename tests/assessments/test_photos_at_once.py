"""Two at once: the same file sent twice, the same size asked for twice."""

import time
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from io import BytesIO
from threading import Barrier

import pytest
from django.db import connection, connections, transaction

from assessments.exceptions import PhotoAlreadyThere, TakesNoPhotograph
from assessments.models import Photo, Rendition
from assessments.services import grading, photos
from records.queries.verification import verify_records
from records.services import trail
from tests.assessments import pictures, several, together
from tests.assessments.together import somebody_waits_for_us
from tests.factories import NOW, make_board, make_criteria_set, make_user, write_down

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("files")]

AT_ONCE = 4


def wait_until(done, within_s=120):
    until = time.monotonic() + within_s
    while not done():
        assert time.monotonic() < until
        time.sleep(0.02)


def at_once(act):
    """Run an act in several threads that start together; return what each gave or raised."""
    together = Barrier(AT_ONCE)

    def run(_index):
        together.wait()
        try:
            return act()
        except PhotoAlreadyThere as error:
            return error
        finally:
            connections.close_all()

    with ThreadPoolExecutor(AT_ONCE) as pool:
        return list(pool.map(run, range(AT_ONCE)))


@pytest.fixture
def board():
    return make_board()


def test_of_one_file_sent_several_times_at_once_one_is_kept(board, files):
    instructor = make_user("instructor")
    data = pictures.jpeg()

    def send():
        return photos.add_photo(
            board=board, file=BytesIO(data), name="E01.jpg", actor=instructor, at=NOW
        )

    outcomes = at_once(send)
    assert sum(isinstance(one, PhotoAlreadyThere) for one in outcomes) == AT_ONCE - 1
    assert board.photos.count() == 1
    assert len(list((files / "originals").rglob("*.bin"))) == 1
    write_down()
    assert verify_records().fits


def test_one_size_asked_for_several_times_at_once_is_made_once(board, files):
    photo = photos.add_photo(
        board=board,
        file=BytesIO(pictures.jpeg(1200, 800)),
        name="E01.jpg",
        actor=make_user("instructor"),
        at=NOW,
    )

    def ask():
        # Each reads the row for itself, as requests do: what a row opened has one place to read.
        rendition, file = photos.open_rendition(Photo.objects.get(pk=photo.pk), 800)
        with file:
            return rendition.pk, len(file.read())

    assert len(set(at_once(ask))) == 1
    assert Rendition.objects.count() == 1
    assert len(list((files / "renditions").rglob("*.jpg"))) == 1


@pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only")
def test_a_photograph_and_whoever_holds_its_board_do_not_wait_for_each_other(board, files):
    """Both go from the board to the trail's end, so the photograph alone waits, and comes in."""
    make_criteria_set()
    instructor, trainee = make_user("instructor"), make_user(person=board.person)

    def add():
        try:
            return photos.add_photo(
                board=board,
                file=BytesIO(pictures.jpeg()),
                name="E01.jpg",
                actor=instructor,
                at=NOW,
            )
        finally:
            connections.close_all()

    with ThreadPoolExecutor(1) as pool:
        with transaction.atomic():
            grading.start_own_reading(board=board, trainee=trainee, at=NOW)
            added = pool.submit(add)
            wait_until(somebody_waits_for_us)
            trail.record(actor=trainee, act="looked at", about=board, at=NOW)
        assert added.result(timeout=300).board == board


@pytest.mark.parametrize("quota", ["PHOTOS_A_BOARD", "PHOTOS_A_PERSON_A_DAY"])
def test_of_several_sent_at_once_no_more_come_in_than_may(quota, board, settings, files):
    setattr(settings, quota, 2)
    actor = make_user("instructor")
    boards = [board] * AT_ONCE
    if quota == "PHOTOS_A_PERSON_A_DAY":
        boards = [board, *(make_board(exercise=board.exercise) for _ in range(AT_ONCE - 1))]

    def send(index):
        return photos.add_photo(
            board=boards[index],
            file=BytesIO(pictures.jpeg(96 + index)),
            name=f"E0{index}.jpg",
            actor=actor,
            at=NOW,
        )

    outcomes = together.at_once(*(partial(send, index) for index in range(AT_ONCE)))
    assert sum(isinstance(one, TakesNoPhotograph) for one in outcomes) == AT_ONCE - 2
    assert Photo.objects.count() == 2
    assert len(list((files / "originals").rglob("*.bin"))) == 2


@pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only")
def test_a_photograph_under_way_while_the_last_stage_is_signed_is_refused(
    board, files, everybody_has_standing
):
    make_criteria_set()
    instructor, trainee = make_user("instructor"), make_user(person=board.person)

    def add():
        try:
            return photos.add_photo(
                board=board, file=BytesIO(pictures.jpeg()), name="E.jpg", actor=trainee, at=NOW
            )
        except TakesNoPhotograph as refusal:
            return refusal
        finally:
            connections.close_all()

    with ThreadPoolExecutor(1) as pool:
        with transaction.atomic():
            several.read(board, instructor)
            # Nothing of it is seen yet: the board looks open, and the photograph is looked at.
            added = pool.submit(add)
            wait_until(somebody_waits_for_us)
        assert isinstance(added.result(timeout=300), TakesNoPhotograph)
    assert not board.photos.exists()
    assert not list((files / "originals").rglob("*.bin"))
