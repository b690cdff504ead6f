"""Judging a board: start, judge, take back, sign, correct; and what each refuses."""

import json
from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction

from assessments import ports
from assessments.exceptions import AlreadySigned, AssessmentError, MayNotGrade, StageNotReady
from assessments.models import Grading, Judgement, StageSigning
from assessments.queries import board_results
from assessments.services import grading as services
from assessments.services import judgements
from assessments.services.judgements import Circumstances
from assessments.services.undo import undo
from records.models import TrailEntry
from tests import factories
from tests.factories import NOW
from training.models import Tool

IN_HAND = Circumstances(how="at_board", magnification=Decimal("10"))

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("everybody_has_standing")]


@pytest.fixture
def criteria():
    return factories.make_criteria_set()


@pytest.fixture
def instructor():
    return factories.make_user("instructor")


@pytest.fixture
def board(criteria):
    return factories.make_board()


def begin(board, instructor):
    return services.start_grading(board=board, grader=instructor, at=NOW)


def say(grading, joint, code, outcome="accept", seen=IN_HAND, at=NOW):
    return judgements.judge(
        grading=grading,
        criterion=grading.criteria_set.criteria.get(code=code),
        joint=joint,
        outcome=outcome,
        seen=seen,
        at=at,
    )


def accept_everything(grading, stage="soldered"):
    for joint in board_results.joints_that_count(grading.board):
        for criterion in board_results.criteria_for(grading, stage, joint):
            say(grading, joint, criterion.code)
    for criterion in board_results.criteria_for(grading, stage, None):
        say(grading, None, criterion.code)


def sign(grading, signer, stage="soldered", at=NOW):
    return services.sign_stage(grading=grading, stage=stage, signer=signer, proof="password", at=at)


def test_a_board_is_handed_in_by_being_judged(board, instructor):
    grading = begin(board, instructor)
    board.refresh_from_db()
    assert board.handed_in_at == NOW
    assert begin(board, instructor) == grading


def test_nobody_judges_their_own_board(criteria):
    instructor = factories.make_user("instructor")
    own = factories.make_board(person=instructor.person)
    with pytest.raises(MayNotGrade, match="your own board"):
        begin(own, instructor)


def test_without_an_answer_about_standing_nobody_may_grade(board, instructor):
    ports.register_may_grade(None)
    with pytest.raises(MayNotGrade, match="stays closed"):
        begin(board, instructor)


def test_a_refused_standing_is_told_in_its_own_words(board, instructor):
    ports.register_may_grade(lambda user, joint_types, day: "Your certificate ended.")
    with pytest.raises(MayNotGrade, match=r"^Your certificate ended\.$"):
        begin(board, instructor)


def test_without_a_published_set_nothing_is_judged(instructor):
    with pytest.raises(AssessmentError, match="publish one"):
        begin(factories.make_board(), instructor)


def test_judging_again_replaces_and_undo_puts_back_what_was(board, instructor):
    grading = begin(board, instructor)
    joint = board.joints.first()
    say(grading, joint, "S-1", "accept")
    say(grading, joint, "S-1", "reject", Circumstances(note="nicked"))
    assert Judgement.objects.get().outcome == "reject"
    undo(grading=grading)
    kept = Judgement.objects.get()
    assert (kept.outcome, kept.note, kept.magnification) == ("accept", "", Decimal("10"))
    assert kept.judged_at == NOW
    undo(grading=grading)
    assert not Judgement.objects.exists()
    assert undo(grading=grading) is None


def test_a_criterion_that_is_not_asked_of_the_joint_is_refused(board, instructor):
    grading = begin(board, instructor)
    with pytest.raises(AssessmentError, match="not asked of this joint"):
        say(grading, board.joints.first(), "S-9")
    with pytest.raises(AssessmentError, match="not asked of this joint"):
        say(grading, factories.make_board().joints.first(), "S-1")


def test_a_photograph_of_another_board_is_refused(board, instructor):
    grading = begin(board, instructor)
    with pytest.raises(AssessmentError, match="none is on screen"):
        say(grading, board.joints.first(), "S-1", seen=Circumstances(how="photograph"))


def test_accepting_the_rest_leaves_critical_and_measured_criteria_alone(instructor):
    factories.make_criteria_set(
        {"code": "C", "severity": "critical", "demerits": 40},
        {"code": "M", "how": "measured", "low": 180, "unit": "deg", "quantity": "wrap"},
        {"code": "A"},
        {"code": "B", "severity": "minor", "demerits": 5},
    )
    board = factories.make_board()
    grading = begin(board, instructor)
    joint = board.joints.first()
    say(grading, joint, "A", "reject")
    count = judgements.accept_the_rest(
        grading=grading, stage="soldered", joints=[joint], seen=IN_HAND, at=NOW
    )
    said = {one.criterion.code: one for one in Judgement.objects.all()}
    assert count == 1
    assert set(said) == {"A", "B"}
    assert said["B"].with_the_rest
    assert said["A"].outcome == "reject"
    undo(grading=grading)
    assert [one.criterion.code for one in Judgement.objects.all()] == ["A"]


def test_a_reading_that_does_not_bear_the_judgement_out_needs_a_note(instructor):
    factories.make_criteria_set(
        {"code": "M", "how": "measured", "low": 180, "high": 270, "unit": "deg"}
    )
    board = factories.make_board()
    tool = Tool.objects.create(code="G-1", kind="gauge", site=board.site)
    grading = begin(board, instructor)
    joint = board.joints.first()
    outside = {"how": "instrument", "value": Decimal(148), "uncertainty": Decimal("2.5")}
    with pytest.raises(AssessmentError, match="the tool it was read on"):
        say(grading, joint, "M", "reject", Circumstances(**outside))
    with pytest.raises(AssessmentError, match="say why in the note"):
        say(grading, joint, "M", "accept", Circumstances(**outside, tool=tool))
    say(grading, joint, "M", "accept", Circumstances(**outside, tool=tool, note="slipped gauge"))
    say(grading, joint, "M", "reject", Circumstances(**outside, tool=tool))
    assert Judgement.objects.get().value == Decimal(148)


def test_a_stage_with_open_criteria_is_not_signed(board, instructor):
    grading = begin(board, instructor)
    say(grading, board.joints.first(), "S-1")
    with pytest.raises(StageNotReady, match="Still open: E01 S-2, E01 S-3, E02 S-1"):
        sign(grading, instructor)
    assert not StageSigning.objects.exists()


def test_a_missing_joint_is_named(board, instructor):
    board.joints.filter(position__name="E02").delete()
    grading = begin(board, instructor)
    accept_everything(grading)
    with pytest.raises(StageNotReady, match="missing: E02"):
        sign(grading, instructor)


def test_a_spare_joint_may_stay_unjudged_but_not_half_judged(instructor, criteria):
    board = factories.make_board(exercise=factories.make_exercise(spare=1))
    grading = begin(board, instructor)
    accept_everything(grading)
    spare = board.joints.get(position__name="E03")
    Judgement.objects.filter(joint=spare).exclude(criterion__code="S-1").delete()
    with pytest.raises(StageNotReady, match="E03 S-2"):
        sign(grading, instructor)
    Judgement.objects.filter(joint=spare).delete()
    sign(grading, instructor)
    board.refresh_from_db()
    assert board.outcome.passed is True
    assert board.outcome.joints_judged == 2


def test_only_whoever_judged_signs(board, instructor):
    grading = begin(board, instructor)
    accept_everything(grading)
    with pytest.raises(MayNotGrade):
        sign(grading, factories.make_user("instructor"))


def test_a_signed_stage_is_fixed_by_the_database(board, instructor):
    grading = begin(board, instructor)
    accept_everything(grading)
    signing = sign(grading, instructor)
    one = grading.judgements.first()
    for change in (
        lambda: Judgement.objects.filter(pk=one.pk).update(outcome="reject"),
        lambda: Judgement.objects.filter(pk=one.pk).delete(),
        lambda: Grading.objects.filter(pk=grading.pk).update(reason="x"),
        lambda: StageSigning.objects.filter(pk=signing.pk).delete(),
    ):
        with pytest.raises(IntegrityError), transaction.atomic():
            change()
    with pytest.raises(AlreadySigned):
        say(grading, board.joints.first(), "S-1", "reject")
    with pytest.raises(AlreadySigned):
        sign(grading, instructor)
    assert undo(grading=grading) is None


def test_a_signature_says_who_when_what_and_covers_every_judgement(board, instructor):
    grading = begin(board, instructor)
    accept_everything(grading)
    signature = sign(grading, instructor).signature
    assert signature.printed_name == instructor.get_full_name()
    assert signature.zone == "Europe/Madrid"
    assert signature.meaning == "judged this stage against the criteria"
    assert len(json.loads(signature.content)["judgements"]) == 3 * 3 + 1
    assert TrailEntry.objects.filter(act="stage signed").count() == 1


def test_stages_are_signed_in_the_order_of_the_work(instructor):
    factories.make_criteria_set({"code": "F", "stage": "formed"}, {"code": "S"})
    # Whatever the order in which the exercise names them.
    board = factories.make_board(exercise=factories.make_exercise(stages=("soldered", "formed")))
    grading = begin(board, instructor)
    accept_everything(grading, "formed")
    accept_everything(grading, "soldered")
    with pytest.raises(StageNotReady, match="“formed” comes first and is not signed yet"):
        sign(grading, instructor, "soldered")
    assert not StageSigning.objects.exists()
    sign(grading, instructor, "formed")
    sign(grading, instructor, "soldered")
    board.refresh_from_db()
    assert board.outcome.complete


def test_a_stage_that_somebody_else_signed_lets_the_next_be_signed(instructor):
    factories.make_criteria_set({"code": "F", "stage": "formed"}, {"code": "S"})
    board = factories.make_board(exercise=factories.make_exercise(stages=("formed", "soldered")))
    other = factories.make_user("instructor")
    mine = begin(board, instructor)
    accept_everything(mine, "soldered")
    theirs = begin(board, other)
    accept_everything(theirs, "formed")
    with pytest.raises(StageNotReady, match="comes first"):
        sign(mine, instructor, "soldered")
    sign(theirs, other, "formed")
    sign(mine, instructor, "soldered")
    board.refresh_from_db()
    assert board.outcome.complete


def test_a_correction_of_a_later_stage_waits_for_no_earlier_one_again(instructor):
    factories.make_criteria_set({"code": "F", "stage": "formed"}, {"code": "S"})
    board = factories.make_board(exercise=factories.make_exercise(stages=("formed", "soldered")))
    grading = begin(board, instructor)
    for stage in ("formed", "soldered"):
        accept_everything(grading, stage)
        sign(grading, instructor, stage)
    correction = services.correct_grading(
        grading=grading, grader=instructor, reason="Blurred.", at=NOW
    )
    sign(correction, instructor, "soldered")
    assert correction.signings.get().stage == "soldered"


def test_a_board_passes_when_every_stage_is_signed(instructor):
    factories.make_criteria_set({"code": "F", "stage": "formed"}, {"code": "S"})
    board = factories.make_board(
        exercise=factories.make_exercise(stages=("formed", "soldered"), allowed_rejects=1)
    )
    grading = begin(board, instructor)
    accept_everything(grading, "formed")
    sign(grading, instructor, "formed")
    board.refresh_from_db()
    assert (board.outcome.complete, board.outcome.passed) == (False, None)
    accept_everything(grading, "soldered")
    say(grading, board.joints.first(), "S", "reject")
    sign(grading, instructor, "soldered")
    board.outcome.refresh_from_db()
    # (80 + 100 + 100) / 3 = 93.333...
    assert board.outcome.complete
    assert board.outcome.passed is True
    assert board.outcome.score == Decimal("93.333333")
    assert board.outcome.joints_rejected == 1


def test_a_correction_counts_once_it_is_signed_and_the_earlier_stays(board, instructor):
    grading = begin(board, instructor)
    accept_everything(grading)
    say(grading, board.joints.first(), "S-1", "reject")
    sign(grading, instructor)
    board.refresh_from_db()
    assert board.outcome.passed is False
    other = factories.make_user("instructor")
    later = NOW + timedelta(days=1)
    with pytest.raises(AssessmentError, match="Say why"):
        services.correct_grading(grading=grading, grader=other, reason=" ", at=later)
    correction = services.correct_grading(
        grading=grading, grader=other, reason="Wrong joint read.", at=later
    )
    board.outcome.refresh_from_db()
    assert board.outcome.passed is False
    assert services.start_grading(board=board, grader=other, at=later) == correction
    say(correction, board.joints.first(), "S-1", "accept")
    sign(correction, other, at=later)
    board.outcome.refresh_from_db()
    assert board.outcome.passed is True
    assert grading.judgements.filter(outcome="reject").count() == 1
    with pytest.raises(AlreadySigned, match="replaced already"):
        services.correct_grading(grading=grading, grader=other, reason="Again.", at=later)


def test_two_graders_do_not_sign_the_same_stage(board, instructor):
    other = factories.make_user("instructor")
    first, second = begin(board, instructor), begin(board, other)
    accept_everything(first)
    accept_everything(second)
    sign(first, instructor)
    with pytest.raises(AlreadySigned, match="Somebody else"):
        sign(second, other)
    assert StageSigning.objects.count() == 1


def test_a_trainees_own_reading_is_kept_apart_and_never_counts(board, instructor):
    trainee = factories.make_user(person=board.person)
    own = services.start_own_reading(board=board, trainee=trainee, at=NOW)
    say(own, board.joints.first(), "S-1", "reject")
    with pytest.raises(MayNotGrade):
        services.sign_stage(grading=own, stage="soldered", signer=trainee, proof="password", at=NOW)
    with pytest.raises(MayNotGrade):
        services.start_own_reading(board=board, trainee=instructor, at=NOW)
    grading = begin(board, instructor)
    accept_everything(grading)
    sign(grading, instructor)
    board.refresh_from_db()
    assert board.outcome.passed is True
    comparison = board_results.compare_with_own(board_results.read_board(board), own)
    assert (comparison.both, comparison.same, len(comparison.differ)) == (1, 0, 1)
    with pytest.raises(AlreadySigned):
        say(own, board.joints.last(), "S-1")


def test_a_criterion_for_another_alloy_is_not_asked(instructor):
    factories.make_criteria_set({"code": "S"}, {"code": "L", "alloys": ["Sn96Ag4"]})
    board = factories.make_board(alloy="Sn63Pb37")
    grading = begin(board, instructor)
    asked = board_results.criteria_for(grading, "soldered", board.joints.first())
    assert [one.code for one in asked] == ["S"]
    accept_everything(grading)
    sign(grading, instructor)
    board.refresh_from_db()
    assert board.outcome.passed is True


def test_a_published_criterion_never_changes(criteria):
    one = criteria.criteria.first()
    one.demerits = 1
    with pytest.raises(IntegrityError, match="make a new revision"), transaction.atomic():
        one.save()
    criteria.title = "Other"
    with pytest.raises(IntegrityError, match="make a new revision"), transaction.atomic():
        criteria.save()
    criteria.refresh_from_db()
    criteria.retired_at = NOW
    criteria.save()
