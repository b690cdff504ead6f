"""Two at once: the same file sent twice, the same size asked for twice."""

from concurrent.futures import ThreadPoolExecutor
from io import BytesIO
from threading import Barrier

import pytest
from django.db import connection, connections, transaction

from assessments.exceptions import PhotoAlreadyThere
from assessments.models import Photo, Rendition
from assessments.services import grading, photos
from records.queries.verification import verify_records
from tests.assessments import pictures
from tests.factories import NOW, make_board, make_criteria_set, make_user, write_down

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("files")]

AT_ONCE = 4


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
def test_a_photograph_waits_for_nobody_who_holds_its_board(board, files):
    """Or each would wait for the other: whoever holds a board goes on to the trail's end."""
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

    with ThreadPoolExecutor(1) as pool, transaction.atomic():
        grading.start_own_reading(board=board, trainee=trainee, at=NOW)
        assert pool.submit(add).result(timeout=30).board == board
