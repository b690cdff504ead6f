"""The demo's boards that are read more than once: reworked, by two graders, and again."""

from collections.abc import Collection
from datetime import datetime, timedelta

from django.core.files.base import ContentFile

from assessments import ports
from assessments.domain.scoring import JointState
from assessments.models import Board, Grading, Joint, Judgement, Photo
from assessments.queries import board_results, effective_judgements, written_down
from assessments.services import boards as board_services
from assessments.services import decisions, grading, reading_requests, rework
from people.models import User
from records.services import trail
from training.models import Exercise
from training.services import exercise_drafts
from training.services.exercise_publishing import publish_exercises

from . import gauges
from .boards import DemoBoard
from .people import BY, Stage

FIRST, SECOND, THIRD = "10001", "10002", "10007"
Place = tuple[str, str]


def load(stage: Stage, made: list[DemoBoard]) -> None:
    """Rework on one judged board, another reading of one, and a board for two graders."""
    rework_a_joint(stage, made)
    ask_again(stage, made)
    for_two_graders(stage, made)


def rework_a_joint(stage: Stage, made: list[DemoBoard]) -> None:
    """A rejected joint comes back better, and its second make counts."""
    board, joint = next(
        (board, joints[0])
        for board in _newest(made)
        if (board.exercise.rework_allowed and (joints := _may_come_back(board)))
    )
    instructor = stage.users[FIRST]
    days_ago = (stage.today - board.handed_out_on).days
    at = _early(stage, max(days_ago - 2, 0), 7, 10)
    reading = next(
        joint_result
        for joint_result in board_results.read_board(board).joints
        if joint_result.joint == joint
    )
    rework.send_back(
        board=board,
        joint=joint,
        codes=[rule.code for rule in reading.result.rejected],
        reason="Take it apart, clean it, and give it more time under the iron.",
        actor=instructor,
        at=at,
    )
    board_services.hand_in(board=board, actor=instructor, at=at + timedelta(minutes=40))
    again = grading.start_grading(
        board=_fresh(board), grader=instructor, at=at + timedelta(minutes=45)
    )
    _judge(again, set(), at + timedelta(minutes=50))
    _sign(again, at + timedelta(minutes=55))


def ask_again(stage: Stage, made: list[DemoBoard]) -> None:
    """A trainee asks once; whoever reads the board again accepts what had been rejected."""
    board = next(
        board
        for board in _newest(made)
        if not board.joints.filter(make__gt=1).exists()
        and not board.outcome.passed
        and board.outcome.joints_rejected
        and not _signers(board) & {stage.users[THIRD].pk}
    )
    days_ago = max((stage.today - board.handed_out_on).days - 2, 0)
    at = _early(stage, days_ago, 7, 30)
    result = board_results.read_board(board)
    rejected = [
        (joint_result.joint.position.name, rejection.criterion.code)
        for joint_result in result.joints
        if joint_result.joint
        for rejection in joint_result.rejections
    ]
    reading_requests.ask_for_another_reading(
        board=board,
        trainee=User.objects.get(person=board.person),
        reason=f"On {rejected[0][0]} I see what is asked for. Please look at it again.",
        at=at,
    )
    again = grading.start_grading(
        board=_fresh(board), grader=stage.users[THIRD], at=at + timedelta(minutes=30)
    )
    _judge(again, set(rejected[1:]), at + timedelta(minutes=40))
    _sign(again, at + timedelta(minutes=50))


def for_two_graders(stage: Stage, made: list[DemoBoard]) -> None:
    """Two boards of an exercise for two: one decided by a third, one that waits for the second."""
    like = next(
        demo_board.board for demo_board in made if demo_board.board.exercise.code == "EX-CUP"
    )
    exercise = _for_two(like.exercise, stage.users["10003"], stage.at(120))
    owner = stage.people["10201"]
    for days_ago, finished in ((6, True), (1, False)):
        [board] = board_services.make_boards(
            exercise=exercise,
            people=[owner],
            purpose=Board.Purpose.QUALIFICATION,
            site=owner.site,
            handed_out_on=stage.today - timedelta(days=days_ago),
            actor=stage.users[FIRST],
            at=stage.at(days_ago, 8, 35),
        )
        board_services.hand_in(board=board, actor=stage.users[FIRST], at=stage.at(days_ago, 14, 20))
        photo = _photographed_like(like, board)
        at = _early(stage, days_ago - 1, 7, 5)
        doubtful = (photo.joint.position.name, "S-08") if photo.joint else ("E01", "S-08")
        _read(stage.users[FIRST], board, {doubtful}, at)
        if not finished:
            continue
        _read(stage.users[SECOND], board, set(), at + timedelta(hours=1))
        disagreements = effective_judgements.to_decide(_fresh(board))
        decisions.decide(
            board=_fresh(board),
            decider=stage.users[THIRD],
            decisions={
                (disagreement.first.joint_id, disagreement.first.criterion.code): decisions.Decided(
                    Judgement.Outcome.ACCEPT,
                    note="Looked at under the microscope from both sides.",
                )
                for disagreement in disagreements
            },
            proof="password",
            at=at + timedelta(hours=2),
        )


def _early(stage: Stage, days_ago: int, hour: int, minute: int) -> datetime:
    """An instant that leaves time for what follows it within hours."""
    return min(stage.at(days_ago, hour, minute), stage.now - timedelta(hours=4))


def _for_two(exercise: Exercise, quality: User, at: datetime) -> Exercise:
    """The same exercise as a qualification that two graders judge."""
    two = exercise_drafts.begin_exercise(
        code=f"{exercise.code}-2",
        title=f"{exercise.title}, two graders",
        copied_from=exercise,
        actor=quality,
        at=at,
    )
    exercise_drafts.change_head(exercise=two, graders=2, seen=None, actor=quality, at=at)
    [published] = publish_exercises(
        drafts={two.pk: None}, actor=quality, at=at, reason="Two graders for qualifications."
    )
    return published


def _photographed_like(like: Board, board: Board) -> Photo:
    """Photographs of the same joints as on another board; return the first."""
    joints = {joint.position.name: joint for joint in board.joints.select_related("position")}
    photos = []
    for photo in like.photos.select_related("joint__position"):
        name = photo.joint.position.name if photo.joint else ""
        with photo.original.open("rb") as file:
            data = file.read()
        taken = Photo(
            **{
                field: getattr(photo, field)
                for field in (
                    "stage", "order", "original_name", "media_type", "size_bytes", "sha256",
                    "upright_width", "upright_height", "magnification", "scale_px_per_mm",
                    "scale_uncertainty", "scale_view", "setup",
                )
            },
            board=board,
            joint=joints.get(name),
            recorded_at=board.handed_in_at or board.recorded_at,
        )  # fmt: skip
        taken.original.save(photo.original_name, ContentFile(data), save=False)
        taken.save()
        trail.record(
            actor=BY,
            act=written_down.ADDED,
            about=taken,
            payload=written_down.photo_content(taken),
        )
        photos.append(taken)
    return photos[0]


def _read(grader: User, board: Board, rejected: Collection[Place], at: datetime) -> None:
    reading = grading.start_grading(board=_fresh(board), grader=grader, at=at)
    _judge(reading, rejected, at + timedelta(minutes=10))
    _sign(reading, at + timedelta(minutes=20))


def _judge(reading: Grading, rejected: Collection[Place], at: datetime) -> None:
    """Judge everything that a reading is asked, from photographs where there are any."""
    photos = {photo.joint_id: photo for photo in reading.board.photos.all()}
    tool = gauges.gauge_of(reading.board.site.prefix)
    rows = []
    for name in reading.board.exercise.stages:
        places: list[Joint | None] = [*board_results.joints_read(reading, name)]
        if reading.kind != Grading.Kind.REWORK:
            places.append(None)
        for joint in places:
            photo = photos.get(joint.pk) if joint else None
            for criterion in board_results.criteria_for(reading, name, joint):
                bad = joint is not None and (joint.position.name, criterion.code) in rejected
                row = Judgement(
                    grading=reading,
                    joint=joint,
                    criterion=criterion,
                    stage=name,
                    outcome=Judgement.Outcome.REJECT if bad else Judgement.Outcome.ACCEPT,
                    how=Judgement.How.PHOTOGRAPH if photo else Judgement.How.AT_BOARD,
                    photo=photo,
                    note="Lumpy on one side, as I see it."
                    if bad and criterion.code == "S-08"
                    else "",
                    judged_at=at,
                )
                if criterion.is_measured and bad:
                    row.by_eye_because = gauges.PLAINLY_OUTSIDE
                elif criterion.is_measured:
                    gauges.read_on_gauge(row, tool, None)
                rows.append(row)
    Judgement.objects.bulk_create(rows)


def _sign(reading: Grading, at: datetime) -> None:
    for name in reading.board.exercise.stages:
        if board_results.stage_summary(reading, name).joints:
            grading.sign_stage(
                grading=reading, stage=name, signer=reading.grader, proof="password", at=at
            )


def _newest(made: list[DemoBoard]) -> list[Board]:
    """Boards at the first site that are judged and that nothing rests on, newest first."""
    boards = [
        _fresh(demo_board.board)
        for demo_board in sorted(made, key=lambda demo_board: demo_board.days_ago)
        if demo_board.judged and demo_board.board.site.prefix == "CA"
    ]
    return [board for board in boards if not ports.what_rests_on(board)]


def _may_come_back(board: Board) -> list[Joint]:
    reading = board_results.read_board(board)
    return [
        joint_result.joint
        for joint_result in reading.joints
        if joint_result.joint
        and joint_result.state_for_statistics == JointState.REJECTED
        and not rework.why_no_rework(board, joint_result.joint, reading)
    ]


def _signers(board: Board) -> set[int]:
    return set(board.gradings.filter(signings__isnull=False).values_list("grader", flat=True))


def _fresh(board: Board) -> Board:
    return Board.objects.with_list_columns().get(pk=board.pk)
