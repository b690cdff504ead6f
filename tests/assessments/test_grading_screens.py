"""The grading screen: which place, criterion and photograph come next, and what is counted."""

from decimal import Decimal
from urllib.parse import quote

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from assessments.exceptions import AssessmentError
from assessments.models import Board, Judgement
from assessments.presenters import grading_page
from assessments.queries import board_results
from assessments.queries.board_for_grader import BoardForGrader
from assessments.services import grading as services
from assessments.services import judgements
from assessments.services.judgements import Circumstances
from people.middleware import tablets
from tests import factories
from tests.factories import NOW

pytestmark = pytest.mark.django_db

# Session, user and roles come before; a whole screen of one board takes so many queries more.
QUERIES_OF_A_SCREEN = 9


@pytest.fixture
def instructor():
    return factories.make_user("instructor")


@pytest.fixture
def board():
    factories.make_criteria_set()
    return factories.make_board()


def fetch_for_grader(board, user, *, own=False):
    return BoardForGrader(Board.objects.get(pk=board.pk), user, own=own)


def show(board, user, *, own=False, **asked):
    return grading_page.grading_page(fetch_for_grader(board, user, own=own), **asked)


def begin(board, user):
    return services.start_grading(board=board, grader=user, at=NOW)


def say(grading, joint, *codes, outcome="accept", **seen):
    for code in codes:
        judgements.judge(
            grading=grading,
            criterion=grading.criteria_set.criteria.get(code=code),
            joint=joint,
            outcome=outcome,
            seen=Circumstances(**seen),
            at=NOW,
        )


def joint_at(board, name):
    return board.joints.get(position__name=name)


def accept_all(grading, stage="soldered"):
    for joint in [*board_results.joints_that_count(grading.board), None]:
        for criterion in board_results.criteria_for(grading, stage, joint):
            say(grading, joint, criterion.code)


def where(screen):
    return screen.place.name, screen.line.criterion.code if screen.line else ""


# Where one begins


def test_a_board_that_nobody_judged_opens_at_its_first_joint_and_criterion(board, instructor):
    screen = show(board, instructor)
    assert where(screen) == ("E01", "S-1")
    assert (screen.grading, screen.judged, screen.open_joints) == (None, 0, 3)
    assert (screen.can_undo, screen.stage_is_signed, screen.stage_is_complete) == (False,) * 3


@pytest.mark.parametrize(
    ("asked", "expected"),
    [
        pytest.param({}, ("E02", "S-1"), id="nothing asked"),
        pytest.param({"place_name": "E09", "stage_name": "baked"}, ("E02", "S-1"), id="unknown"),
        pytest.param({"place_name": "E01"}, ("E01", "S-1"), id="a finished joint"),
        pytest.param({"place_name": "E03", "code": "S-3"}, ("E03", "S-3"), id="a criterion"),
        pytest.param({"place_name": "E03", "code": "S-9"}, ("E03", "S-1"), id="of the board"),
        pytest.param({"place_name": "board"}, ("board", "S-9"), id="the whole board"),
    ],
)
def test_what_is_asked_for_is_shown_and_anything_unknown_falls_back_to_what_is_open(
    board, instructor, asked, expected
):
    say(begin(board, instructor), joint_at(board, "E01"), "S-1", "S-2", "S-3")
    assert where(show(board, instructor, **asked)) == expected


def test_the_first_stage_that_takes_judgements_comes_first(instructor):
    factories.make_criteria_set({"code": "F", "stage": "formed"}, {"code": "S"})
    board = factories.make_board(exercise=factories.make_exercise(stages=("soldered", "formed")))
    assert [tab.stage for tab in show(board, instructor).tabs] == ["formed", "soldered"]
    grading = begin(board, instructor)
    accept_all(grading, "formed")
    services.sign_stage(
        grading=grading, stage="formed", signer=instructor, proof="password", at=NOW
    )
    screen = show(board, instructor)
    assert screen.stage == "soldered"
    assert [(tab.signed, tab.open_count) for tab in screen.tabs] == [(True, 0), (False, 3)]


def test_without_a_published_set_there_is_no_screen(instructor):
    with pytest.raises(AssessmentError, match="publish one"):
        show(factories.make_board(), instructor)


# Going forward


def test_forward_goes_to_the_next_open_criterion(board, instructor):
    say(begin(board, instructor), joint_at(board, "E01"), "S-2")
    screen = show(board, instructor, place_name="E01", code="S-2", forward=True)
    assert where(screen) == ("E01", "S-3")


def test_forward_turns_back_to_a_criterion_that_was_passed_over(board, instructor):
    say(begin(board, instructor), joint_at(board, "E01"), "S-2", "S-3")
    screen = show(board, instructor, place_name="E01", code="S-3", forward=True)
    assert where(screen) == ("E01", "S-1")


def test_forward_leaves_a_finished_joint_for_the_next_open_one(board, instructor):
    grading = begin(board, instructor)
    say(grading, joint_at(board, "E01"), "S-1", "S-2", "S-3")
    say(grading, joint_at(board, "E02"), "S-1", "S-2", "S-3")
    screen = show(board, instructor, place_name="E01", code="S-3", forward=True)
    assert where(screen) == ("E03", "S-1")


def test_forward_comes_round_to_an_earlier_joint_and_stays_when_nothing_is_open(board, instructor):
    grading = begin(board, instructor)
    for name in ("E02", "E03"):
        say(grading, joint_at(board, name), "S-1", "S-2", "S-3")
    say(grading, None, "S-9")
    screen = show(board, instructor, place_name="board", code="S-9", forward=True)
    assert where(screen) == ("E01", "S-1")
    say(grading, joint_at(board, "E01"), "S-1", "S-2", "S-3")
    screen = show(board, instructor, place_name="E01", code="S-3", forward=True)
    assert where(screen) == ("E01", "S-3")
    assert screen.stage_is_complete
    assert screen.next_open_url == ""


def test_without_forward_a_judged_criterion_stays_on_screen(board, instructor):
    say(begin(board, instructor), joint_at(board, "E01"), "S-1")
    assert where(show(board, instructor, place_name="E01", code="S-1")) == ("E01", "S-1")


def test_joints_before_after_and_next_open(board, instructor):
    say(begin(board, instructor), joint_at(board, "E02"), "S-1", "S-2", "S-3")
    first = show(board, instructor, place_name="E01")
    assert first.previous_url == ""
    assert "joint=E02" in first.next_url
    assert "joint=E03" in first.next_open_url
    last = show(board, instructor, place_name="board")
    assert last.next_url == ""
    assert "joint=E01" in last.next_open_url


# What is counted


def test_the_rest_counts_neither_critical_nor_measured_nor_judged_criteria(instructor):
    factories.make_criteria_set(
        {"code": "C", "severity": "critical"},
        {"code": "M", "how": "measured", "low": 180, "unit": "deg"},
        {"code": "A"},
        {"code": "B", "severity": "minor"},
        {"code": "W", "of": "board"},
    )
    board = factories.make_board()
    say(begin(board, instructor), joint_at(board, "E01"), "A")
    assert show(board, instructor, place_name="E01").rest == 1
    assert show(board, instructor, place_name="E02").rest == 2
    assert show(board, instructor, place_name="board").rest == 0


def test_states_of_the_strip_follow_the_judgements(board, instructor):
    grading = begin(board, instructor)
    say(grading, joint_at(board, "E01"), "S-1", "S-2")
    say(grading, joint_at(board, "E01"), "S-3", outcome="reject")
    say(grading, joint_at(board, "E02"), "S-1", "S-3")
    say(grading, joint_at(board, "E02"), "S-2", outcome="reject")
    say(grading, joint_at(board, "E03"), "S-1", outcome="reject")
    screen = show(board, instructor)
    assert [(cell.name, cell.state) for cell in screen.cells] == [
        ("E01", "accepted_with_remarks"),
        ("E02", "rejected"),
        ("E03", "open"),
        ("board", "open"),
    ]
    assert (screen.judged, screen.open_joints, screen.tabs[0].open_count) == (2, 1, 2)


def test_a_spare_joint_is_asked_for_once_somebody_begins_it(instructor):
    factories.make_criteria_set()
    board = factories.make_board(exercise=factories.make_exercise(spare=1))
    screen = show(board, instructor)
    assert [cell.spare for cell in screen.cells] == [False, False, True, False]
    assert screen.cells[2].state == "not_applicable"
    assert screen.open_joints == 2
    say(begin(board, instructor), joint_at(board, "E03"), "S-1")
    assert show(board, instructor).cells[2].state == "open"


def test_a_missing_joint_keeps_the_stage_from_being_complete(board, instructor):
    joint_at(board, "E02").delete()
    accept_all(begin(board, instructor))
    screen = show(board, instructor)
    assert screen.missing == ("E02",)
    assert not screen.stage_is_complete


def test_only_the_last_make_of_a_joint_is_judged(board, instructor):
    board.exercise.rework_allowed = 1
    with factories.unprotected():
        board.exercise.save(update_fields=["rework_allowed"])
    first = joint_at(board, "E01")
    again = board.joints.create(position=first.position, make=2)
    before = factories.make_photo(board, first)
    after = factories.make_photo(board, again)
    screen = show(board, instructor, place_name="E01")
    assert screen.place.joint == again
    assert (screen.photos, before in screen.photos) == ([after], False)


def test_an_alloy_leaves_out_the_criteria_of_others(instructor):
    factories.make_criteria_set({"code": "A"}, {"code": "L", "alloys": ["SAC305"]})
    board = factories.make_board(alloy="Sn63Pb37")
    assert [line.criterion.code for line in show(board, instructor).lines] == ["A"]


def test_ten_criteria_have_keys_and_the_eleventh_has_none(instructor):
    factories.make_criteria_set(*({"code": f"S-{n}"} for n in range(1, 12)))
    lines = show(factories.make_board(), instructor).lines
    assert "".join(line.key for line in lines) == "1234567890"
    assert [line.number for line in lines] == list(range(1, 12))


def test_a_value_carries_its_verdict(instructor):
    factories.make_criteria_set({"code": "M", "how": "measured", "low": 180, "unit": "deg"})
    board = factories.make_board()
    tool = factories.make_tool(board.site)
    say(
        begin(board, instructor),
        joint_at(board, "E01"),
        "M",
        outcome="reject",
        how="instrument",
        value=Decimal(148),
        uncertainty=Decimal("2.5"),
        tool=tool,
    )
    assert show(board, instructor, place_name="E01").line.verdict == "outside"
    assert show(board, instructor, place_name="E02").line.verdict is None


# Photographs


def test_a_joint_shows_its_own_photographs_first_and_opens_at_those_of_the_stage(board, instructor):
    whole = factories.make_photo(board)
    formed = factories.make_photo(board, joint_at(board, "E01"), stage="formed")
    soldered = factories.make_photo(board, joint_at(board, "E01"), stage="soldered")
    factories.make_photo(board, joint_at(board, "E02"))
    screen = show(board, instructor)
    assert screen.photos == [formed, soldered, whole]
    assert (screen.photo, screen.photo_number) == (soldered, 2)
    assert f"photo={whole.key}" in screen.next_photo_url
    assert f"photo={formed.key}" in screen.previous_photo_url
    assert show(board, instructor, place_name="board").photos == [whole]


def test_a_photograph_that_was_chosen_stays_from_criterion_to_criterion(board, instructor):
    factories.make_photo(board, joint_at(board, "E01"))
    second = factories.make_photo(board, joint_at(board, "E01"))
    screen = show(board, instructor, photo_key=second.key)
    assert screen.photo == second
    assert all(f"photo={second.key}" in line.url for line in screen.lines)
    assert screen.here["photo"] == second.key
    assert "photo" not in show(board, instructor).here


def test_a_photograph_of_another_board_is_not_shown(board, instructor):
    own = factories.make_photo(board)
    other = factories.make_photo(factories.make_board())
    assert show(board, instructor, photo_key=other.key).photo == own


def test_what_the_next_key_would_show_is_fetched_ahead(board, instructor):
    here = [factories.make_photo(board, joint_at(board, "E01")) for _ in range(2)]
    following = factories.make_photo(board, joint_at(board, "E02"))
    next_open = factories.make_photo(board, joint_at(board, "E03"))
    say(begin(board, instructor), joint_at(board, "E02"), "S-1", "S-2", "S-3")
    screen = show(board, instructor, place_name="E01")
    assert screen.preload == [here[1], following, next_open]


def test_without_a_photograph_one_judges_with_the_board_in_hand(board, instructor):
    assert show(board, instructor, how="photograph").how == Judgement.How.AT_BOARD
    factories.make_photo(board)
    assert show(board, instructor).how == Judgement.How.PHOTOGRAPH
    assert show(board, instructor, how="at_board").how == Judgement.How.AT_BOARD


# Other readings


def test_the_makers_own_reading_stands_beside_and_is_never_counted(instructor):
    factories.make_criteria_set()
    trainee = factories.make_user()
    board = factories.make_board(trainee.person)
    own = services.start_own_reading(board=board, trainee=trainee, at=NOW)
    say(own, joint_at(board, "E01"), "S-1", outcome="reject", note="a nick")
    line = show(board, instructor).line
    assert (line.own.outcome, line.own.note, line.judgement) == ("reject", "a nick", None)
    mine = show(board, trainee, own=True)
    assert mine.lines[0].judgement.outcome == "reject"
    assert mine.lines[0].own is None


def test_an_own_reading_is_over_once_an_instructor_has_signed(instructor):
    factories.make_criteria_set()
    trainee = factories.make_user()
    board = factories.make_board(trainee.person)
    services.start_own_reading(board=board, trainee=trainee, at=NOW)
    assert not show(board, trainee, own=True).stage_is_signed
    grading = begin(board, instructor)
    accept_all(grading)
    services.sign_stage(
        grading=grading, stage="soldered", signer=instructor, proof="password", at=NOW
    )
    screen = show(board, trainee, own=True)
    assert screen.stage_is_signed
    assert screen.tabs[0].open_count > 0


def test_a_stage_that_somebody_else_signed_shows_what_they_signed(instructor):
    factories.make_criteria_set({"code": "F", "stage": "formed"}, {"code": "S"})
    board = factories.make_board(exercise=factories.make_exercise(stages=("formed", "soldered")))
    other = factories.make_user("instructor")
    theirs = begin(board, other)
    accept_all(theirs, "formed")
    services.sign_stage(grading=theirs, stage="formed", signer=other, proof="password", at=NOW)
    screen = show(board, instructor, stage_name="formed")
    assert screen.stage_is_signed
    assert {cell.state for cell in screen.cells} == {"accepted"}
    assert not screen.can_undo


def test_whoever_has_begun_the_board_too_is_named(board, instructor):
    other = begin(board, factories.make_user("instructor"))
    assert show(board, instructor).others == [other]
    assert show(board, other.grader).others == []


def test_a_correction_takes_judgements_of_the_stages_it_replaces(board, instructor):
    grading = begin(board, instructor)
    accept_all(grading)
    services.sign_stage(
        grading=grading, stage="soldered", signer=instructor, proof="password", at=NOW
    )
    correction = services.correct_grading(
        grading=grading, grader=instructor, reason="Wrong joint read.", at=NOW
    )
    screen = show(board, instructor)
    assert screen.grading == correction
    assert not screen.stage_is_signed
    assert screen.stage_is_complete


# What it costs


def test_a_screen_takes_a_fixed_number_of_queries(instructor):
    factories.make_criteria_set()
    trainee = factories.make_user()
    counts = []
    for joints in (2, 20):
        board = factories.make_board(trainee.person, factories.make_exercise(("turret",) * joints))
        for joint in board.joints.all():
            factories.make_photo(board, joint)
        own = services.start_own_reading(board=board, trainee=trainee, at=NOW)
        say(own, joint_at(board, "E01"), "S-1")
        say(begin(board, instructor), joint_at(board, "E01"), "S-1")
        fresh = Board.objects.select_related("exercise").get(pk=board.pk)
        with CaptureQueriesContext(
            connection,
        ) as asked:
            grading_page.grading_page(
                BoardForGrader(fresh, instructor, own=False), place_name="E02"
            )
        counts.append(len(asked))
    assert counts == [QUERIES_OF_A_SCREEN] * 2


def test_a_judgement_takes_six_queries(board, instructor, django_assert_num_queries):
    for_grader = fetch_for_grader(board, instructor)
    for_grader.reading = begin(board, instructor)
    criterion, joint = for_grader.criterion("S-1"), for_grader.joints[0]
    assert for_grader.board.exercise
    for outcome in ("accept", "reject"):
        # Two more hold the test's own transaction: a savepoint and its end.
        with django_assert_num_queries(6 + 2):
            judgements.judge(
                grading=for_grader.reading,
                criterion=criterion,
                joint=joint,
                outcome=outcome,
                seen=Circumstances(),
                at=NOW,
            )


# For looking


@pytest.mark.usefixtures("everybody_has_standing")
def test_who_looks_is_told_to_sign_in_fully_and_has_nothing_to_judge_by(client, instructor, board):
    accept_all(begin(board, instructor))
    client.force_login(instructor)
    session = client.session
    session[tablets.SESSION_READ_ONLY] = True
    session.save()
    grade = reverse("assessments:board_grade", args=[board.number])
    told = client.get(grade).text
    assert "You are signed in to read only. Judging and signing ask for your password." in told
    full = reverse("people:tablet_full")
    assert f'href="{full}?next={quote(grade)}"' in told
    for gone in ('id="judge"', 'data-key="a"', 'data-key="A"', 'id="undo"', 'id="go-sign"'):
        assert gone not in told
    assert 'id="grading-state"' not in told
    del session[tablets.SESSION_READ_ONLY]
    session.save()
    told = client.get(grade).text
    assert "signed in to read only" not in told
    assert 'id="judge"' in told
