"""The list of boards: what it finds, in which order, for whom, and at what cost."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from assessments.models import Board, BoardOutcome
from tests.factories import (
    NOW,
    make_board,
    make_exercise,
    make_person,
    make_site,
    make_user,
)

pytestmark = pytest.mark.django_db

LIST = "/boards/"
NEW = "/boards/new/"


@pytest.fixture
def instructor(client):
    user = make_user("instructor")
    client.force_login(user)
    return user


def page(client, address, **query) -> str:
    response = client.get(address, query)
    assert response.status_code == 200, response
    return response.content.decode()


def decided(board):
    BoardOutcome.objects.create(
        board=board, complete=True, passed=True, score=Decimal("96.5"), decided_at=NOW
    )
    return board


@pytest.mark.usefixtures("instructor")
def test_the_list_filters_by_state():
    bench = make_board()
    waiting = make_board(handed_in_at=NOW)
    graded = decided(make_board(handed_in_at=NOW))
    found = {state: set(Board.objects.in_state(state)) for state in ("waiting", "bench", "graded")}
    assert found == {"waiting": {waiting}, "bench": {bench}, "graded": {graded}}
    assert set(Board.objects.in_state("")) == {bench, waiting, graded}


@pytest.mark.usefixtures("instructor")
def test_those_waiting_longest_come_first():
    late = make_board(handed_in_at=NOW)
    early = make_board(handed_in_at=NOW - timedelta(days=2))
    assert list(Board.objects.in_state("waiting")) == [early, late]


@pytest.mark.usefixtures("instructor")
def test_the_list_finds_by_number_name_employee_number_exercise_and_purpose(client):
    person = make_person(full_name="Adaeze Nwosu", employee_number="10777")
    wanted = make_board(person, make_exercise(title="Solder cups"), purpose="qualification")
    other = make_board()
    for query in (
        {"q": wanted.number},
        {"q": "adaeze"},
        {"q": "nwosu adaeze"},
        {"q": "10777"},
        {"person": "10777"},
        {"exercise": wanted.exercise_id},
        {"purpose": "qualification"},
        {"state": "bench", "q": "Nwosu"},
    ):
        told = page(client, LIST, **query)
        assert wanted.number in told, query
        assert other.number not in told, query


@pytest.mark.usefixtures("instructor")
def test_an_unknown_filter_is_passed_over_and_a_search_without_result_says_what_to_do(client):
    board = make_board()
    assert board.number in page(client, LIST, state="lost", exercise="none", page="x")
    told = page(client, LIST, q="nothing like it")
    assert "No board fits" in told
    assert "Show all boards" in told


def test_an_empty_list_says_what_to_do_next(client, instructor):
    assert "Hand out boards to a trainee" in page(client, LIST)
    client.force_login(make_user())
    assert "Your instructor hands boards out" in page(client, LIST)


def test_an_operator_lists_their_own_boards_alone(client):
    user = make_user()
    client.force_login(user)
    own, other = make_board(user.person), make_board()
    told = page(client, LIST)
    assert own.number in told
    assert other.number not in told
    assert NEW not in told


def test_a_site_elsewhere_is_not_listed(client, instructor):
    elsewhere = make_board(make_person(make_site("Aldergate", "AL")))
    assert elsewhere.number not in page(client, LIST)


@pytest.mark.usefixtures("instructor")
def test_the_list_reads_as_often_for_forty_boards_as_for_four(client):
    exercise = make_exercise()
    for _ in range(4):
        decided(make_board(exercise=exercise, handed_in_at=NOW))
    few = reads(client)
    for _ in range(36):
        make_board(exercise=exercise)
    many = reads(client)
    # Session, user with person, roles, exercises, what graders could not tell from photographs, how
    # many boards there are, and the page of them.
    assert (len(few), len(many)) == (7, 7)
    assert sum('FROM "assessments_board"' in sql for sql in many) == 2


def reads(client) -> list[str]:
    with CaptureQueriesContext(connection) as captured:
        page(client, LIST)
    return [query["sql"] for query in captured if query["sql"].startswith("SELECT")]


@pytest.mark.usefixtures("instructor")
def test_the_list_goes_on_on_a_second_page_that_keeps_the_filters(client):
    exercise = make_exercise()
    for _ in range(51):
        make_board(exercise=exercise)
    told = page(client, LIST, state="bench")
    assert "1 to 50 of 51" in told
    assert "state=bench" in told
    assert "51 to 51 of 51" in page(client, LIST, state="bench", page=2)
