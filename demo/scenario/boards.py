"""The demo's boards: made, photographed, judged, signed, and some of them proposed upon."""

from collections.abc import Container, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from hashlib import sha256
from itertools import groupby
from typing import Any

from django.core.files.base import ContentFile

from assessments.domain.verdict import Verdict
from assessments.models import Board, Criterion, Grading, Joint, Judgement, Photo, PhotoSetup
from assessments.queries import board_results, written_down
from assessments.services import boards as board_services
from assessments.services import grading, judgements
from certification.models import Scope
from certification.services import certificates, proposals
from certification.services.acts import Act
from records.services import trail
from training.models import ClassSession, Exercise, Position, Tool

from . import gauges, marks
from .faults import CRITERIA_BY_FAULT, NOTES, WEIGHTS
from .people import BY, Stage
from .pictures import Order, Picture, draw_all
from .roster import IN_CLASS, ON_THE_BENCH, TRAINEES, Trainee
from .stands import SCALE_SHARE, SCALE_VIEW, make_stands

GRADERS = {"CA": ("10001", "10001", "10002"), "AL": ("20001",)}
MEASURED = {
    "F-01": ("wrap_deg", "2.5"),
    "F-03": ("wrap_deg", "2.5"),
    "F-04": ("wrap_deg", "2.5"),
    "S-05": ("clearance_D", "0.15"),
    "S-11": ("fill_percent", "4"),
}
AT_THE_BOARD = {"S-14"}
"""What no photograph shows: how far a hole is filled is seen from both sides of the board."""

BY_MARKS = 0.6  # of what is measured where a photograph shows it; the rest with a gauge


@dataclass
class DemoBoard:
    """One board with what each of its joints is to show."""

    board: Board
    trainee: Trainee
    days_ago: int
    judged: bool
    faults: dict[str, str | None]
    truths: dict[str, dict[str, Any]]


def make_boards(stage: Stage) -> list[DemoBoard]:
    """Hand boards out and in, oldest first; nothing is photographed or judged yet."""
    plans = []
    for trainee in TRAINEES:
        for n, (exercise, purpose, days_ago) in enumerate(trainee.boards):
            judged = n < len(trainee.boards) - trainee.unjudged
            share = n / max(len(trainee.boards) - 1, 1)
            skill = trainee.skill[0] + share * (trainee.skill[1] - trainee.skill[0])
            plans.append((days_ago, trainee, exercise, purpose, skill, judged))
    plans.sort(key=lambda plan: (-plan[0], plan[1].number))
    exercises = {exercise.code: exercise for exercise in Exercise.objects.current()}
    made = []
    for days_ago, trainee, code, purpose, skill, judged in plans:
        person = stage.people[trainee.number]
        prefix = person.site.prefix
        instructor = stage.users[GRADERS[prefix][0]]
        production = purpose == "production"
        [board] = board_services.make_boards(
            exercise=exercises[code],
            people=[person],
            purpose=purpose,
            site=person.site,
            handed_out_on=stage.today - timedelta(days=days_ago),
            actor=instructor,
            at=stage.at(days_ago, 8, 30, prefix),
            unit=f"SK-{stage.rng.randrange(2000, 2999)}" if production else "",
            work_order=f"WO-{stage.rng.randrange(40000, 49999)}" if production else "",
        )
        board_services.hand_in(board=board, actor=instructor, at=stage.at(days_ago, 14, 40, prefix))
        sure = purpose in ("qualification", "requalification") and bool(trainee.certify)
        faults = {
            position.name: _fault(stage, position, skill, sure=sure)
            for position in exercises[code].positions.all()
        }
        made.append(DemoBoard(board, trainee, days_ago, judged, faults, {}))
    return made


def hand_out(stage: Stage) -> None:
    """Boards of today, those of the class that runs today in its name, and how far they are."""
    exercises = {exercise.code: exercise for exercise in Exercise.objects.current()}
    for number, code in ON_THE_BENCH.items():
        person = stage.people[number]
        prefix = person.site.prefix
        [board] = board_services.make_boards(
            exercise=exercises[code],
            people=[person],
            purpose=Board.Purpose.PRACTICE,
            site=person.site,
            session=ClassSession.objects.running_on(stage.today).filter(people=person).first(),
            handed_out_on=stage.today,
            actor=stage.users[GRADERS[prefix][0]],
            at=stage.at(0, 8, 30, prefix),
        )
        _judge_in_class(stage, board, IN_CLASS.get(number, {}))


def _judge_in_class(stage: Stage, board: Board, done: dict[str, str]) -> None:
    """Judge stages of a board while it is made: signed, judged, or the first joints alone."""
    if not done:
        return
    grader = stage.users[GRADERS[board.site.prefix][0]]
    at = stage.at(0, 9, 10, board.site.prefix)
    reading = grading.start_grading(board=board, grader=grader, at=at)
    sound: dict[str, str | None] = {
        position.name: None for position in board.exercise.positions.all()
    }
    made = DemoBoard(board, TRAINEES[0], 0, judged=True, faults=sound, truths={})
    tool = gauges.gauge_of(board.site.prefix)
    for row in list(_judgements(stage, made, reading, tool, at)):
        how_far = done.get(row.stage, "")
        first = row.joint is not None and row.joint.position.order <= 3
        if how_far in ("signed", "judged") or (how_far == "begun" and first):
            row.save()
    for name, how_far in done.items():
        if how_far == "signed":
            grading.sign_stage(grading=reading, stage=name, signer=grader, proof="password", at=at)


def _fault(stage: Stage, position: Position, skill: float, *, sure: bool) -> str | None:
    """What goes wrong with a joint, if anything; who is to pass has a steady hand."""
    from demo.drawn import FAULTS

    if sure or stage.rng.random() < skill:
        return None
    possible = FAULTS[_kind(position)]
    known = [fault for fault in possible if fault in CRITERIA_BY_FAULT]
    return stage.rng.choices(known, [WEIGHTS.get(fault, 1) for fault in known])[0]


def _kind(position: Position) -> str:
    """Which drawing shows the joint at a position."""
    if position.joint_type == "turret" and position.wires > 1:
        return "turret_two"
    return position.joint_type


def photograph(stage: Stage, made: list[DemoBoard]) -> Iterator[DemoBoard]:
    """Draw one photograph of every joint and keep it like any other; give each board once it has.

    The next are drawn by other processes while something is done with those that are there.
    """
    orders = [
        Order(index, name, _kind(position), demo_board.faults[name], stage.rng.randrange(2**31))
        for index, demo_board in enumerate(made)
        for name, position in _positions(demo_board.board).items()
    ]
    joints = [
        {joint.position.name: joint for joint in demo_board.board.joints.select_related("position")}
        for demo_board in made
    ]
    stands = make_stands(stage, {prefix: graders[0] for prefix, graders in GRADERS.items()})
    for index, pictures in groupby(draw_all(orders), key=lambda picture: picture.order.board):
        demo_board = made[index]
        photos = []
        for picture in pictures:
            demo_board.truths[picture.order.position] = picture.truth
            photos.append(_photo(stage, demo_board, joints[index], picture, stands))
        kept = Photo.objects.bulk_create(photos)
        trail.record_many(
            actor=BY,
            act=written_down.ADDED,
            items=[(photo, written_down.photo_content(photo)) for photo in kept],
            at=stage.now,
        )
        yield demo_board


def _positions(board: Board) -> dict[str, Position]:
    return {position.name: position for position in board.exercise.positions.all()}


def _photo(
    stage: Stage,
    made: DemoBoard,
    joints: dict[str, Joint],
    picture: Picture,
    stands: dict[str, PhotoSetup],
) -> Photo:
    position = picture.order.position
    joint = joints[position]
    photo = Photo(
        board=made.board,
        joint=joint,
        stage="prepared" if joint.position.joint_type == "wire" else "cleaned",
        order=joint.position.order,
        original_name=f"{position}.jpg",
        media_type="image/jpeg",
        size_bytes=len(picture.jpeg),
        sha256=sha256(picture.jpeg).hexdigest(),
        upright_width=picture.width,
        upright_height=picture.height,
        magnification=Decimal(10),
        setup=stands[made.board.site.prefix],
        scale_px_per_mm=picture.truth.get("px_per_mm"),
        scale_uncertainty=SCALE_SHARE,
        scale_view=SCALE_VIEW,
        recorded_at=stage.at(made.days_ago, 14, 50, made.board.site.prefix),
    )
    photo.original.save(photo.original_name, ContentFile(picture.jpeg), save=False)
    return photo


def judge(stage: Stage, made: DemoBoard) -> None:
    """Judge a board in full, and sign its stages together."""
    prefix = made.board.site.prefix
    grader = stage.users[stage.rng.choice(GRADERS[prefix])]
    at = stage.at(max(made.days_ago - 1, 0), 9, stage.rng.randrange(60), prefix)
    reading = grading.start_grading(board=made.board, grader=grader, at=at)
    Judgement.objects.bulk_create(
        list(_judgements(stage, made, reading, gauges.gauge_of(prefix), at))
    )
    grading.sign_stages(
        stages=[
            grading.StageToSign(reading, name, shown=None) for name in made.board.exercise.stages
        ],
        signer=grader,
        proof="password",
        at=at + timedelta(minutes=45),
    )


def judge_in_part(stage: Stage, made: DemoBoard) -> None:
    """Leave one board half judged and unsigned, as boards are found in the morning."""
    prefix = made.board.site.prefix
    grader = stage.users[GRADERS[prefix][0]]
    at = stage.at(0, 7, 40, prefix)
    reading = grading.start_grading(board=made.board, grader=grader, at=at)
    rows = [
        row
        for row in _judgements(stage, made, reading, gauges.gauge_of(prefix), at)
        if row.stage == made.board.exercise.stages[0]
        and row.joint is not None
        and row.joint.position.order <= 6
    ]
    Judgement.objects.bulk_create(rows)


def read_own(stage: Stage, made: DemoBoard) -> None:
    """A trainee's own reading of a board, milder than the instructor's, as they are."""
    user = stage.users[made.trainee.number]
    at = stage.at(made.days_ago, 14, 45, made.board.site.prefix)
    reading = grading.start_own_reading(board=made.board, trainee=user, at=at)
    rows = list(_judgements(stage, made, reading, None, at))
    for row in rows:
        if row.outcome == Judgement.Outcome.REJECT and stage.rng.random() < 0.4:
            row.outcome, row.note = Judgement.Outcome.ACCEPT, ""
    Judgement.objects.bulk_create(rows)


def _judgements(
    stage: Stage, made: DemoBoard, reading: Grading, tool: Tool | None, at: datetime
) -> Iterator[Judgement]:
    photos = {photo.joint_id: photo for photo in made.board.photos.all()}
    for joint in board_results.joints_that_count(made.board):
        criteria = {
            criterion.code: criterion
            for name in made.board.exercise.stages
            for criterion in board_results.criteria_for(reading, name, joint)
        }
        fault = made.faults[joint.position.name]
        failed = criterion_failed(fault, criteria) if fault else None
        for code, criterion in criteria.items():
            yield _judgement(
                stage,
                made,
                reading,
                joint,
                criterion,
                photos.get(joint.pk),
                at,
                fault if code == failed else None,
                tool,
            )
    for name in made.board.exercise.stages:
        for criterion in board_results.criteria_for(reading, name, None):
            yield Judgement(
                grading=reading,
                joint=None,
                criterion=criterion,
                stage=name,
                outcome=Judgement.Outcome.ACCEPT,
                how=Judgement.How.AT_BOARD,
                magnification=Decimal(10),
                judged_at=at,
            )


def criterion_failed(fault: str, asked: Container[str]) -> str:
    """Give the code of the criterion that a fault is charged to, among those asked of a joint."""
    return next(code for code in CRITERIA_BY_FAULT[fault] if code in asked)


def _judgement(
    stage: Stage,
    made: DemoBoard,
    reading: Grading,
    joint: Joint,
    criterion: Criterion,
    photo: Photo | None,
    at: datetime,
    fault: str | None,
    tool: Tool | None,
) -> Judgement:
    row = Judgement(
        grading=reading,
        joint=joint,
        criterion=criterion,
        stage=criterion.stage,
        outcome=Judgement.Outcome.REJECT if fault else Judgement.Outcome.ACCEPT,
        how=Judgement.How.AT_BOARD,
        magnification=Decimal(10),
        with_the_rest=not fault and judgements.may_go_with_the_rest(criterion),
        judged_at=at,
    )
    seen_on_photo = criterion.code not in AT_THE_BOARD and (
        criterion.stage in ("soldered", "cleaned") or joint.position.joint_type == "wire"
    )
    if photo is not None and seen_on_photo:
        row.how, row.photo = Judgement.How.PHOTOGRAPH, photo
    name, uncertainty = MEASURED.get(criterion.code, ("", ""))
    value = made.truths.get(joint.position.name, {}).get(name)
    is_asked = criterion.is_measured and reading.kind != Grading.Kind.OWN
    if not fault:
        if is_asked:
            truth = None if value is None else Decimal(str(value))
            gauges.read_on_gauge(row, tool, truth)
        return row
    row.photo = photo
    if stage.rng.random() < 0.7:
        row.note = NOTES.get(fault, "")
    if value is not None and tool is not None:
        read = Decimal(str(round(float(value) + stage.rng.gauss(0, float(uncertainty) / 2), 2)))
        beyond = (criterion.low is not None and read + Decimal(uncertainty) < criterion.low) or (
            criterion.high is not None and read - Decimal(uncertainty) > criterion.high
        )
        measured = None
        if beyond and photo is not None and stage.rng.random() < BY_MARKS:
            measured = marks.measure_by_hand(
                photo=photo,
                joint=joint,
                criterion=criterion,
                truth=made.truths[joint.position.name],
                grader=reading.grader,
                at=at,
                rng=stage.rng,
            )
        if measured is not None and measured.verdict == Verdict.OUTSIDE:
            row.how, row.measurement = Judgement.How.MARKS, measured
            row.value, row.uncertainty = measured.value_kept, measured.expanded_kept
        elif beyond:
            row.how, row.tool = Judgement.How.INSTRUMENT, tool
            row.value, row.uncertainty = read, Decimal(uncertainty)
    if is_asked and row.value is None:
        row.by_eye_because = gauges.PLAINLY_OUTSIDE
    return row


def certify(stage: Stage) -> None:
    """Propose who is ready; quality issues what was proposed in time, and the last waits."""
    for trainee in TRAINEES:
        person = stage.people[trainee.number]
        prefix = person.site.prefix
        quality = stage.users["10003" if prefix == "CA" else "20002"]
        for n, code in enumerate(trainee.certify):
            scope: Scope = stage.scopes[code]
            newest = min(days for exercise, _purpose, days in trainee.boards if days > 0)
            days_ago = max(newest - 3 - n, 1)
            proposal = proposals.propose(
                person=person,
                scope=scope,
                revision=stage.scheme_for(code),
                note="Steady on the last boards; ready." if n == 0 else "",
                act=Act(
                    actor=stage.users[GRADERS[prefix][0]],
                    at=stage.at(days_ago, 11, n, prefix),
                    proof="password",
                ),
            )
            if (trainee.number, code) in WAIT_FOR_QUALITY:
                continue
            certificates.issue_certificate(
                proposal=proposal,
                act=Act(actor=quality, at=stage.at(days_ago - 1, 15, n, prefix), proof="password"),
            )


WAIT_FOR_QUALITY = {("10201", "TERM-OP"), ("20202", "CUP-OP")}
