"""What the grading screen shows: one place on the board, its criteria, its photographs."""

from dataclasses import dataclass, field
from decimal import Decimal
from urllib.parse import urlencode

from django.urls import reverse

from assessments.domain import scoring
from assessments.domain.verdict import Verdict
from assessments.models import (
    Board,
    CriteriaSet,
    Criterion,
    Grading,
    Joint,
    Judgement,
    Measurement,
    Photo,
)
from assessments.queries import board_results
from assessments.queries.board_for_grader import Desk
from assessments.services.judgements import may_go_with_the_rest, measured_verdict
from training.models import Stage

WHOLE_BOARD = board_results.WHOLE_BOARD
OPEN = scoring.JointState.OPEN.value
KEYS = "1234567890"


@dataclass(slots=True)
class Line:
    """One criterion of the place, and what was said of it."""

    criterion: Criterion
    judgement: Judgement | None
    number: int
    url: str
    own: Judgement | None = None
    current: bool = False
    measured: Measurement | None = None

    @property
    def outcome(self) -> str:
        return self.judgement.outcome if self.judgement else OPEN

    @property
    def key(self) -> str:
        """The key that goes there; only the first ten have one."""
        return KEYS[self.number - 1] if self.number <= len(KEYS) else ""

    @property
    def verdict(self) -> Verdict | None:
        """What a value read on an instrument says of the limits; None without one."""
        return measured_verdict(self.criterion, self.judgement) if self.judgement else None


@dataclass(slots=True)
class Cell:
    """One joint (or the whole board) in the strip."""

    name: str
    joint: Joint | None
    state: str
    url: str
    current: bool = False

    @property
    def spare(self) -> bool:
        return self.joint is not None and not self.joint.position.required


@dataclass(slots=True)
class StageTab:
    stage: Stage
    url: str
    open_count: int
    signed: bool
    current: bool


@dataclass(slots=True)
class Screen:
    """Everything the page needs; built by `build`."""

    board: Board
    grading: Grading | None
    kind: str
    criteria_set: CriteriaSet
    own: bool
    others: list[Grading]
    stage: Stage
    tabs: list[StageTab]
    cells: list[Cell]
    place: Cell
    lines: list[Line]
    line: Line | None
    photos: list[Photo]
    photo: Photo | None
    photo_number: int
    here: dict[str, str]
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
    others_of_rest: int
    can_undo: bool
    stage_is_signed: bool
    stage_is_complete: bool
    signed_first: StageTab | None
    asked: list[Criterion]
    missing: tuple[str, ...] = field(default=())

    states = (*(one.value for one in scoring.JointState), "not_applicable")
    outcomes = (*Judgement.Outcome.values, OPEN)

    @property
    def measures(self) -> bool:
        """Whether anything is measured at this stage."""
        return any(one.is_measured for one in self.asked)


def reading_url(board: Board, own: bool, **query: str) -> str:
    name = "assessments:board_own_reading" if own else "assessments:board_grade"
    kept = {key: value for key, value in query.items() if value}
    return reverse(name, args=[board.number]) + (f"?{urlencode(kept)}" if kept else "")


def build(
    desk: Desk,
    *,
    stage_name: str = "",
    place_name: str = "",
    code: str = "",
    photo_key: str = "",
    how: str = "",
    magnification: Decimal | None = None,
    forward: bool = False,
    across: str = "",
) -> Screen:
    """Lay out the screen for one stage and one place of a board.

    Parameters
    ----------
    desk : Desk
        The board as the user has it; its reading is None before the first judgement.
    stage_name, place_name, code, photo_key : str
        What to show; anything unknown falls back to the first that is open.
    how, magnification
        How the user looks at boards, as they last said.
    forward : bool
        After a judgement: go on to the next open criterion, and from a finished joint to
        the next one that is open.
    across : str
        Number of the class whose boards are judged at one place: its addresses name it, and
        from a finished joint nothing goes on to another of the same board.
    """
    stage = _stage(desk, stage_name)
    base = reading_url(desk.board, desk.own)

    through = {"across": across} if across else {}

    def url(**query: str) -> str:
        return f"{base}?{urlencode({'stage': stage.value, **query, **through})}"

    cells = _cells(desk, stage, url)
    index = next((n for n, one in enumerate(cells) if one.name == place_name), -1)
    if index < 0:
        index = next((n for n, one in enumerate(cells) if one.state == OPEN), 0)
    if forward and not across and cells[index].state != OPEN:
        ahead = _open_after(cells, index)
        if ahead:
            index, code, photo_key = cells.index(ahead[0]), "", ""
    place = cells[index]
    place.current = True
    ahead = _open_after(cells, index)
    following = cells[index + 1] if index + 1 < len(cells) else None

    photos = desk.photos_of(place.joint)
    usual = desk.best_photo(place.joint, stage)
    photo = next((one for one in photos if one.key == photo_key), usual)
    number = photos.index(photo) if photo else 0
    kept = {"photo": photo.key} if photo and photo != usual else {}

    lines = [
        Line(
            criterion=one,
            judgement=desk.judgement(place.joint, one),
            number=n,
            url=url(joint=place.name, criterion=one.code, **kept),
            own=desk.judgement_of_maker(place.joint, one),
        )
        for n, one in enumerate(desk.asked(stage, place.joint), start=1)
    ]
    line = _line(lines, code, forward)
    here = {"stage": stage.value, "joint": place.name, **kept, **through}
    if line is not None:
        line.current = True
        line.measured = desk.measured(place.joint, line.criterion)
        here["criterion"] = line.criterion.code

    def photo_url(step: int) -> str:
        if len(photos) < 2:
            return ""
        return url(**{**here, "photo": photos[(number + step) % len(photos)].key})

    tabs = [
        StageTab(
            stage=one,
            url=f"{base}?{urlencode({'stage': one.value})}",
            open_count=desk.open_places(one),
            signed=one.value in desk.closed,
            current=one == stage,
        )
        for one in desk.stages
    ]
    before = desk.signed_first(stage.value)
    missing = desk.missing
    return Screen(
        board=desk.board,
        grading=desk.reading,
        kind=desk.kind,
        criteria_set=desk.criteria_set,
        own=desk.own,
        others=[] if desk.own else desk.others,
        stage=stage,
        tabs=tabs,
        cells=cells,
        place=place,
        lines=lines,
        line=line,
        photos=photos,
        photo=photo,
        photo_number=number + 1,
        here=here,
        previous_photo_url=photo_url(-1),
        next_photo_url=photo_url(1),
        previous_url=cells[index - 1].url if index else "",
        next_url=following.url if following else "",
        next_open_url=ahead[0].url if ahead else "",
        preload=_preload(desk, stage, photos, number, [following, *ahead[:1]]),
        how=(how or Judgement.How.PHOTOGRAPH) if photo else Judgement.How.AT_BOARD,
        magnification=magnification,
        judged=sum(one.state not in (OPEN, "not_applicable") for one in cells if one.joint),
        open_joints=sum(one.state == OPEN for one in cells if one.joint),
        rest=sum(
            one.judgement is None and may_go_with_the_rest(one.criterion)
            for one in lines
            if place.joint
        ),
        others_of_rest=sum(
            one.judgement is None and may_go_with_the_rest(one.criterion)
            for one in lines
            if place.joint and not one.current
        ),
        can_undo=bool(
            desk.reading
            and desk.reading.undo_steps.filter(taken_back=False)
            .exclude(stage__in=desk.closed)
            .exists()
        ),
        stage_is_signed=stage.value in desk.closed,
        stage_is_complete=not missing and all(one.state != OPEN for one in cells),
        signed_first=next((one for one in tabs if one.stage == before), None),
        asked=list(
            dict.fromkeys(one for joint in desk.places(stage) for one in desk.asked(stage, joint))
        ),
        missing=missing,
    )


def _stage(desk: Desk, name: str) -> Stage:
    """The stage asked for, else the first that takes judgements, else the first."""
    stages = desk.stages
    wanted = [one for one in stages if one.value == name]
    return (wanted or [one for one in stages if one.value not in desk.closed] or stages)[0]


def _cells(desk: Desk, stage: Stage, url) -> list[Cell]:
    cells = []
    for joint in desk.places(stage):
        name = joint.position.name if joint else WHOLE_BOARD
        cells.append(Cell(name, joint, desk.state(stage, joint), url(joint=name)))
    return cells


def _open_after(cells: list[Cell], index: int) -> list[Cell]:
    """The open places, from the one after this on and round to the one before it."""
    return [one for one in cells[index + 1 :] + cells[:index] if one.state == OPEN]


def _line(lines: list[Line], code: str, forward: bool) -> Line | None:
    """The line asked for or the first open one; going forward, the next open one after it."""
    asked = next((one for one in lines if one.criterion.code == code), None)
    if asked is not None and not (forward and asked.judgement is not None):
        return asked
    start = lines.index(asked) + 1 if asked else 0
    order = lines[start:] + lines[:start]
    first = lines[0] if lines else None
    return next((one for one in order if one.judgement is None), asked or first)


def _preload(
    desk: Desk, stage: Stage, photos: list[Photo], number: int, cells: list[Cell | None]
) -> list[Photo]:
    """The photographs that one more key would show: the next one here, and of what follows."""
    wanted = [photos[(number + 1) % len(photos)]] if photos else []
    for cell in cells:
        best = desk.best_photo(cell.joint, stage) if cell else None
        if best is not None:
            wanted.append(best)
    shown = photos[number] if photos else None
    return [one for one in dict.fromkeys(wanted) if one != shown]
