"""How one person's work goes from board to board: the figures, the pictures, and who sees them."""

import re
from datetime import timedelta

import pytest
from django.utils import timezone

from assessments.domain.failure_rates import FailureRate
from assessments.exceptions import CannotChangeBoard
from assessments.models import Board, ReadingRequest
from assessments.presenters.progress import progress_shown
from assessments.presenters.progress_picture import Point, pictures, top_of
from assessments.queries.progress import progress_on
from assessments.services import boards as services
from tests import factories
from tests.assessments.several import begin, judge, make_criteria, sign

pytestmark = pytest.mark.usefixtures("everybody_has_standing")


@pytest.mark.parametrize(
    ("rejected", "judged", "low", "high"),
    [
        (81, 263, 0.2527, 0.3676),
        (15, 148, 0.0578, 0.1617),
        (0, 20, 0, 0.1684),
        (1, 29, 9e-4, 0.1776),
    ],
)
def test_limits_are_those_published(rejected, judged, low, high):
    """Newcombe, Statistics in Medicine 17, 1998, table I, "exact": cited from memory, and the
    figures computed anew from his four cases."""
    assert FailureRate(rejected, judged).interval() == pytest.approx((low, high), abs=5e-5)


def test_limits_agree_with_scipys_own():
    from scipy.stats import binomtest

    for rejected, judged in [(0, 1), (1, 1), (3, 12), (20, 20), (7, 172)]:
        other = binomtest(rejected, judged).proportion_ci(0.9, method="exact")
        assert FailureRate(rejected, judged).interval(0.9) == pytest.approx(tuple(other))


def test_of_nothing_there_are_no_limits():
    with pytest.raises(ValueError, match="no share"):
        FailureRate(0, 0).interval()


def test_axis_has_room_for_the_limits_of_each_point():
    assert top_of([Point(2, ("", "")), Point(0, ("", ""), (0, 0))]) == 2
    assert top_of([Point(40, ("", ""), (20, 61))], most=100) == 100


def test_narrow_picture_has_the_last_five_boards():
    points = [Point(n, (str(n), "")) for n in range(8)]
    drawn = dict(pictures(points, title="t", unit="%"))
    assert drawn["wide"].count("<circle") == 8
    assert re.findall(r'y="270" text-anchor="middle">(\d)', drawn["narrow"]) == list("34567")


@pytest.fixture
def instructor(db):
    make_criteria()
    return factories.make_user("instructor")


@pytest.fixture
def exercise(instructor):
    return factories.make_exercise(stages=("formed", "soldered"))


def graded(person, exercise, instructor, rejected=(), *, days_ago=0, minutes=None) -> Board:
    """A board of somebody, judged to the end with these places rejected."""
    handed_in_at = timezone.now() - timedelta(days=days_ago)
    board = factories.make_board(
        person=person, exercise=exercise, handed_in_at=handed_in_at, bench_minutes=minutes
    )
    grading = begin(board, instructor, timezone.now())
    judge(grading, rejected)
    sign(grading, at=timezone.now())
    return board


@pytest.fixture
def person(instructor, exercise):
    """Somebody whose first board has one rejected joint and whose second has none."""
    person = factories.make_user("operator").person
    graded(person, exercise, instructor, [("E02", "S-1")], days_ago=9, minutes=45)
    graded(person, exercise, instructor, days_ago=2)
    return person


def test_boards_stand_as_they_were_handed_in(person, exercise):
    progress = progress_on(Board.objects.filter(person=person))
    joints = exercise.positions.filter(required=True).count()
    assert [(each.rate.rejected, each.rate.judged) for each in progress.boards] == [
        (1, joints),
        (0, joints),
    ]
    assert [each.minutes_a_joint and each.minutes_a_joint * joints for each in progress.boards] == [
        45,
        None,
    ]
    assert progress.rate == FailureRate(1, 2 * joints)
    assert progress.by_criterion["S-1"].rejected == 1


def test_good_run_goes_back_to_the_last_reject(person, exercise, instructor):
    joints = [position.name for position in exercise.positions.filter(required=True)]
    after = len(joints) - 1 - joints.index("E02")
    progress = progress_on(Board.objects.filter(person=person))
    assert progress.good_run == after + len(joints)
    graded(person, exercise, instructor, [(joints[-1], "S-1")])
    assert progress_on(Board.objects.filter(person=person)).good_run == 0


def test_reads_many_boards_with_as_many_queries(
    person, exercise, instructor, django_assert_num_queries
):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    with CaptureQueriesContext(connection) as few:
        progress_shown(Board.objects.filter(person=person))
    for _each in range(3):
        graded(person, exercise, instructor)
    with django_assert_num_queries(len(few)):
        progress_shown(Board.objects.filter(person=person))


def page(client, person, status=200) -> str:
    response = client.get(f"/people/{person.employee_number}/progress/")
    assert response.status_code == status
    return response.content.decode()


def test_trainee_and_instructor_see_the_same(client, person, instructor):
    seen = []
    for user in (person.user, instructor):
        client.force_login(user)
        seen.append(page(client, person))
    assert seen[0] == seen[1]
    assert [seen[0].count(f"progress-chart is-{width}") for width in ("wide", "middle")] == [1, 1]
    assert "Over all these boards" in seen[0]


def test_nobody_else_does(client, person):
    for user in (
        factories.make_user("operator"),
        factories.make_user("instructor", site=factories.make_site("Elsewhere", "EW")),
    ):
        client.force_login(user)
        page(client, person, status=404)


def test_what_is_cancelled_or_regraded_is_not_counted(client, person, instructor):
    first, second = Board.objects.filter(person=person).order_by("handed_in_at")
    ReadingRequest.objects.create(board=first, asked_by=instructor, reason="Look again", before={})
    client.force_login(instructor)
    shown = page(client, person)
    assert first.number not in shown
    assert second.number in shown


def test_before_the_first_board_is_judged_it_says_so(client, instructor):
    client.force_login(instructor)
    assert "No board has been judged" in page(client, factories.make_person())


@pytest.mark.django_db
def test_minutes_are_kept_with_the_hand_in_and_go_with_it(client):
    user = factories.make_user("operator")
    board = factories.make_board(person=user.person, handed_in_at=None)
    client.force_login(user)
    address = f"/boards/{board.number}/hand-in/"
    refused = client.post(address, {"bench_minutes": "0"})
    assert refused.status_code == 422
    assert "greater than or equal to 1" in refused.content.decode()
    board.refresh_from_db()
    assert board.handed_in_at is None
    client.post(address, {"bench_minutes": "95"})
    board.refresh_from_db()
    assert board.bench_minutes == 95
    # Pressed twice: the first one stands.
    with pytest.raises(CannotChangeBoard):
        services.hand_in(board=board, actor=user, at=timezone.now(), bench_minutes=1)
    services.take_back_hand_in(board=board, actor=user, at=timezone.now())
    board.refresh_from_db()
    assert (board.handed_in_at, board.bench_minutes) == (None, None)
