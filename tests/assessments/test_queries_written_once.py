"""A query that is put into SQL once: asked with other values, it finds what Django would."""

from uuid import uuid4

import pytest
from django.db.models import Exists, OuterRef
from django.urls import reverse

from assessments.models import Board, Grading, UndoStep
from assessments.services import sent
from assessments.services.written import Blanks, Written
from tests import factories
from tests.factories import NOW

pytestmark = pytest.mark.django_db

NAMES = ("pk", "number", "recorded_at", "exercise__stages", "exercise__pass_mark", "is_begun")


def wanted(number, grader, key):
    steps = UndoStep.objects.filter(grading__board=OuterRef("pk"), key=key)
    boards = Board.objects.filter(number=number, gradings__grader=grader)
    return boards.annotate(is_begun=Exists(steps)).values(*NAMES)


def test_it_finds_what_the_query_would_with_those_values_every_time():
    factories.make_criteria_set()
    users = [factories.make_user("instructor") for _ in range(2)]
    blanks = Blanks()
    written = Written.of(
        wanted(blanks.text("number"), blanks.number("grader"), blanks.uuid("key")), blanks
    )
    for number in range(3):
        board, grader, key = factories.make_board(), users[number % 2], uuid4()
        grading = Grading.objects.create(
            board=board,
            grader=grader,
            criteria_set=factories.make_criteria_set(),
            recorded_at=NOW,
        )
        UndoStep.objects.create(grading=grading, stage="soldered", before=[], key=key)
        for asked in ((board.number, grader, key), (board.number, grader, uuid4())):
            number_, user, key_ = asked
            found = list(written.ask(number=number_, grader=user.pk, key=key_))
            assert found == list(wanted(*asked))
            assert len(found) == 1
        assert not list(written.ask(number="'; --", grader=grader.pk, key=key))


def test_a_blank_that_the_query_does_not_hold_is_told():
    blanks = Blanks()
    number, _other = blanks.text("number"), blanks.text("other")
    with pytest.raises(ValueError, match="does not ask for \\['other'\\]"):
        Written.of(Board.objects.filter(number=number).values("pk"), blanks)


def test_a_judgement_has_its_query_written_once_for_each_kind_of_place(client):
    factories.make_criteria_set()
    sent._written.cache_clear()
    for _ in range(2):
        board = factories.make_board()
        client.force_login(factories.make_user("instructor"))
        for place, code in (("E01", "S-1"), ("E02", "S-2"), ("board", "S-9"), ("E03", "S-1")):
            answer = client.post(
                reverse("assessments:board_judge", args=[board.number]),
                {"stage": "soldered", "joint": place, "criterion": code, "outcome": "accept",
                 "key": str(uuid4())},
                headers={"Accept": "application/json"},
            )  # fmt: skip
            assert answer.json() == {"saved": True}
    assert sent._written.cache_info().misses == 2
