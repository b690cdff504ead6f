"""Two windows that judge the same: the second is told what it replaced."""

from uuid import uuid4

import pytest
from django.urls import reverse

from assessments.models import CannotTell, Judgement, UndoStep
from tests import factories
from tests.markup import Markup

pytestmark = pytest.mark.django_db

JSON = {"Accept": "application/json"}
OTHER_KEY = "2c1d5f4e-0d0b-4c6f-9e0a-3f1b8a7c6d5e"


@pytest.fixture
def instructor(client):
    user = factories.make_user("instructor")
    client.force_login(user)
    return user


@pytest.fixture
def board(instructor):
    factories.make_criteria_set()
    return factories.make_board()


def address(board, name="board_judge"):
    return reverse(f"assessments:{name}", args=[board.number])


def send(client, board, outcome, headers=JSON, **fields):
    data = {"stage": "soldered", "joint": "E01", "criterion": "S-1", "key": str(uuid4())}
    return client.post(address(board), data | {"outcome": outcome} | fields, headers=headers)


def judged_at():
    return Judgement.objects.get().judged_at.isoformat()


def text(response) -> str:
    return Markup(response.content.decode()).replace("\xa0", " ")


TOLD = "E01, Title 1 was reject (“A ball”), judged in another window on "


def test_a_judgement_that_was_not_shown_is_told_when_it_is_replaced(client, board):
    assert send(client, board, "reject", note="A ball", saw="").json() == {"saved": True}
    answer = send(client, board, "accept", saw="").json()
    assert answer["saved"] is True
    assert answer["overwrote"].startswith(TOLD)
    assert answer["overwrote"].endswith("; now: accept.")
    assert Judgement.objects.get().outcome == "accept"


def test_a_judgement_that_was_shown_is_replaced_without_a_word(client, board):
    key = str(uuid4())
    send(client, board, "reject", saw="", key=key)
    assert send(client, board, "accept", saw=key).json() == {"saved": True}
    assert send(client, board, "reject", saw=judged_at()).json() == {"saved": True}


def test_a_page_that_saw_an_earlier_one_of_its_own_is_told_of_the_other(client, board):
    key = str(uuid4())
    send(client, board, "accept", saw="", key=key)
    send(client, board, "reject", saw=judged_at(), note="A ball")
    assert send(client, board, "accept", saw=key).json()["overwrote"].startswith(TOLD)


@pytest.mark.parametrize("saw", ["", "x", "2026-02-30", OTHER_KEY, "9" * 5000])
def test_whatever_a_page_says_that_it_saw_the_judgement_is_stored_and_the_other_told(
    client, board, saw
):
    send(client, board, "reject", note="A ball", saw="")
    assert send(client, board, "accept", saw=saw).json()["overwrote"].startswith(TOLD)


@pytest.mark.parametrize("outcome", ["accept", "ask_photo"])
def test_sent_again_after_an_answer_was_lost_it_is_told_again_and_done_once(client, board, outcome):
    send(client, board, "reject", note="A ball", saw="")
    key = str(uuid4())
    told, again = (send(client, board, outcome, saw="", key=key).json() for _time in range(2))
    assert told["overwrote"].startswith(TOLD)
    assert again == told
    assert UndoStep.objects.count() == 2


def test_undo_brings_back_what_was_replaced_and_a_page_may_say_it_saw_that(client, board):
    send(client, board, "reject", note="A ball", saw="")
    was = judged_at()
    send(client, board, "accept", saw="")
    client.post(address(board, "board_undo"), {"key": str(uuid4())}, headers=JSON)
    assert Judgement.objects.get().note == "A ball"
    assert send(client, board, "accept", saw=was).json() == {"saved": True}


def test_who_could_not_tell_is_told_of_the_judgement_that_goes_with_it(client, board):
    send(client, board, "reject", note="A ball", saw="")
    answer = send(client, board, "ask_board", saw="").json()
    assert answer["overwrote"].startswith(TOLD)
    assert answer["overwrote"].endswith("now: open, and asks for the board itself.")
    assert CannotTell.objects.count() == 1


def test_without_a_script_the_page_carries_what_it_shows_and_says_what_it_replaced(client, board):
    send(client, board, "reject", note="A ball", saw="")
    page = client.get(address(board, "board_grade"), {"joint": "E01", "criterion": "S-1"})
    assert f'name="saw" value="{judged_at()}"' in text(page)
    answer = client.post(
        address(board),
        {"stage": "soldered", "joint": "E01", "criterion": "S-1", "outcome": "accept", "saw": ""},
        follow=True,
    )
    assert TOLD in text(answer)
    htmx = send(client, board, "reject", headers={"HX-Request": "true"}, saw="")
    assert "E01, Title 1 was accept, judged in another window on " in text(htmx)
