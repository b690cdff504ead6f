"""The refusals this app can give, worded for the person who reads them."""

from collections.abc import Sequence
from typing import Any

from django.utils.translation import gettext as _

from records.exceptions import Refusal


class AssessmentError(Refusal):
    """Something about boards, photographs or gradings that cannot be done as asked."""


class NotAPhotograph(AssessmentError):
    """The file is not a photograph that can be taken in."""


class DecodersBusy(AssessmentError):
    """As many large photographs as may wait to be decoded."""

    def __init__(self) -> None:
        super().__init__(
            _("The site is looking at other large photographs. Send this one again in a minute.")
        )


class MayNotGrade(AssessmentError):
    """This user may not judge or sign this board."""


class NoSuchPlace(AssessmentError):
    """The board has no such joint, or nothing is asked by that code there."""


class StageNotReady(AssessmentError):
    """The stage cannot be signed yet."""


class AlreadySigned(AssessmentError):
    """The stage is signed; a correction is a new grading."""


class PhotoAlreadyThere(AssessmentError):
    """The very same file is on this board already."""


class TakesNoPhotograph(AssessmentError):
    """The board is signed, or it or its sender has had as many photographs as may be."""


class PhotoIsEvidence(AssessmentError):
    """A signed judgement names the photograph, which therefore stays where it is."""


class PhotoTakenBack(AssessmentError):
    """The photograph was taken back by whoever sent it, or nothing of a sending can be."""


class CannotMeasure(AssessmentError):
    """The marks give no result, or may not be kept."""


class NoEdgeFound(CannotMeasure):
    """Nothing near the click is clear enough; marks are set by hand there."""

    def __init__(self) -> None:
        super().__init__(
            _("No clear edge near there. Click closer to it, or set the marks by hand.")
        )


class PictureTooSmall(CannotMeasure):
    """The photograph has too few pixels for an edge to be looked for in it."""

    def __init__(self, fewest_px: int) -> None:
        super().__init__(
            _(
                "The photograph has less than %(n)d pixels a side, too few to look for edges. Set"
                " the marks by hand."
            )
            % {"n": fewest_px}
        )


class EdgesBusy(AssessmentError):
    """As many people as may wait have edges looked for."""

    def __init__(self) -> None:
        super().__init__(
            _("The site is looking for edges for others. Click again soon, or set them by hand.")
        )


class CannotMakeBoards(AssessmentError):
    """The boards asked for cannot be made; none was."""


class HoldBoardsAlready(CannotMakeBoards):
    """Some of the people have a board of the exercise in their hands that nobody spoke of.

    Parameters
    ----------
    boards : sequence of Board
        Every board of the exercise that they hold.
    """

    def __init__(self, boards: Sequence[Any]) -> None:
        self.boards = list(boards)
        held = ", ".join(f"{board.person.full_name} ({board.number})" for board in self.boards)
        super().__init__(_("A board of this exercise is still with %(people)s.") % {"people": held})


class CannotChangeBoard(AssessmentError):
    """What is asked of the board does not fit what has happened to it."""


class BoardChangedMeanwhile(CannotChangeBoard):
    """Somebody else said something of a board since the page was filled that would undo it.

    Attributes
    ----------
    seen : str
        What a page carries that shows it as it is now.
    """

    def __init__(self, text: str, seen: str) -> None:
        super().__init__(text)
        self.seen = seen


class ToolsNotFit(CannotChangeBoard):
    """A tool is of another site, or could not be relied on for what the board is for."""


class CannotChangeCriteria(AssessmentError):
    """A set of criteria cannot be drafted, changed, published or retired as asked."""


class CriterionChangedMeanwhile(CannotChangeCriteria):
    """Somebody else changed the criterion since the page was filled.

    Attributes
    ----------
    now : dict of str to str
        What stands there now, by field, of the fields that they changed.
    """

    def __init__(self, text: str, now: dict[str, str]) -> None:
        super().__init__(text)
        self.now = now


class CannotChangeTest(AssessmentError):
    """A written test cannot be drafted, changed, published or retired as asked."""


class DraftOfTestChanged(CannotChangeTest):
    """Somebody else changed the draft since the page was filled."""


class CannotTakeTest(AssessmentError):
    """A paper cannot be handed out, begun, answered or ended as asked."""


class NotADrawing(AssessmentError):
    """The file is no drawing that can be shown safely."""


class NothingToPrint(AssessmentError):
    """There is no result yet that may stand on paper."""
