"""What the grading screen shows: one place on the board, its criteria, its photographs."""

from dataclasses import dataclass, field
from decimal import Decimal
from urllib.parse import urlencode

from django.urls import reverse

from training.models import Stage

from .domain import scoring
from .models import Board, Criterion, Grading, Joint, Judgement, Photo
from .services import outcomes
from .services.grading import current_criteria_set, may_go_with_the_rest

WHOLE_BOARD = outcomes.WHOLE_BOARD


@dataclass(slots=True)
class Line:
    """One criterion of the place, and what was said of it."""

    criterion: Criterion
    judgement: Judgement | None
    key: str
    url: str
    own: Judgement | None = None
    current: bool = False

    @property
    def outcome(self) -> str:
        return self.judgement.outcome if self.judgement else "open"


@dataclass(slots=True)
class Cell:
    """One joint (or the whole board) in the strip."""

    name: str
    joint: Joint | None
    state: str
    url: str
    current: bool = False
    spare: bool = False


@dataclass(slots=True)
class StageTab:
    stage: Stage
    url: str
    open_count: int
    signed: bool
    current: bool = False


@dataclass(slots=True)
class Screen:
    """Everything the page needs; built by `build`."""

    board: Board
    grading: Grading
    own: bool
    stage: Stage
    tabs: list[StageTab]
    cells: list[Cell]
    place: Cell
    lines: list[Line]
    line: Line | None
    photos: list[Photo]
    photo: Photo | None
    photo_number: int
    previous_photo_url: str
    next_photo_url: str
    previous_url: str
    next_url: str
    next_open_url: str
    preload: list[Photo]
    how: str
    magnification: Decimal | None
    judged: int
    open_joints: int
    rest: int
    can_undo: bool
    stage_is_signed: bool
    stage_is_complete: bool
    missing: tuple[str, ...] = field(default=())


def reading_url(board: Board, own: bool, **query: str) -> str:
    name = "assessments:board_own_reading" if own else "assessments:board_grade"
    kept = {key: value for key, value in query.items() if value}
    return reverse(name, args=[board.number]) + (f"?{urlencode(kept)}" if kept else "")


def build(
    board: Board,
    grading: Grading | None,
    *,
    own: bool,
    stage_name: str = "",
    place_name: str = "",
    code: str = "",
    photo_key: str = "",
    how: str = "",
    magnification: Decimal | None = None,
    forward: bool = False,
) -> Screen:
    """Lay out the screen for one stage and one place of a board.

    Parameters
    ----------
    grading : Grading or None
        None before the first judgement, which begins the reading.
    stage_name, place_name, code, photo_key : str
        What to show; anything unknown falls back to the first that is open.
    forward : bool
        After a judgement: go on to the next open criterion, and from a finished joint to
        the next one that is open.
    """
    reading = grading or Grading(board=board, criteria_set=current_criteria_set())
    stages = board.exercise.stage_list
    signed = set(outcomes.effective_signings(board)) if not own else set()
    correcting = bool(grading and grading.replaces_id)
    mine = {one.stage for one in grading.signings.all()} if grading and grading.pk else set()
    closed = mine if correcting else signed
    wanted = [one for one in stages if one.value == stage_name]
    still = [one for one in stages if one.value not in closed]
    stage = (wanted or still or stages)[0]

    joints = outcomes.joints_that_count(board)
    judged: dict[tuple[int | None, int], Judgement] = {}
    if grading and grading.pk:
        for one in grading.judgements.select_related("photo", "tool"):
            judged[one.joint_id, one.criterion_id] = one
    asked_cache: dict[tuple[str, str | None], list[Criterion]] = {}

    def asked(at_stage: str, joint: Joint | None) -> list[Criterion]:
        key = (at_stage, joint.position.joint_type if joint else None)
        if key not in asked_cache:
            asked_cache[key] = outcomes.criteria_for(reading, at_stage, joint)
        return asked_cache[key]

    def state_of(at_stage: str, joint: Joint | None) -> scoring.JointResult:
        joint_id = joint.pk if joint else None
        criteria = asked(at_stage, joint)
        said = {
            one.code: scoring.Outcome(judged[joint_id, one.pk].outcome)
            for one in criteria
            if (joint_id, one.pk) in judged
        }
        return scoring.joint_result([outcomes.as_rule(one) for one in criteria], said)

    def begun(at_stage: str, joint: Joint) -> bool:
        return any((joint.pk, one.pk) in judged for one in asked(at_stage, joint))

    def open_places(at_stage: str) -> int:
        places: list[Joint | None] = [
            one for one in joints if one.position.required or begun(at_stage, one)
        ]
        if asked(at_stage, None):
            places.append(None)
        return sum(state_of(at_stage, one).state == scoring.JointState.OPEN for one in places)

    def url(**query: str) -> str:
        return reading_url(board, own, **{"stage": stage.value, **query})

    cells = []
    for joint in joints:
        result = state_of(stage.value, joint)
        idle_spare = not joint.position.required and not begun(stage.value, joint)
        cells.append(
            Cell(
                name=joint.position.name,
                joint=joint,
                state="not_applicable" if idle_spare else result.state.value,
                url=url(joint=joint.position.name),
                spare=not joint.position.required,
            )
        )
    if asked(stage.value, None):
        cells.append(
            Cell(WHOLE_BOARD, None, state_of(stage.value, None).state.value, url(joint=WHOLE_BOARD))
        )

    index = next((n for n, one in enumerate(cells) if one.name == place_name), -1)
    if index < 0:
        index = next((n for n, one in enumerate(cells) if one.state == "open"), 0)
    if forward and cells[index].state != "open":
        later = [n for n, one in enumerate(cells) if n > index and one.state == "open"]
        earlier = [n for n, one in enumerate(cells) if n < index and one.state == "open"]
        if later or earlier:
            index, code, photo_key = (later or earlier)[0], "", ""
    place = cells[index]
    place.current = True

    own_judgements: dict[int, Judgement] = {}
    if not own:
        trainee = (
            Judgement.objects.filter(
                grading__board=board,
                grading__kind=Grading.Kind.OWN,
                joint=place.joint,
                stage=stage.value,
            )
            if place.joint
            else Judgement.objects.none()
        )
        own_judgements = {one.criterion_id: one for one in trainee}

    place_id = place.joint.pk if place.joint else None
    lines = [
        Line(
            criterion=one,
            judgement=judged.get((place_id, one.pk)),
            key=str(n) if n < 10 else "",
            url=url(joint=place.name, criterion=one.code),
            own=own_judgements.get(one.pk),
        )
        for n, one in enumerate(asked(stage.value, place.joint), start=1)
    ]
    line = next((one for one in lines if one.criterion.code == code), None)
    if line is None or (forward and line.judgement is not None):
        start = lines.index(line) if line else -1
        order = lines[start + 1 :] + lines[: start + 1]
        line = next((one for one in order if one.judgement is None), line or _first(lines))
    if line is not None:
        line.current = True

    photos = _photos_of(board, place.joint)
    photo = next((one for one in photos if one.key == photo_key), _best(photos, stage))
    position = photos.index(photo) if photo else 0

    def photo_url(step: int) -> str:
        if len(photos) < 2:
            return ""
        there = photos[(position + step) % len(photos)].key
        here = line.criterion.code if line else ""
        return url(joint=place.name, criterion=here, photo=there)

    following = cells[index + 1] if index + 1 < len(cells) else None
    preload = _photos_of(board, following.joint)[:2] if following and following.joint else []
    next_open = [one for one in cells[index + 1 :] + cells[:index] if one.state == "open"]
    complete = all(one.state != "open" for one in cells)
    present = {joint.position_id for joint in joints}
    missing = tuple(
        one.name for one in board.exercise.positions.all() if one.required and one.pk not in present
    )
    return Screen(
        board=board,
        grading=reading,
        own=own,
        stage=stage,
        tabs=[
            StageTab(
                stage=one,
                url=reading_url(board, own, stage=one.value),
                open_count=open_places(one.value),
                signed=one.value in closed,
                current=one == stage,
            )
            for one in stages
        ],
        cells=cells,
        place=place,
        lines=lines,
        line=line,
        photos=photos,
        photo=photo,
        photo_number=position + 1,
        previous_photo_url=photo_url(-1),
        next_photo_url=photo_url(1),
        previous_url=cells[index - 1].url if index else "",
        next_url=following.url if following else "",
        next_open_url=next_open[0].url if next_open else "",
        preload=preload,
        how=how if photo else Judgement.How.AT_BOARD,
        magnification=magnification,
        judged=sum(one.state not in ("open", "not_applicable") for one in cells if one.joint),
        open_joints=sum(one.state == "open" for one in cells if one.joint),
        rest=sum(
            one.judgement is None and may_go_with_the_rest(one.criterion)
            for one in lines
            if place.joint
        ),
        can_undo=bool(
            grading and grading.pk and grading.undo_steps.exclude(stage__in=mine).exists()
        ),
        stage_is_signed=stage.value in closed,
        stage_is_complete=complete and not missing,
        missing=missing,
    )


def _first(lines: list[Line]) -> Line | None:
    return lines[0] if lines else None


def _photos_of(board: Board, joint: Joint | None) -> list[Photo]:
    """A joint's own photographs, then those of the whole board; for the board, those alone."""
    whole = list(board.photos.filter(joint__isnull=True))
    if joint is None:
        return whole
    return list(board.photos.filter(joint__position=joint.position_id)) + whole


def _best(photos: list[Photo], stage: Stage) -> Photo | None:
    """The first photograph taken at this stage, else the first there is."""
    return next((one for one in photos if one.stage == stage.value), photos[0] if photos else None)
