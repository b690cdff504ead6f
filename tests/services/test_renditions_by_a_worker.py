"""A real worker makes the smaller sizes, whatever happens to messages and workers."""

from io import BytesIO

import pytest
from django.utils import timezone

from assessments.services import photos
from tests.assessments import pictures
from tests.factories import make_board, make_user
from tests.services.processes import kill, wait_until

pytestmark = [pytest.mark.services, pytest.mark.django_db(transaction=True)]

SIZES = 3


def add_photo():
    return photos.add_photo(
        board=make_board(),
        file=BytesIO(pictures.jpeg(1200, 800)),
        name="E01.jpg",
        actor=make_user("instructor"),
        at=timezone.now(),
    )


def test_a_message_wakes_the_worker(start_worker, send):
    photo = add_photo()
    start_worker()
    send("photographs.make_renditions", photo.pk)
    wait_until(lambda: photo.renditions.count() == SIZES)
    assert all(
        rendition.file.storage.exists(rendition.file.name) for rendition in photo.renditions.all()
    )


def test_what_a_lost_message_left_is_made_by_the_next_sweep(start_worker, send, lose_messages):
    photo = add_photo()
    lose_messages()
    start_worker()
    send("photographs.make_missing_renditions")
    wait_until(lambda: photo.renditions.count() == SIZES)


def test_a_worker_that_is_killed_leaves_nothing_that_the_next_one_does_not_finish(
    start_worker, send
):
    several = [add_photo() for _ in range(6)]
    first = start_worker()
    for photo in several:
        send("photographs.make_renditions", photo.pk)
    wait_until(lambda: any(photo.renditions.exists() for photo in several))
    kill(first)
    start_worker()
    send("photographs.make_missing_renditions")
    wait_until(lambda: all(photo.renditions.count() == SIZES for photo in several))
