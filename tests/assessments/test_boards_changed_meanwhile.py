"""Pages of a board opened before somebody else said something of it: nothing of that is undone."""

from datetime import timedelta
from html.parser import HTMLParser

import pytest
from django.db import connection
from django.urls import reverse
from django.utils import timezone

from assessments.exceptions import BoardChangedMeanwhile
from assessments.models import Board
from assessments.services import boards
from records.models import TrailEntry
from tests.assessments.together import at_once, wait_behind
from tests.factories import NOW, TODAY, make_board, make_person, make_tool, make_user
from training.models import Tool

pytestmark = pytest.mark.django_db


class Sent(HTMLParser):
    """The fields of a page's forms as a browser would send them untouched, by name."""

    def __init__(self, page):
        super().__init__()
        self.fields = {}
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        said = dict(attrs)
        if tag != "input" or "name" not in said:
            return
        if said.get("type") != "checkbox" or "checked" in said:
            self.fields.setdefault(said["name"], []).append(said.get("value", ""))


def sent(client, url, **typed):
    """What the page at an address would send once this is typed."""
    fields = Sent(client.get(url).content.decode()).fields
    return fields | {name.replace("__", "-"): value for name, value in typed.items()}


def shown_again(answer, name):
    assert answer.status_code == 422
    return Sent(answer.content.decode()).fields[name]


def named(board):
    return set(Board.objects.get(pk=board.pk).tools.values_list("code", flat=True))


@pytest.fixture
def instructor():
    return make_user("instructor")


@pytest.fixture
def maker(client):
    user = make_user("operator", person=make_person())
    client.force_login(user)
    return user


@pytest.fixture
def board(maker):
    return make_board(maker.person, handed_out_on=TODAY - timedelta(days=2))


@pytest.fixture
def iron(instructor):
    return make_tool(code="IRON-07", kind=Tool.Kind.IRON)


@pytest.fixture
def wick(iron):
    return make_tool(code="WICK-02", kind=Tool.Kind.IRON)


@pytest.mark.parametrize("name", ["board_tools", "board_hand_in"])
def test_tools_that_somebody_named_since_stay(client, board, iron, wick, instructor, name):
    url = reverse(f"assessments:{name}", args=[board.number])
    form = sent(client, url, tools=[str(wick.pk)])
    boards.name_tools(board=board, tools=[iron], actor=instructor, at=NOW)
    answer = client.post(url, form)
    assert named(board) == {"IRON-07"}
    assert "what the board was made with: IRON-07." in answer.content.decode()
    assert shown_again(answer, "tools") == [str(wick.pk)]
    board.refresh_from_db()
    assert board.handed_in_at is None
    both = form | {"seen": shown_again(answer, "seen"), "tools": [str(wick.pk), str(iron.pk)]}
    assert client.post(url, both).status_code == 302
    assert named(board) == {"IRON-07", "WICK-02"}


def test_whoever_names_what_is_named_already_is_not_stopped(client, board, iron, instructor):
    url = reverse("assessments:board_tools", args=[board.number])
    form = sent(client, url, tools=[str(iron.pk)])
    boards.name_tools(board=board, tools=[iron], actor=instructor, at=NOW)
    assert client.post(url, form).status_code == 302


def test_pressed_twice_names_tools_once(client, board, iron):
    url = reverse("assessments:board_tools", args=[board.number])
    form = sent(client, url, tools=[str(iron.pk)])
    assert [client.post(url, form).status_code for _ in range(2)] == [302, 302]
    assert TrailEntry.objects.filter(act="tools of board named").count() == 1


def test_the_record_takes_off_no_tool_that_the_hand_in_named(
    client, board, maker, iron, instructor
):
    client.force_login(instructor)
    url = reverse("assessments:board_piece", args=[board.number])
    form = sent(client, url, act="keep", keep__kept_where="cabinet 3")
    boards.hand_in(board=board, actor=maker, at=NOW, tools=[iron])
    answer = client.post(url, form)
    told = answer.content.decode()
    assert "tools used: IRON-07; where it is kept: –; keep through: –" in told
    assert shown_again(answer, "keep-kept_where") == ["cabinet 3"]
    assert (named(board), Board.objects.get(pk=board.pk).kept_where) == ({"IRON-07"}, "")
    again = form | {"keep-seen": shown_again(answer, "keep-seen"), "keep-tools": [str(iron.pk)]}
    assert client.post(url, again).status_code == 302
    assert (named(board), Board.objects.get(pk=board.pk).kept_where) == ({"IRON-07"}, "cabinet 3")


def test_the_record_undoes_no_day_through_which_it_is_kept(client, board, instructor):
    client.force_login(instructor)
    url = reverse("assessments:board_piece", args=[board.number])
    form = sent(client, url, act="keep", keep__kept_where="cabinet 3")
    until = timezone.localdate() + timedelta(days=700)
    boards.describe_piece(
        board=board, tools=[], kept_where="", kept_until=until, actor=instructor, at=NOW
    )
    assert client.post(url, form).status_code == 422
    board.refresh_from_db()
    assert (board.kept_until, board.kept_where) == (until, "")
    gone = client.post(url, {"act": "dispose", "dispose-disposed_how": "scrapped"})
    assert gone.status_code == 422


def test_pressed_twice_the_record_is_kept_once(client, board, instructor):
    client.force_login(instructor)
    url = reverse("assessments:board_piece", args=[board.number])
    form = sent(client, url, act="keep", keep__kept_where="cabinet 3")
    assert [client.post(url, form).status_code for _ in range(2)] == [302, 302]
    assert TrailEntry.objects.filter(act="board kept").count() == 1


def test_pressed_twice_a_check_is_recorded_once(client, board, instructor):
    client.force_login(instructor)
    url = reverse("assessments:board_piece", args=[board.number])
    check = {
        "act": "check",
        "check-kind": "section of E01",
        "check-result": "filled",
        "check-done_on": timezone.localdate().isoformat(),
    }
    assert [client.post(url, check).status_code for _ in range(2)] == [302, 302]
    client.post(url, check | {"check-result": "filled, one void"})
    assert board.destructive_checks.count() == 2


# Two at once


@pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only")
@pytest.mark.django_db(transaction=True)
def test_of_two_who_opened_it_together_the_later_is_told(instructor):
    board, iron, wick = make_board(), make_tool(), make_tool()
    seen = boards.tools_digest(board)
    said = {"board": board, "actor": instructor, "at": NOW, "seen": seen}
    answer = wait_behind(
        lambda: boards.name_tools(tools=[iron], **said),
        lambda: boards.name_tools(tools=[wick], **said),
    )
    assert isinstance(answer, BoardChangedMeanwhile)
    assert named(board) == {iron.code}
    kept = {"kept_until": None, "tools": [iron], "board": board, "actor": instructor, "at": NOW}
    kept["seen"] = boards.piece_digest(Board.objects.get(pk=board.pk))
    answer = wait_behind(
        lambda: boards.describe_piece(kept_where="cabinet 3", **kept),
        lambda: boards.describe_piece(kept_where="drawer 1", **kept),
    )
    assert isinstance(answer, BoardChangedMeanwhile)
    assert Board.objects.get(pk=board.pk).kept_where == "cabinet 3"


@pytest.mark.django_db(transaction=True)
def test_one_check_sent_twice_at_once_is_recorded_once(instructor):
    board = make_board(handed_out_on=TODAY)
    check = {"board": board, "kind": "peel", "result": "held", "done_on": TODAY,
             "actor": instructor, "at": NOW}  # fmt: skip

    def send():
        return boards.add_destructive_check_once(**check)

    assert at_once(send, send).count(None) == 1
    assert board.destructive_checks.count() == 1
