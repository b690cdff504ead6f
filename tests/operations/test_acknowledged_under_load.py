"""What clients under load were told is stored is missed where it is not there."""

from uuid import uuid4

import pytest
from django.core.files.base import ContentFile

from assessments.services import grading
from benchmarks.load import acknowledged
from tests.factories import NOW, make_board, make_criteria_set, make_photo, make_user

pytestmark = pytest.mark.django_db


@pytest.fixture
def reading():
    make_criteria_set()
    board = make_board(number="CA-B-M000001")
    return grading.start_grading(board=board, grader=make_user("instructor"), at=NOW)


def test_an_act_that_is_not_there_is_lost(reading):
    key = str(uuid4())
    act = {"what": "judgement", "key": key, "board": reading.board.number}
    assert acknowledged.judgements([act], [act]) == [f"lost: act {key}"]


def test_an_act_is_there_once_under_its_key(reading):
    key = str(uuid4())
    reading.undo_steps.create(stage="soldered", before=[], key=key)
    act = {"what": "judgement", "key": key, "board": reading.board.number}
    assert acknowledged.judgements([act], [act]) == []
    assert acknowledged.judgements([], []) == [f"nobody sent act {key}"]


def test_photographs_and_signatures_that_are_not_there_are_lost(reading):
    photo = {"what": "photograph", "board": "CA-B-M000001", "sha256": "a" * 64}
    signed = {"what": "signature", "board": "CA-B-M000001"}
    assert acknowledged.photographs([photo], [photo]) == [
        f"lost: photograph {'a' * 12} of CA-B-M000001"
    ]
    assert acknowledged.signatures([signed], [signed]) == ["lost: CA-B-M000001"]


def test_a_photograph_whose_file_is_another_is_told(reading):
    photo = make_photo(reading.board)
    photo.original.storage.save(photo.original.name, ContentFile(b"another"))
    told = acknowledged.photographs([], [])
    assert f"the file of photograph {photo.pk} is another" in told
    assert f"photograph {photo.pk} has 0 entries" in told
