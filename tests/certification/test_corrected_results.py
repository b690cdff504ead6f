"""Certificates that were issued on a result which was corrected since, until quality decides."""

import json
from datetime import timedelta

import pytest
from django.urls import reverse

from assessments.models import Grading, ReadingRequest
from assessments.queries import written_tests
from assessments.services import grading, papers, reading_requests
from certification.presenters import corrected_results
from certification.services import events
from certification.services.acts import Act
from certification.services.certificates import issue_certificate
from certification.services.proposals import propose
from people.models import Role
from records.models import TrailPayload
from records.queries.verification import verify_records
from tests import factories
from tests.assessments import several
from tests.assessments.written import hand_out, make_test, right_answer
from tests.factories import NOW, TODAY, make_revision, make_user

pytestmark = pytest.mark.django_db

CORRECTED = NOW + timedelta(hours=2)
AFTER = NOW + timedelta(hours=3)


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


def listed(reader, now=AFTER):
    return [line.certificate for line in corrected_results.waiting_for(reader, now)]


def rests_in_trail(act):
    """What the last such entry says of what rests on the result."""
    last = TrailPayload.objects.filter(entry__act=act).latest("entry")
    return json.loads(last.body)["rests_on_it"]


def act(quality, at):
    return Act(quality, at, "password", reason="The result was corrected.")


def suspend(certificate, quality, at=AFTER):
    return events.suspend_certificates(
        person=certificate.person, scope=certificate.scope, act=act(quality, at)
    )


def test_quality_is_told_of_a_certificate_on_a_paper_that_was_corrected_to_a_fail(
    client, instructor, quality, paper, on_paper
):
    register = reverse("certification:register")
    client.force_login(quality)
    assert listed(quality) == []
    assert "result that was corrected" not in client.get(register).content.decode()

    correct_paper(paper, instructor)

    says = (
        f"The result of paper {paper.number} was corrected on 25 Nov 2026: the written test is "
        "not passed any more."
    )
    page = client.get(register).content.decode()
    assert "Certificates on a result that was corrected" in page
    assert says in page
    detail = reverse("certification:certificate_detail", args=[on_paper.number])
    assert detail in page
    told = client.get(detail).content.decode()
    assert says in told
    assert "Quality decides what becomes of it" in told


def test_quality_is_told_of_a_certificate_on_a_board_that_was_corrected_to_a_fail(
    client, instructor, quality, board, on_board
):
    correct_board(board, instructor)
    assert listed(quality) == []  # Corrected, and passed as before.

    correct_board(board, instructor, ("E01", "S-1"), at=CORRECTED + timedelta(minutes=1))

    client.force_login(quality)
    says = f"The result of board {board.number} was corrected on 25 Nov 2026"
    assert says in client.get(reverse("certification:register")).content.decode()
    detail = reverse("certification:certificate_detail", args=[on_board.number])
    assert says in client.get(detail).content.decode()


def test_quality_is_told_of_a_certificate_on_a_board_that_failed_when_it_was_read_again(
    user, quality, board, on_board
):
    another = make_user("instructor")
    reading_requests.ask_for_another_reading(
        board=several.plain(board), trainee=user, reason="E01 was good.", at=CORRECTED
    )
    assert listed(quality) == []
    several.read(board, another, ("E01", "S-1"), at=CORRECTED)
    assert ReadingRequest.objects.get().after["passed"] is False
    assert listed(quality) == [on_board]


def test_it_is_quality_at_the_site_and_never_the_holder_who_is_told(
    client, user, instructor, quality, paper, on_paper
):
    correct_paper(paper, instructor)
    elsewhere = make_user("quality", site=factories.make_site("Aldergate", "AL"))
    user.roles.create(site=user.person.site, role=Role.QUALITY)

    assert listed(quality) == [on_paper]
    for reader in (elsewhere, user, instructor):
        assert listed(reader) == []
    client.force_login(instructor)
    page = client.get(reverse("certification:register")).content.decode()
    assert "result that was corrected" not in page


def test_an_instructor_who_is_quality_too_finds_it_on_the_bench(
    client, instructor, quality, paper, on_paper
):
    correct_paper(paper, instructor)
    quality.roles.create(site=quality.person.site, role=Role.INSTRUCTOR)
    client.force_login(quality)
    bench = client.get(reverse("certification:bench"))
    [line] = [one for one in bench.context["bench"].to_do if one.kind == "corrected"]
    assert (line.number, line.names) == (1, (on_paper.number,))
    page = bench.content.decode()
    assert "1 certificate stands on a result that was corrected." in page
    assert f"{reverse('certification:register')}#h-corrected" in page


def test_it_is_on_the_list_until_quality_decides_and_is_kept_by_being_reinstated(
    instructor, quality, paper, on_paper
):
    before = CORRECTED - timedelta(minutes=1)
    suspend(on_paper, quality, at=before)  # For another reason, before anybody knew.
    correct_paper(paper, instructor)
    assert listed(quality) == [on_paper]

    events.reinstate_certificates(
        person=on_paper.person, scope=on_paper.scope, act=act(quality, AFTER)
    )
    assert listed(quality) == []
    line = corrected_results.line_of(on_paper, quality, AFTER)
    assert (len(line.says), line.is_open) == (1, False)


def test_a_decision_entered_in_error_leaves_it_on_the_list(instructor, quality, paper, on_paper):
    correct_paper(paper, instructor)
    [event] = suspend(on_paper, quality)
    assert listed(quality) == []
    events.void_event(event=event, act=act(quality, AFTER))
    assert listed(quality) == [on_paper]


def test_a_result_corrected_once_more_comes_back_and_one_that_is_a_pass_again_goes(
    instructor, quality, paper, on_paper
):
    correct_paper(paper, instructor)
    suspend(on_paper, quality)
    again = AFTER + timedelta(hours=1)
    correct_paper(paper, instructor, wrong=(1, 2), at=again)
    assert listed(quality, again) == [on_paper]
    correct_paper(paper, instructor, wrong=(), at=again + timedelta(hours=1))
    assert listed(quality, again) == []
    assert corrected_results.line_of(on_paper, quality, again) is None


def test_what_was_revoked_before_waits_for_nobody(instructor, quality, paper, on_paper):
    events.revoke_certificates(person=on_paper.person, scope=on_paper.scope, act=act(quality, NOW))
    correct_paper(paper, instructor)
    assert listed(quality) == []


def test_what_is_withdrawn_or_over_waits_for_nobody(instructor, quality, paper, on_paper):
    correct_paper(paper, instructor)
    over = NOW.replace(year=NOW.year + 3)
    assert listed(quality, over) == []
    papers.withdraw_paper(paper=paper, reason="Not their hand.", actor=quality, at=AFTER)
    assert listed(quality) == [on_paper]
    events.withdraw_certificate(certificate=on_paper, act=act(quality, AFTER))
    assert listed(quality) == []
    assert corrected_results.line_of(on_paper, quality, AFTER) is None


def test_whoever_may_read_a_board_again_is_not_told_how_it_went(
    user, instructor, quality, board, on_board
):
    correct_board(board, instructor, ("E01", "S-1"))
    both = make_user("quality")
    both.roles.create(site=both.person.site, role=Role.INSTRUCTOR)
    reading_requests.ask_for_another_reading(
        board=several.plain(board), trainee=user, reason="E01 was good.", at=AFTER
    )
    assert listed(quality) == [on_board]
    assert listed(both) == []
    assert corrected_results.line_of(on_board, both, AFTER) is None


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
