"""What the grading screen shows: one place on the board, its criteria, its photographs."""

from collections.abc import Callable
from dataclasses import dataclass, field
from decimal import Decimal
from urllib.parse import urlencode

from django.urls import reverse
from django.utils.translation import gettext_lazy

from assessments.domain import scoring
from assessments.domain.verdict import Verdict
from assessments.models import (
    Board,
    CannotTell,
    CriteriaSet,
    Criterion,
    Grading,
    Joint,
    Judgement,
    Measurement,
    Photo,
)
from assessments.queries import board_results
from assessments.queries.board_for_grader import BoardForGrader
from assessments.queries.measured_places import MeasuredPlace
from assessments.services.judgements import may_go_with_the_rest, measured_verdict
from training.models import JointType, Stage

WHOLE_BOARD = board_results.WHOLE_BOARD
OPEN = scoring.JointState.OPEN.value
KEYS = "1234567890"
REASONS = (
    gettext_lazy("far inside its limit, seen beside a gauge"),
    gettext_lazy("plainly outside its limit"),
    gettext_lazy("no photograph shows it and no instrument reaches it"),
    gettext_lazy("nothing is there to measure"),
)
"""Common reasons to judge by eye what is measured; any other is written."""


@dataclass(slots=True)
class Line:
    """One criterion of the place, and what was said of it."""

    criterion: Criterion
    judgement: Judgement | None
    number: int
    url: str
    own: Judgement | None = None
    current: bool = False
    measured: MeasuredPlace | None = None
    left_out: int = 0
    rests_on_former_scale: bool = False
    cannot_tell: CannotTell | None = None

    @property
    def outcome(self) -> str:
        return self.judgement.outcome if self.judgement else OPEN

    @property
    def may_be_accepted_with_the_rest(self) -> bool:
        is_open = self.judgement is None and self.cannot_tell is None
        return is_open and may_go_with_the_rest(self.criterion)

    @property
    def key(self) -> str:
        """The key that goes there; only the first ten have one."""
        return KEYS[self.number - 1] if self.number <= len(KEYS) else ""

    @property
    def is_read_on_photographs(self) -> bool:
        return is_read_on_photographs(self.criterion)

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
class GradingPage:
    """Everything the page needs; built by `grading_page`."""

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
    here: dict[str, str]
    previous_photo_url: str
    next_photo_url: str
    previous_url: str
    next_url: str
    next_open_url: str
    preload: list[Photo]
    how: str
    magnification: Decimal | None
    because: str
    can_undo: bool
    stage_is_signed: bool
    signed_first: StageTab | None
    asked: list[Criterion]
    missing: tuple[str, ...] = field(default=())

    reasons = REASONS
    states = (*(state.value for state in scoring.JointState), "not_applicable")
    outcomes = (*Judgement.Outcome.values, OPEN)

    @property
    def measures(self) -> bool:
        """Whether anything is measured at this stage."""
        return any(criterion.is_measured for criterion in self.asked)

    @property
    def because_shown(self) -> str:
        """Why what is shown was judged by eye; else the last reason given on this board."""
        judged = self.line.judgement if self.line else None
        return (judged.by_eye_because if judged else "") or self.because

    @property
    def wants_measurement(self) -> bool:
        """Whether the criterion that is shown is judged by no key alone."""
        return self.line is not None and self.line.criterion.is_measured and not self.own

    @property
    def accepts_what_is_shown(self) -> bool:
        """Whether accepting the rest takes the criterion that is shown with it."""
        return self.line is not None and not (self.line.judgement or self.wants_measurement)

    @property
    def photo_number(self) -> int:
        """Which of the photographs is shown, from 1."""
        return self.photos.index(self.photo) + 1 if self.photo else 1

    @property
    def judged(self) -> int:
        """How many joints are judged at this stage."""
        return sum(cell.state not in (OPEN, "not_applicable") for cell in self.cells if cell.joint)

    @property
    def open_joints(self) -> int:
        return sum(cell.state == OPEN for cell in self.cells if cell.joint)

    @property
    def rest(self) -> int:
        """How many criteria of the joint may be accepted together."""
        return sum(line.may_be_accepted_with_the_rest for line in self.lines if self.place.joint)

    @property
    def others_of_rest(self) -> int:
        """How many of them besides the criterion that is shown."""
        return self.rest - bool(
            self.place.joint and self.line and self.line.may_be_accepted_with_the_rest
        )

    @property
    def stage_is_complete(self) -> bool:
        return not self.missing and not any(cell.state == OPEN for cell in self.cells)


def is_read_on_photographs(criterion: Criterion) -> bool:
    """Whether marks on a photograph may give what a criterion measures, of some joint of it."""
    if not criterion.is_measured or not criterion.quantity:
        return False
    is_of_holes = set(criterion.joint_types) == {JointType.HOLE.value}
    return not (is_of_holes and criterion.quantity == Measurement.Quantity.FILL)


def reading_url(board: Board, own: bool, **query: str) -> str:
    name = "assessments:board_own_reading" if own else "assessments:board_grade"
    kept = {key: value for key, value in query.items() if value}
    return reverse(name, args=[board.number]) + (f"?{urlencode(kept)}" if kept else "")


def grading_page(
    for_grader: BoardForGrader,
    *,
    stage_name: str = "",
    place_name: str = "",
    code: str = "",
    photo_key: str = "",
    how: str = "",
    magnification: Decimal | None = None,
    forward: bool = False,
    across: str = "",
) -> GradingPage:
    """Lay out the screen for one stage and one place of a board.

    Parameters
    ----------
    for_grader : BoardForGrader
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
    stage = _stage(for_grader, stage_name)
    base = reading_url(for_grader.board, for_grader.own)
    through = {"across": across} if across else {}

    def url(**query: str) -> str:
        return f"{base}?{urlencode({'stage': stage.value, **query, **through})}"

    cells = _cells(for_grader, stage, url)
    index = _index(cells, place_name)
    if forward and not across and not _is_left(for_grader, stage, cells[index]):
        ahead = _open_after(cells, index)
        if ahead:
            index, code, photo_key = cells.index(ahead[0]), "", ""
    place = cells[index]
    place.current = True
    ahead = _open_after(cells, index)
    following = cells[index + 1] if index + 1 < len(cells) else None

    photos = for_grader.photos_of(place.joint)
    usual = for_grader.best_photo(place.joint, stage)
    photo = next((each for each in photos if each.key == photo_key), usual)
    kept = {"photo": photo.key} if photo and photo != usual else {}
    lines = _lines(
        for_grader, stage, place, lambda code: url(joint=place.name, criterion=code, **kept)
    )
    line = _line(lines, code, forward)
    here = {"stage": stage.value, "joint": place.name, **kept, **through}
    if line is not None:
        line.current = True
        line.measured = for_grader.measured(place.joint, line.criterion)
        line.left_out = for_grader.left_out(place.joint, line.criterion)
        line.rests_on_former_scale = for_grader.rests_on_former_scale(place.joint, line.criterion)
        here["criterion"] = line.criterion.code
    tabs = _tabs(for_grader, stage, base)
    before = for_grader.signed_first(stage.value)
    return GradingPage(
        board=for_grader.board,
        grading=for_grader.reading,
        kind=for_grader.kind,
        criteria_set=for_grader.criteria_set,
        own=for_grader.own,
        others=[] if for_grader.own else for_grader.others,
        stage=stage,
        tabs=tabs,
        cells=cells,
        place=place,
        lines=lines,
        line=line,
        photos=photos,
        photo=photo,
        here=here,
        previous_photo_url=_photo_url(photos, photo, -1, here, url),
        next_photo_url=_photo_url(photos, photo, 1, here, url),
        previous_url=cells[index - 1].url if index else "",
        next_url=following.url if following else "",
        next_open_url=ahead[0].url if ahead else "",
        preload=_preload(for_grader, stage, photos, photo, [following, *ahead[:1]]),
        how=(how or Judgement.How.PHOTOGRAPH) if photo else Judgement.How.AT_BOARD,
        magnification=magnification,
        because=for_grader.reason_by_eye,
        can_undo=_can_undo(for_grader),
        stage_is_signed=stage.value in for_grader.closed,
        signed_first=next((tab for tab in tabs if tab.stage == before), None),
        asked=_asked_at(for_grader, stage),
        missing=for_grader.missing,
    )


def _is_left(for_grader: BoardForGrader, stage: Stage, cell: Cell) -> bool:
    """Whether a place wants a judgement that can be given: what was asked for may have to come."""
    return cell.state == OPEN and any(
        for_grader.judgement(cell.joint, criterion) is None
        and for_grader.cannot_tell(cell.joint, criterion) is None
        for criterion in for_grader.asked(stage, cell.joint)
    )


def _index(cells: list[Cell], place_name: str) -> int:
    """Where the place asked for stands, else the first that is open, else the first."""
    named = [n for n, cell in enumerate(cells) if cell.name == place_name]
    still_open = [n for n, cell in enumerate(cells) if cell.state == OPEN]
    return (named or still_open or [0])[0]


def _lines(
    for_grader: BoardForGrader, stage: Stage, place: Cell, url: Callable[[str], str]
) -> list[Line]:
    return [
        Line(
            criterion=criterion,
            judgement=for_grader.judgement(place.joint, criterion),
            number=number,
            url=url(criterion.code),
            own=for_grader.judgement_of_maker(place.joint, criterion),
            cannot_tell=for_grader.cannot_tell(place.joint, criterion),
        )
        for number, criterion in enumerate(for_grader.asked(stage, place.joint), start=1)
    ]


def _tabs(for_grader: BoardForGrader, stage: Stage, base: str) -> list[StageTab]:
    return [
        StageTab(
            stage=each,
            url=f"{base}?{urlencode({'stage': each.value})}",
            open_count=for_grader.open_places(each),
            signed=each.value in for_grader.closed,
            current=each == stage,
        )
        for each in for_grader.stages
    ]


def _photo_url(
    photos: list[Photo],
    photo: Photo | None,
    step: int,
    here: dict[str, str],
    url: Callable[..., str],
) -> str:
    """The page with the photograph so many steps on, round and round; empty without another."""
    if photo is None or len(photos) < 2:
        return ""
    return url(**{**here, "photo": photos[(photos.index(photo) + step) % len(photos)].key})


def _can_undo(for_grader: BoardForGrader) -> bool:
    if for_grader.reading is None:
        return False
    steps = for_grader.reading.undo_steps.filter(taken_back=False)
    return steps.exclude(stage__in=for_grader.closed).exists()


def _asked_at(for_grader: BoardForGrader, stage: Stage) -> list[Criterion]:
    """Every criterion that is asked anywhere at a stage, once."""
    return list(
        dict.fromkeys(
            criterion
            for joint in for_grader.places(stage)
            for criterion in for_grader.asked(stage, joint)
        )
    )


def _stage(for_grader: BoardForGrader, name: str) -> Stage:
    """The stage asked for, else the first that takes judgements, else the first."""
    stages = for_grader.stages
    wanted = [stage for stage in stages if stage.value == name]
    return (
        wanted or [stage for stage in stages if stage.value not in for_grader.closed] or stages
    )[0]


def _cells(for_grader: BoardForGrader, stage: Stage, url) -> list[Cell]:
    cells = []
    for joint in for_grader.places(stage):
        name = joint.position.name if joint else WHOLE_BOARD
        cells.append(Cell(name, joint, for_grader.state(stage, joint), url(joint=name)))
    return cells


def _open_after(cells: list[Cell], index: int) -> list[Cell]:
    """The open places, from the one after this on and round to the one before it."""
    return [cell for cell in cells[index + 1 :] + cells[:index] if cell.state == OPEN]


def _line(lines: list[Line], code: str, forward: bool) -> Line | None:
    """The line asked for or the first open one; going forward, the next open one after it."""
    asked = next((line for line in lines if line.criterion.code == code), None)
    is_done = asked is not None and (asked.judgement or asked.cannot_tell)
    if asked is not None and not (forward and is_done):
        return asked
    start = lines.index(asked) + 1 if asked else 0
    order = lines[start:] + lines[:start]
    first = lines[0] if lines else None
    still_open = [line for line in order if line.judgement is None]
    # What could not be told waits for something: the others come first.
    still_open.sort(key=lambda line: line.cannot_tell is not None)
    return still_open[0] if still_open else asked or first


def _preload(
    for_grader: BoardForGrader,
    stage: Stage,
    photos: list[Photo],
    photo: Photo | None,
    cells: list[Cell | None],
) -> list[Photo]:
    """The photographs that one more key would show: the next one here, and of what follows."""
    wanted = [photos[(photos.index(photo) + 1) % len(photos)]] if photo else []
    for cell in cells:
        best = for_grader.best_photo(cell.joint, stage) if cell else None
        if best is not None:
            wanted.append(best)
    return [each for each in dict.fromkeys(wanted) if each != photo]
