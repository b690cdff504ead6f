"""What a grader may lay beside the joint under judgement, to hold it against.

The criterion's drawings, the make of this joint before it was reworked, the same position on an
earlier board of the same person and where somebody else made it well, and what the maker said of
this joint in their own reading. None of it is counted or changed here.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from django.db.models import Exists, OuterRef

from assessments import access
from assessments.domain.scoring import JointState
from assessments.models import Board, Criterion, Grading, Joint, Judgement, Photo, Rework
from assessments.queries import board_results
from assessments.queries.board_for_grader import BoardForGrader
from people.models import User

from .grading_page import WHOLE_BOARD
from .result_pictures import Picture, picture_of_place
from .result_sheet import JudgementShown, judgement_shown

MOST_EARLIER = 8
MOST_LOOKED_AT = 5  # boards of others, latest first, for one on which the joint is good


@dataclass(frozen=True, slots=True)
class Earlier:
    """A joint at the same position, as the signed judgements of its board say it is.

    ``said`` is the judgement under the criterion on screen, ``faults`` every rejected one;
    ``state`` is empty where the user may not see what was judged. ``make`` is said where the
    board has several.
    """

    board: Board
    state: str
    picture: Picture | None
    said: JudgementShown | None
    faults: tuple[JudgementShown, ...]
    make: int = 1
    sent_back: str = ""


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
    make_before: Earlier | None
    example: Earlier | None
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
        make_before=_make_before(for_grader, user, joint, stage.value, code) if joint else None,
        example=_example(for_grader.board, user, place_name, stage.value, code),
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
    return _shown(board, part, stage, code) if part else None


def _shown(board: Board, part: board_results.JudgedJoint, stage: str, code: str) -> Earlier:
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
        make=part.joint.make if part.joint else 1,
    )


def _make_before(
    for_grader: BoardForGrader, user: User, joint: Joint, stage: str, code: str
) -> Earlier | None:
    """The make of a joint before the one on screen, and why it was sent back.

    What was judged of it is not shown to whoever judges without the others' judgements: of two
    graders, or for another reading. Its photograph is.
    """
    before = next(
        (
            make
            for make in for_grader.makes
            if make.position_id == joint.position_id and make.make == joint.make - 1
        ),
        None,
    )
    if before is None:
        return None
    board = for_grader.board
    is_blind = board.exercise.graders > 1 or for_grader.kind == Grading.Kind.ANOTHER
    if not is_blind and access.may_see_outcome(user, board):
        reading = board_results.read_board(board)
        part = next((each for each in reading.earlier if each.joint == before), None)
        if part is not None:
            sent_back = Rework.objects.filter(joint=joint).values_list("reason", flat=True).first()
            shown = _shown(board, part, stage, code)
            state = part.state_for_statistics.value
            return replace(shown, state=state, sent_back=sent_back or "")
    photos = list(board.photos.order_by("order", "id"))
    picture = picture_of_place(before, None, photos, stage)
    return Earlier(board, "", picture, None, (), make=before.make)


def _example(board: Board, user: User, place_name: str, stage: str, code: str) -> Earlier | None:
    """The same position as somebody else made it well, on the latest board that shows it.

    Of boards alone that the user reads and of which they may see what was judged.
    """
    good = Judgement.objects.filter(
        grading__board=OuterRef("pk"),
        grading__signings__isnull=False,
        criterion__code=code,
        outcome=Judgement.Outcome.ACCEPT,
        joint__position__name=place_name,
    )
    shown = Photo.objects.filter(board=OuterRef("pk"), joint__position__name=place_name)
    boards = (
        access.boards_readable_by(user)
        .graded()
        .filter(Exists(good), Exists(shown), exercise__code=board.exercise.code)
        .exclude(person=board.person_id)
        .select_related("exercise", "site", "person", "outcome", "reading_request")
        .prefetch_related("exercise__positions")
    )
    for other in boards[:MOST_LOOKED_AT]:
        if not access.may_see_outcome(user, other):
            continue
        found = _earlier(other, place_name, stage, code)
        if (
            found is not None
            and found.picture is not None
            and found.state == JointState.ACCEPTED.value
            and found.said is not None
            and not found.said.rejects
        ):
            return found
    return None
