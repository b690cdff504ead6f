"""What a grader may lay beside the joint under judgement, to hold it against.

The criterion's drawings, the same position on an earlier board of the same person, and what
that person said of this joint in their own reading. None of it is counted or changed here.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from assessments import access
from assessments.domain.scoring import JointState
from assessments.models import Board, Criterion, Joint, Judgement
from assessments.queries import board_results
from assessments.queries.board_for_grader import BoardForGrader
from people.models import User

from .grading_page import WHOLE_BOARD
from .result_pictures import Picture, picture_of_place
from .result_sheet import JudgementShown, judgement_shown

MOST_EARLIER = 8


@dataclass(frozen=True, slots=True)
class Earlier:
    """The same position on an earlier board, as its signed judgements say it is.

    ``said`` is the judgement under the criterion on screen, ``faults`` every rejected one.
    """

    board: Board
    state: str
    picture: Picture | None
    said: JudgementShown | None
    faults: tuple[JudgementShown, ...]


@dataclass(frozen=True, slots=True)
class OwnLine:
    """What the maker and the grader say of this joint under one criterion."""

    criterion: Criterion
    own: Judgement
    grader: str


@dataclass(frozen=True, slots=True)
class Comparison:
    place: str
    stage: str
    criterion: Criterion | None
    boards: Sequence[Board]
    earlier: Earlier | None
    own: tuple[OwnLine, ...]


def comparison_for(
    for_grader: BoardForGrader,
    user: User,
    *,
    stage_name: str,
    place_name: str,
    code: str,
    other: str,
) -> Comparison | None:
    """Lay out what stands beside one place of a board under one criterion.

    Parameters
    ----------
    stage_name, place_name, code : str
        As the grading screen names them.
    other : str
        The number of the earlier board to show; anything unknown is the latest.

    Returns
    -------
    Comparison or None
        None if the board has no such stage or place.
    """
    stage = next(
        (candidate for candidate in for_grader.stages if candidate.value == stage_name), None
    )
    places = {_name(joint): joint for joint in for_grader.places(stage.value)} if stage else {}
    if stage is None or place_name not in places:
        return None
    joint = places[place_name]
    asked = for_grader.asked(stage.value, joint)
    criterion = next((candidate for candidate in asked if candidate.code == code), None)
    boards = _earlier_boards(for_grader.board, user)
    chosen = next(
        (board for board in boards if board.number == other), boards[0] if boards else None
    )
    own = [
        OwnLine(other, said, mine.outcome if mine else JointState.OPEN.value)
        for other in asked
        if (said := for_grader.judgement_of_maker(joint, other)) is not None
        for mine in (for_grader.judgement(joint, other),)
    ]
    return Comparison(
        place=place_name,
        stage=stage.value,
        criterion=criterion,
        boards=boards,
        earlier=_earlier(chosen, place_name, stage.value, code) if chosen else None,
        own=tuple(own),
    )


def _name(joint: Joint | None) -> str:
    return joint.position.name if joint else WHOLE_BOARD


def _earlier_boards(board: Board, user: User) -> list[Board]:
    """Boards of the same person and exercise that were signed to the end, latest first.

    Of two graders' boards too, since one is complete only when both have signed; none that
    the user may still have to read again without seeing what was judged before.
    """
    boards = (
        access.boards_readable_by(user)
        .graded()
        .filter(person=board.person_id, exercise__code=board.exercise.code)
        .exclude(pk=board.pk)
        .select_related("exercise", "site", "person", "outcome", "reading_request")
        .prefetch_related("exercise__positions")
    )
    if board.handed_in_at is not None:
        boards = boards.filter(handed_in_at__lt=board.handed_in_at)
    return [board for board in boards[:MOST_EARLIER] if access.may_see_outcome(user, board)]


def _earlier(board: Board, place_name: str, stage: str, code: str) -> Earlier | None:
    reading = board_results.read_board(board)
    parts = [*reading.joints, *reading.spare, *([reading.board] if reading.board else [])]
    part = next((joint for joint in parts if _name(joint.joint) == place_name), None)
    if part is None:
        return None
    under = next(
        (judgement for judgement in part.judgements if judgement.criterion.code == code), None
    )
    photos = list(board.photos.order_by("order", "id"))
    return Earlier(
        board=board,
        state=part.result.state.value,
        picture=picture_of_place(part.joint, under, photos, stage),
        said=judgement_shown(under) if under else None,
        faults=tuple(
            judgement_shown(judgement) for judgement in part.rejections if judgement != under
        ),
    )
