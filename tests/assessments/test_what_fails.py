"""What is counted as failed, of how much: boards judged by hand and counted by hand."""

import doctest
from datetime import UTC, datetime, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from assessments import access
from assessments.domain import failure_rates
from assessments.domain.failure_rates import FailureRate
from assessments.models import Board, Judgement, PurposeCorrection
from assessments.presenters import what_fails as presenter
from assessments.queries import board_results, effective_judgements, what_fails
from assessments.queries.what_fails import By
from assessments.services import decisions, judgements, reading_requests
from assessments.services import grading as services
from assessments.services import rework as reworking
from people.models import SiteRole
from people.presenters import quantities
from tests import factories
from tests.assessments.several import (
    IN_HAND,
    begin,
    fresh,
    joint,
    judge,
    make_criteria,
    outcome_of,
    read,
    sign,
)
from tests.factories import NOW

LATER = NOW + timedelta(hours=2)

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("everybody_has_standing")]


@pytest.fixture
def criteria():
    return make_criteria()


@pytest.fixture
def graders(criteria):
    return [factories.make_user("instructor") for _ in range(4)]


@pytest.fixture
def reader(graders):
    return factories.make_user("quality")


def make_board(graders=1, *, site=None, exercise=None, **fields):
    asked = {"stages": ("formed", "soldered"), "graders": graders, "rework_allowed": 1}
    exercise = exercise or factories.make_exercise(**asked)
    person = factories.make_person(site)
    factories.make_user(person=person)
    return factories.make_board(person, exercise, **fields)


def counted(reader, by=By.CRITERION, *, months=12, now=LATER, **filters):
    """Each line of the table: rejected and judged, in its order."""
    asked = presenter.WhatFailsFilters(months, filters.get("purpose", ""), filters.get("site"), now)
    lines = presenter.overview(reader, by, asked).lines
    return {line.code or line.title: (line.rate.rejected, line.rate.judged) for line in lines}


def send_back(board, name, code, actor):
    return reworking.send_back(
        board=fresh(board), joint=joint(board, name), codes=[code], actor=actor, at=LATER
    )


def decide(board, decider, outcome):
    decisions.decide(
        board=fresh(board),
        decider=decider,
        decisions={
            (each.first.joint_id, each.first.criterion.code): decisions.Decided(outcome)
            for each in effective_judgements.to_decide(fresh(board))
        },
        proof="password",
        at=LATER,
    )


def test_rejections_are_counted_of_what_was_judged_most_often_first(graders, reader):
    first = make_board()
    second = make_board()
    read(first, graders[0], ("E02", "S-1"), ("E03", "S-3"))
    read(second, graders[1], ("E01", "S-3"), ("E01", "S-1"), ("E03", "S-3"), ("board", "S-9"))
    assert counted(reader) == {"S-3": (3, 6), "S-1": (2, 6), "S-9": (1, 2), "F-1": (0, 6)}
    assert list(counted(reader)) == ["S-3", "S-1", "S-9", "F-1"]
    # A joint with nothing but a minor rejection is none that was rejected.
    codes = sorted([first.exercise.code, second.exercise.code])
    assert counted(reader, By.EXERCISE) == {codes[0]: (1, 3), codes[1]: (1, 3)}
    assert list(counted(reader, By.EXERCISE)) == codes


def test_revisions_of_an_exercise_are_counted_together_under_the_latest_title(graders, reader):
    asked = {"code": "TURRET", "stages": ("formed", "soldered")}
    for revision, title in ((2, "Turrets anew"), (1, "Turrets")):
        exercise = factories.make_exercise(revision=revision, title=title, **asked)
        read(make_board(exercise=exercise), graders[0], ("E01", "F-1"))
    filters = presenter.WhatFailsFilters(12, "", None, LATER)
    (line,) = presenter.overview(reader, By.EXERCISE, filters).lines
    assert (line.code, line.title, line.rate) == ("TURRET", "Turrets anew", FailureRate(2, 6))


def test_what_is_not_applicable_was_not_judged(graders, reader):
    board = make_board()
    grading = begin(board, graders[0])
    judge(grading)
    judgements.judge(
        grading=grading,
        criterion=grading.criteria_set.criteria.get(code="S-1"),
        joint=joint(board, "E01"),
        outcome=Judgement.Outcome.NOT_APPLICABLE,
        seen=IN_HAND,
        at=NOW,
    )
    sign(grading)
    assert counted(reader)["S-1"] == (0, 2)


def test_spare_joints_feed_nothing(graders, reader):
    exercise = factories.make_exercise(stages=("formed", "soldered"), spare=1)
    read(make_board(exercise=exercise), graders[0], ("E03", "S-1"))
    assert counted(reader)["S-1"] == (0, 2)
    assert counted(reader, By.EXERCISE) == {exercise.code: (0, 2)}


def test_a_reworked_joint_counts_as_it_was_made_first(graders, reader):
    board = make_board()
    read(board, graders[0], ("E02", "S-1"))
    send_back(board, "E02", "S-1", graders[0])
    assert counted(reader) == {}  # Not judged to the end any more.
    read(board, graders[1], ("E02", "S-3"), at=LATER)
    assert outcome_of(board)[:2] == (True, True)
    assert counted(reader) == {"S-1": (1, 3), "F-1": (0, 3), "S-3": (0, 3), "S-9": (0, 1)}
    assert counted(reader, By.EXERCISE) == {board.exercise.code: (1, 3)}


def test_what_was_made_again_before_it_was_soldered_counts_as_rejected(graders, reader):
    board = make_board()
    instructor = graders[0]
    first = read(board, instructor, ("E02", "F-1"), stages=["formed"])
    send_back(board, "E02", "F-1", instructor)
    again = begin(board, instructor, LATER)
    judge(again, stages=["formed"])
    sign(again, stages=["formed"])
    judge(first, stages=["soldered"])
    sign(first, stages=["soldered"])
    assert outcome_of(board)[:2] == (True, True)
    assert counted(reader, By.EXERCISE) == {board.exercise.code: (1, 3)}
    # Its first make was never soldered, so S-1 was judged of the two others alone.
    assert counted(reader) == {"F-1": (1, 3), "S-1": (0, 2), "S-3": (0, 2), "S-9": (0, 1)}


@pytest.mark.parametrize(("decided", "rejected"), [("reject", 2), ("accept", 1)])
def test_of_two_graders_nothing_counts_before_a_third_has_decided(
    graders, reader, decided, rejected
):
    first, second, third, _ = graders
    board = make_board(2)
    read(board, first, ("E01", "S-1"), ("E02", "S-1"))
    assert counted(reader) == {}
    read(board, second, ("E01", "S-1"))
    assert counted(reader) == {}
    decide(board, third, decided)
    assert counted(reader)["S-1"] == (rejected, 3)
    assert counted(reader, By.EXERCISE) == {board.exercise.code: (rejected, 3)}


def test_a_correction_counts_in_place_of_what_it_corrects_once_it_is_signed(graders, reader):
    board = make_board()
    first = read(board, graders[0], ("E02", "S-1"))
    correction = services.correct_grading(
        grading=first, grader=graders[1], reason="It was E01.", at=LATER
    )
    judge(correction, [("E01", "S-1"), ("E03", "S-1")], at=LATER)
    assert counted(reader)["S-1"] == (1, 3)
    sign(correction, at=LATER)
    assert counted(reader)["S-1"] == (2, 3)


def test_an_own_reading_is_never_counted(graders, reader):
    board = make_board()
    own = services.start_own_reading(board=board, trainee=board.person.user, at=NOW)
    judge(own, [("E01", "S-1"), ("E02", "S-1")])
    assert counted(reader) == {}
    read(board, graders[0], ("E03", "S-1"))
    assert counted(reader)["S-1"] == (1, 3)


def test_a_board_whose_regrading_is_asked_for_waits_for_it(graders, reader):
    board = make_board()
    read(board, graders[0], ("E02", "S-1"))
    reading_requests.ask_for_another_reading(
        board=fresh(board), trainee=board.person.user, reason="The light was poor.", at=LATER
    )
    filters = presenter.WhatFailsFilters(12, "", None, LATER)
    for user in (reader, *graders[:2]):
        assert counted(user) == {}
        assert presenter.overview(user, By.CRITERION, filters).left_out == 1
        behind = presenter.joints_behind(
            user, By.CRITERION, "S-1", filters, shows_all=True, page=None
        )
        assert (behind.rejected, behind.judged, behind.joints) == (0, 0, ())
    read(board, graders[1], ("E01", "S-3"), at=LATER)
    assert counted(reader) == {"S-3": (1, 3), "F-1": (0, 3), "S-1": (0, 3), "S-9": (0, 1)}
    assert presenter.overview(reader, By.CRITERION, filters).left_out == 0


def test_nobody_counts_what_they_may_not_see(graders, reader):
    """Every board counted is one of which the reader may see what was judged."""
    plain, asked, waiting, two = make_board(), make_board(), make_board(), make_board(2)
    for board in (plain, asked):
        read(board, graders[0])
    read(waiting, graders[0], stages=["formed"])
    read(two, graders[0], ("E01", "S-1"))
    reading_requests.ask_for_another_reading(
        board=fresh(asked), trainee=asked.person.user, reason="Look again.", at=LATER
    )
    for user in (reader, *graders):
        seen = {each for each in Board.objects.all() if access.may_see_outcome(user, fresh(each))}
        assert set(access.boards_counted_for(user)) == {plain}
        assert plain in seen
        assert set(access.boards_not_counted_yet(user)) == {asked}


def test_boards_of_other_sites_and_of_former_roles_are_not_counted(graders, reader):
    elsewhere = factories.make_site("Aldergate", "AL")
    board = make_board(site=elsewhere)
    read(board, factories.make_user("instructor", site=elsewhere), ("E01", "S-1"))
    assert counted(reader) == {}
    both = factories.make_user("quality")
    SiteRole.objects.create(user=both, site=elsewhere, role="instructor")
    read(make_board(), graders[0])
    both = type(both).objects.get(pk=both.pk)
    assert counted(both)["S-1"] == (1, 6)
    assert counted(both, site=elsewhere)["S-1"] == (1, 3)
    SiteRole.objects.filter(user=both).delete()
    assert counted(type(both).objects.get(pk=both.pk)) == {}


def test_months_are_those_of_the_site_and_follow_each_other(graders, reader):
    """Castelmar is ahead of UTC: what came in late on 31 October there came in on the 1st."""
    site = graders[0].person.site
    site.time_zone = "Europe/Berlin"
    site.save(update_fields=["time_zone"])
    for at, rejected in (
        (datetime(2026, 10, 31, 22, 59, tzinfo=UTC), "E01"),
        (datetime(2026, 10, 31, 23, 1, tzinfo=UTC), "E02"),
        (datetime(2026, 11, 5, 9, 0, tzinfo=UTC), "board"),
    ):
        code = "S-9" if rejected == "board" else "S-1"
        read(make_board(handed_in_at=at), graders[0], (rejected, code))
    assert list(counted(reader, By.MONTH).items()) == [
        ("November 2026", (1, 6)),
        ("October 2026", (1, 3)),
    ]
    assert counted(reader, By.MONTH, months=1) == {"November 2026": (1, 6)}
    assert counted(reader, months=1)["S-9"] == (1, 2)
    early = datetime(2026, 11, 30, 22, 30, tzinfo=UTC)
    assert counted(reader, By.MONTH, months=1, now=early) == {"November 2026": (1, 6)}
    assert counted(reader, By.MONTH, months=1, now=early + timedelta(hours=1)) == {}


def test_classes_and_purposes(graders, reader):
    person = factories.make_person()
    session = factories.make_session(people=(person,))
    read(make_board(session=session), graders[0], ("E01", "S-1"), ("E02", "S-1"))
    read(make_board(purpose="qualification"), graders[0], ("E01", "F-1"))
    assert counted(reader, By.CLASS) == {session.number: (2, 3), "No class": (1, 3)}
    assert counted(reader, purpose="qualification")["F-1"] == (1, 3)
    assert counted(reader, purpose="production") == {}
    filters = presenter.WhatFailsFilters(12, "", None, LATER)
    behind = presenter.joints_behind(reader, By.CLASS, "", filters, shows_all=False, page=None)
    assert (behind.title, behind.rejected, behind.judged) == ("No class", 1, 3)


def test_a_cancelled_board_and_one_of_another_purpose_after_all(graders, reader):
    board = make_board()
    read(board, graders[0], ("E01", "S-1"))
    PurposeCorrection.objects.create(
        board=board,
        before="practice",
        after="qualification",
        reason="It was one.",
        corrected_by=graders[0],
    )
    Board.objects.filter(pk=board.pk).update(purpose="qualification")
    assert counted(reader, purpose="practice") == {}
    assert counted(reader, purpose="qualification")["S-1"] == (1, 3)
    Board.objects.filter(pk=board.pk).update(cancelled_at=LATER)
    assert counted(reader) == {}


def test_the_boards_handed_in_last_are_counted_and_the_page_knows_of_the_others(
    graders, reader, monkeypatch
):
    monkeypatch.setattr(what_fails, "MOST_BOARDS", 2)
    for days, rejected in ((3, "E01"), (2, "E02"), (1, "E03")):
        board = make_board(handed_in_at=NOW - timedelta(days=days))
        read(board, graders[0], *[(rejected, "S-1")] * (days == 3))
    filters = presenter.WhatFailsFilters(12, "", None, LATER)
    overview = presenter.overview(reader, By.CRITERION, filters)
    assert (overview.looked_at.is_cut, overview.looked_at.found) == (True, 3)
    assert counted(reader)["S-1"] == (0, 6)
    monkeypatch.setattr(what_fails, "MOST_BOARDS", 3)
    overview = presenter.overview(reader, By.CRITERION, filters)
    assert (overview.looked_at.is_cut, overview.looked_at.found) == (False, 3)


def test_many_boards_are_read_as_each_is_by_itself(graders):
    """What counts of boards read at once is what their own pages show."""
    plain, two, remade = make_board(), make_board(2), make_board()
    read(plain, graders[0], ("E02", "S-1"), ("board", "S-9"))
    read(two, graders[0], ("E02", "S-1"), ("E01", "S-3"))
    read(two, graders[1], ("E02", "S-1"))
    decide(two, graders[2], "reject")
    read(remade, graders[0], ("E02", "S-1"))
    send_back(remade, "E02", "S-1", graders[0])
    read(remade, graders[0], at=LATER)
    boards = [fresh(board) for board in (remade, two, plain)]
    attempts = what_fails.attempts_on(boards)
    for board in boards:
        alone = board_results.read_board(fresh(board))
        here = [each for each in attempts if each.board == board and each.joint]
        assert [(each.joint, each.state) for each in here] == [
            (one.joint, one.state_for_statistics) for one in alone.first_makes
        ]
        assert [{row.pk for row in each.rows.values()} for each in here] == [
            {judgement.pk for judgement in one.judgements} for one in alone.first_makes
        ]
        (whole,) = [each for each in attempts if each.board == board and not each.joint]
        assert {row.pk for row in whole.rows.values()} == {
            judgement.pk for judgement in alone.board.judgements
        }


@pytest.mark.parametrize("by", By)
def test_more_boards_take_no_more_queries(graders, reader, by):
    filters = presenter.WhatFailsFilters(12, "", None, LATER)

    def queries():
        user = type(reader).objects.get(pk=reader.pk)
        with CaptureQueriesContext(
            connection,
        ) as captured:
            key = presenter.overview(user, by, filters).lines[0].rejected_url
            assert key
            presenter.joints_behind(user, by, "S-1", filters, shows_all=False, page=None)
        return len(captured)

    read(make_board(), graders[0], ("E02", "S-1"))
    few = queries()
    for number in range(4):
        board = make_board(1 + number % 2)
        for grader in graders[: 1 + number % 2]:
            read(board, grader, ("E02", "S-1"), ("E01", "F-1"))
    assert queries() == few


def test_behind_a_number_stand_its_joints_with_what_was_judged_by_first(graders, reader):
    board = make_board()
    site_photo = factories.make_photo(board, None)
    early = factories.make_photo(board, joint(board, "E02"), stage="formed")
    late = factories.make_photo(board, joint(board, "E02"), stage="soldered")
    factories.make_photo(board, joint(board, "E01"))
    grading = begin(board, graders[0])
    judge(grading, [("E02", "S-1"), ("board", "S-9")])
    judgements.judge(
        grading=grading,
        criterion=grading.criteria_set.criteria.get(code="F-1"),
        joint=joint(board, "E03"),
        outcome="reject",
        seen=judgements.Circumstances(how="photograph", photo=site_photo, note="Too short."),
        at=NOW,
    )
    sign(grading)
    filters = presenter.WhatFailsFilters(12, "", None, LATER)

    def behind(by, key, *, shows_all=False):
        found = presenter.joints_behind(reader, by, key, filters, shows_all=shows_all, page=None)
        return [
            (str(one.joint or "board"), one.is_rejected, list(one.photos)) for one in found.joints
        ]

    assert behind(By.CRITERION, "S-1") == [("E02", True, [late, early])]
    assert behind(By.CRITERION, "F-1") == [("E03", True, [site_photo])]
    assert behind(By.CRITERION, "S-9") == [("board", True, [site_photo])]
    assert behind(By.MONTH, "2026-11") == [
        ("E02", True, [late, early]),
        ("E03", True, [site_photo]),
    ]
    assert [one[:2] for one in behind(By.EXERCISE, board.exercise.code, shows_all=True)] == [
        ("E01", False),
        ("E02", True),
        ("E03", True),
    ]
    assert behind(By.CRITERION, "nothing") == []
    late.taken_back_at = LATER
    late.save(update_fields=["taken_back_at"])
    assert behind(By.CRITERION, "S-1") == [("E02", True, [early])]


@pytest.mark.parametrize("module", [failure_rates, what_fails, quantities])
def test_examples_in_docstrings_hold(module):
    found = doctest.testmod(module)
    assert found.attempted > 0
    assert found.failed == 0


def test_a_file_has_every_table(graders, reader):
    board = make_board()
    read(board, graders[0], ("E02", "S-1"))
    filters = presenter.WhatFailsFilters(12, "", None, LATER)
    rows = list(presenter.csv_rows(reader, filters))
    assert [row[0] for row in rows] == ["criterion"] * 4 + ["exercise", "class", "month"]
    assert rows[0] == ["criterion", "S-1", "Title 2", 1, 3]
    assert rows[-1] == ["month", "2026-11", "November 2026", 1, 3]
