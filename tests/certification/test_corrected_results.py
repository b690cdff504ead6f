"""Certificates that were issued on a result which was corrected since."""

import json
from datetime import timedelta

import pytest
from django.urls import reverse

from assessments.models import Grading
from assessments.queries import written_tests
from assessments.services import grading, papers
from certification.services.acts import Act
from certification.services.certificates import issue_certificate
from certification.services.proposals import propose
from records.models import TrailPayload
from records.queries.verification import verify_records
from tests import factories
from tests.assessments import several
from tests.assessments.written import hand_out, make_test, right_answer
from tests.factories import NOW, TODAY, make_revision, make_user

pytestmark = pytest.mark.django_db

CORRECTED = NOW + timedelta(hours=2)


@pytest.fixture
def user():
    return make_user()


@pytest.fixture
def instructor():
    return make_user("instructor")


@pytest.fixture
def quality():
    return make_user("quality")


def issued(person, instructor, quality, **scheme):
    """A certificate under a scheme that asks for what the person has shown."""
    scope = factories.make_scope()
    revision = make_revision(scope, grader_needs_standing=False, **scheme)
    proposal = propose(
        person=person, scope=scope, revision=revision, act=Act(instructor, NOW, "password")
    )
    return issue_certificate(proposal=proposal, act=Act(quality, NOW, "password"))


@pytest.fixture
def paper(user, instructor):
    """A printed paper of which everything was entered as right."""
    paper = hand_out(make_test(author=instructor), user.person, instructor, medium="printed")
    papers.enter_answers(
        paper=paper,
        given=answers(paper),
        sat_on=TODAY,
        shown=None,
        actor=instructor,
        at=NOW,
        proof="password",
    )
    return paper


def answers(paper, wrong=()):
    return {
        one.order: ["7"] if one.order in wrong else right_answer(one.question, one.shown)
        for one in written_tests.questions_of(paper)
    }


def correct_paper(paper, instructor, wrong=(1, 2, 3), at=CORRECTED):
    papers.correct_answers(
        paper=paper,
        given=answers(paper, wrong),
        reason="Read wrongly.",
        shown=None,
        actor=instructor,
        at=at,
        proof="password",
    )


@pytest.fixture
def on_paper(user, instructor, quality, paper):
    """A certificate that stands on the paper and on a board."""
    exercise = factories.make_exercise()
    factories.make_passed_board(user.person, exercise, grader=instructor)
    return issued(user.person, instructor, quality, exercise=exercise, written_test=paper.test.code)


@pytest.fixture
def board(user, instructor):
    """A board that was read, and passed."""
    several.make_criteria()
    board = factories.make_board(user.person, factories.make_exercise(), handed_in_at=NOW)
    several.read(board, instructor)
    assert several.outcome_of(board)[:2] == (True, True)
    return board


@pytest.fixture
def on_board(user, instructor, quality, board):
    return issued(user.person, instructor, quality, exercise=board.exercise)


def correct_board(board, instructor, *rejected, at=CORRECTED):
    new = grading.correct_grading(
        grading=Grading.objects.get(board=board, replaced_by=None),
        grader=instructor,
        reason="Blurred.",
        at=at,
    )
    several.judge(new, rejected, at=at)
    several.sign(new, at=at)
    return new


def rests_in_trail(act):
    """What the last such entry says of what rests on the result."""
    last = TrailPayload.objects.filter(entry__act=act).latest("entry")
    return json.loads(last.body)["rests_on_it"]


def test_whoever_corrects_a_result_reads_first_what_rests_on_it(
    client, instructor, paper, on_paper, board, on_board
):
    client.force_login(instructor)
    [reading] = Grading.objects.filter(board=board)
    for name, of, certificate in (
        ("paper_correct", [paper.number], on_paper),
        ("grading_correct", [board.number, reading.pk], on_board),
    ):
        page = client.get(reverse(f"assessments:{name}", args=of)).content.decode()
        assert f"rests: certificate {certificate.number}" in " ".join(page.split())
        assert "quality decides whether it still stands" in page


def test_what_rests_on_a_corrected_result_is_named_in_the_trail_and_found_again(
    instructor, paper, on_paper, board, on_board
):
    correct_board(board, instructor, ("E01", "S-1"))
    assert rests_in_trail("stage signed") == [f"certificate {on_board.number}"]
    factories.write_down()
    correct_paper(paper, instructor)
    assert rests_in_trail("written test marked") == [f"certificate {on_paper.number}"]
    assert verify_records().faults == []
