"""Whose turn it is to read a board, and as what.

A board is read once, or by two graders who do not see each other's judgements. Joints that
were reworked are inspected, and a trainee may ask for another reading. A seat belongs to
whoever signs first; to begin takes none, so that nobody who leaves keeps a board waiting.
"""

from collections.abc import Iterable
from functools import cached_property

from django.utils.translation import gettext as _

from assessments.exceptions import AlreadySigned, AssessmentError, MayNotGrade
from assessments.models import Board, CriteriaSet, Grading, ReadingRequest, StageSigning
from people.models import User
from training.models import Exercise, Stage

from . import board_results, criteria_sets, effective_judgements

FIRST, REWORK, ANOTHER = Grading.Kind.FIRST, Grading.Kind.REWORK, Grading.Kind.ANOTHER


class GradingAssignment:
    """Who has begun and who has signed which reading of a board.

    Parameters
    ----------
    gradings
        Every grading of the board, newest first, as `gradings_of` gives them.
    signings
        Every stage signed of the board; None if they came with the gradings.
    """

    def __init__(
        self,
        board: Board,
        gradings: Iterable[Grading],
        signings: Iterable[StageSigning] | None = None,
    ) -> None:
        self.board = board
        self.gradings = [grading for grading in gradings if grading.kind != Grading.Kind.OWN]
        if signings is None:
            signings = [each for grading in self.gradings for each in grading.signings.all()]
        self.signed: dict[int, set[str]] = {grading.pk: set() for grading in self.gradings}
        self.signings = [each for each in signings if each.grading_id in self.signed]
        for signing in self.signings:
            self.signed[signing.grading_id].add(signing.stage)
        self._roots: dict[int, int] = {}
        for grading in sorted(self.gradings, key=lambda each: each.pk):  # The replaced one first.
            root = self._roots.get(grading.replaces_id or 0, grading.pk)
            self._roots[grading.pk] = root
        self.replaced = {grading.replaces_id for grading in self.gradings if grading.replaces_id}

    def root(self, grading: Grading) -> int:
        return self._roots.get(grading.pk, grading.pk)

    def chain(self, grading: Grading) -> list[Grading]:
        """A grading with what it corrects and what corrects it."""
        root = self.root(grading)
        return [other for other in self.gradings if self.root(other) == root]

    @property
    def signers(self) -> set[int]:
        """Everybody who has signed anything of the board."""
        return {grading.grader_id for grading in self.gradings if self.signed[grading.pk]}

    @property
    def judged_before(self) -> set[int]:
        """Those of them who signed something else than the reading a trainee asked for."""
        return {
            grading.grader_id
            for grading in self.gradings
            if self.signed[grading.pk] and grading.kind != ANOTHER
        }

    def taken(self, kind: str) -> dict[int, set[int]]:
        """Readings of a kind that somebody signed a stage of, each with who had a hand in it."""
        by_grader: dict[int, set[int]] = {}
        for grading in self.gradings:
            if grading.kind == kind and self.signed[self.root(grading)]:
                by_grader.setdefault(self.root(grading), set()).add(grading.grader_id)
        return by_grader

    @cached_property
    def settled_by(self) -> Grading | None:
        """The grading in which a stage of the board was signed first; its criteria set is used."""
        first = {grading.pk: grading for grading in self.gradings if grading.kind == FIRST}
        signings = [
            (each.signed_at, each.pk, first[each.grading_id])
            for each in self.signings
            if each.grading_id in first
        ]
        return min(signings)[2] if signings else None

    def is_of_another_set(self, grading: Grading) -> bool:
        """Whether the board is read by another criteria set than this grading was begun by."""
        settled = self.settled_by
        return (
            grading.pk is not None
            and grading.kind == FIRST
            and grading.replaces_id is None
            and settled is not None
            and settled.criteria_set_id != grading.criteria_set_id
        )

    def finished(self, kind: str) -> list[int]:
        """Of those readings the ones of which every stage is signed."""
        asked = set(self.board.exercise.stages)
        signed: dict[int, set[str]] = {root: set() for root in self.taken(kind)}
        for grading in self.gradings:
            if self.root(grading) in signed:
                signed[self.root(grading)] |= self.signed[grading.pk]
        return [root for root, stages in signed.items() if asked <= stages]

    def stages_of(self, kind: str) -> set[str]:
        """The stages that any reading of a kind has signed."""
        return set().union(
            *(self.signed[grading.pk] for grading in self.gradings if grading.kind == kind)
        )

    def left_of(
        self, grading: Grading, makes: effective_judgements.Makes | None = None
    ) -> list[str]:
        """The stages that a reading has still to sign, in the order of the work."""
        stages = [stage.value for stage in self.board.exercise.stage_list]
        own = self.signed.get(grading.pk, set())
        if grading.kind == Grading.Kind.DECISION or self.is_of_another_set(grading):
            return []
        to_replace = self.signed.get(grading.replaces_id or 0, set())
        if grading.kind == REWORK:
            begun = self.stages_of(FIRST) - own
            if makes is None:
                makes = effective_judgements.makes_of(self.board).for_reading()
            return [
                stage
                for stage in stages
                if stage in begun and board_results.joints_read(grading, stage, makes)
            ]
        if grading.kind == ANOTHER or self.board.exercise.graders > 1:
            others = self.taken(grading.kind)
            others.pop(self.root(grading) if grading.pk else 0, None)
            readings = 1 if grading.kind == ANOTHER else self.board.exercise.graders
            if grading.replaces_id is None and len(others) >= readings:
                return []
            return [stage for stage in stages if stage not in own]
        left = set(stages) - self.stages_of(FIRST) | to_replace - own
        return [stage for stage in stages if stage in left]

    def refuse_if_closed(self, grading: Grading, stage: str) -> None:
        """Raise AlreadySigned with the reason if a stage takes no judgement of this grading."""
        if grading.kind == Grading.Kind.OWN:
            if any(self.signed.values()):
                raise AlreadySigned(
                    _(
                        "An instructor has signed a stage of this board, so your own reading is "
                        "over."
                    )
                )
            return
        if grading.pk in self.replaced:
            raise AlreadySigned(_("This grading was replaced by a later one. Judge in that one."))
        if stage in self.signed[grading.pk]:
            raise AlreadySigned(
                _("The stage “%(stage)s” is signed and does not change. To change it, correct it.")
                % {"stage": Stage(stage).label}
            )
        if grading.replaces_id is None and grading.kind == ANOTHER:
            if self.taken(ANOTHER).keys() - {grading.pk}:
                raise AlreadySigned(_("Somebody else has read this board again and signed it."))
        elif grading.replaces_id is None and grading.kind == FIRST:
            self._refuse_if_others_read(grading, stage)

    def refuse_if_begun_by_another_set(self, grader: User) -> None:
        """Raise AlreadySigned if what the grader began is no longer how the board is judged."""
        self._refuse_another_set(each for each in self.gradings if each.grader_id == grader.pk)

    def _refuse_another_set(self, gradings: Iterable[Grading]) -> None:
        if any(map(self.is_of_another_set, gradings)):
            raise AlreadySigned(
                _(
                    "A stage of this board was signed by another criteria set than you began with. "
                    "A board is judged by one: open it anew and judge what is left by that."
                )
            )

    def _refuse_if_others_read(self, grading: Grading, stage: str) -> None:
        """Raise AlreadySigned if others have signed what this first reading would say."""
        self._refuse_another_set([grading])
        graders = self.board.exercise.graders
        if graders > 1:
            if len(self.taken(FIRST).keys() - {grading.pk}) >= graders:
                raise AlreadySigned(
                    _("Two graders have signed for this board, which asks for two.")
                )
        elif stage in self.stages_of(FIRST):
            raise AlreadySigned(
                _("Somebody else has signed the stage “%(stage)s” of this board.")
                % {"stage": Stage(stage).label}
            )

    def first_unsigned(
        self, grading: Grading, stage: str, makes: effective_judgements.Makes | None = None
    ) -> str | None:
        """The first stage before this one that the reading has still to sign.

        What a correction does not take up stays signed by what it corrects.
        """
        signed = set().union(*(self.signed[link.pk] for link in self.chain(grading)))
        left = [
            other for other in self.left_of(grading, makes) if other not in signed or other == stage
        ]
        return left[0] if stage in left[1:] else None


def gradings_of(board: Board) -> list[Grading]:
    """Every reading of a board with its grader, criteria set and signings, newest first."""
    gradings = list(
        board.gradings.select_related("grader__person", "criteria_set").prefetch_related("signings")
    )
    for grading in gradings:
        grading.board = board
    return gradings


def of_board(board: Board) -> GradingAssignment:
    """Who has begun and signed which reading of a board, as it is now."""
    return GradingAssignment(board, gradings_of(board))


def open_reading(
    assignment: GradingAssignment,
    grader: User,
    makes: effective_judgements.Makes | None = None,
) -> Grading | None:
    """The grader's reading that still has stages to sign and was not replaced.

    A correction that they began comes first, then what is read of reworked joints: it is
    inspected before the stages that follow.
    """
    open_gradings = [
        grading
        for grading in assignment.gradings
        if grading.grader_id == grader.pk
        and grading.pk not in assignment.replaced
        and assignment.left_of(grading, makes)
    ]
    open_gradings.sort(key=lambda grading: (grading.replaces_id is None, grading.kind != REWORK))
    if not open_gradings:
        return None
    is_plain = open_gradings[0].replaces_id is None and open_gradings[0].kind == FIRST
    return None if is_plain and _rework_to_read(assignment, grader, makes) else open_gradings[0]


def _rework_to_read(
    assignment: GradingAssignment, grader: User, makes: effective_judgements.Makes | None = None
) -> bool:
    board = assignment.board
    if makes is None:
        if not board.exercise.rework_allowed or not board.joints.filter(make__gt=1).exists():
            return False
        makes = effective_judgements.makes_of(board).for_reading()
    if all(joint.make == 1 for joint in makes):
        return False
    return bool(assignment.left_of(as_if_begun(assignment, grader, REWORK), makes))


def as_if_begun(assignment: GradingAssignment, grader: User, kind: str) -> Grading:
    """A reading that nobody has begun, to ask what it would be asked."""
    criteria_set = set_of(assignment)
    made = Grading(board=assignment.board, grader=grader, kind=kind)
    if criteria_set is not None:
        made.criteria_set = criteria_set
    return made


def own_reading_among(gradings: Iterable[Grading], maker: User) -> Grading | None:
    """The reading in which the maker of a board judges it for themselves, uncounted."""
    return next(
        (
            grading
            for grading in gradings
            if grading.kind == Grading.Kind.OWN and grading.grader_id == maker.pk
        ),
        None,
    )


def current_criteria_set(exercise: Exercise) -> CriteriaSet:
    """The set a new grading of an exercise uses; raise AssessmentError where none is published."""
    criteria_set = criteria_sets.set_for(exercise.code)
    if criteria_set is None:
        raise AssessmentError(
            _("No criteria set is published, so nothing can be judged. Ask quality to publish one.")
        )
    return criteria_set


def set_of(assignment: GradingAssignment) -> CriteriaSet | None:
    """The criteria set that a board is read by; None where a reading begins by the current one.

    A grading is a reading under one set, and a result is added up over the stages of a board:
    so the first stage that is signed settles by which set all of them are judged, reworked and
    read again. A set that is published between two stages is for boards of which nothing is
    signed. What somebody had judged by it on a board that another grader then signed a stage
    of by the earlier one is not signed: they judge what is left by the set that was settled.
    Two graders are compared criterion by criterion, so the second goes by the set of the first
    who began, though nothing is signed.
    """
    if assignment.settled_by is not None:
        return assignment.settled_by.criteria_set
    if assignment.board.exercise.graders == 1:
        return None
    begun = [grading for grading in assignment.gradings if grading.kind == FIRST]
    return begun[-1].criteria_set if begun else None


def open_request(board: Board) -> ReadingRequest | None:
    """The request for another reading that is not answered yet."""
    request = getattr(board, "reading_request", None)
    return request if request is not None and request.answered_at is None else None


def kind_to_begin(
    assignment: GradingAssignment,
    grader: User,
    makes: effective_judgements.Makes | None = None,
) -> str:
    """What the grader would begin to read a board as; raise why they would not.

    Raises
    ------
    MayNotGrade
        If somebody else has to read it, because this grader has judged the board.
    AlreadySigned
        If nothing is left to read.
    """
    board = assignment.board
    makes = effective_judgements.makes_of(board).for_reading() if makes is None else makes
    if open_request(board) is not None:
        if grader.pk in assignment.signers:
            raise MayNotGrade(
                _("You have judged %(board)s before, so somebody else reads it again.")
                % {"board": board.number}
            )
        if assignment.taken(ANOTHER):
            raise AlreadySigned(_("Somebody else is reading %(board)s again.") % _of(board))
        return ANOTHER
    if _rework_to_read(assignment, grader, makes):
        return REWORK
    if board.exercise.graders == 1:
        if assignment.left_of(as_if_begun(assignment, grader, FIRST), makes):
            return FIRST
    else:
        if all(joint.make == 1 for joint in makes):
            _refuse_second_reading(assignment, grader)
        if len(assignment.taken(FIRST)) < board.exercise.graders:
            return FIRST
    if board.exercise.graders > 1 and not _is_complete(board):
        _refuse_while_others_judge(assignment, grader)
    raise AlreadySigned(
        _("Every stage of %(board)s is signed. To change one, correct its grading.") % _of(board)
    )


def _of(board: Board) -> dict[str, str]:
    return {"board": board.number}


def _is_complete(board: Board) -> bool:
    outcome = getattr(board, "outcome", None)
    return outcome is not None and outcome.complete


def _refuse_second_reading(assignment: GradingAssignment, grader: User) -> None:
    """Raise MayNotGrade if the grader had a hand in either reading of a two-grader board."""
    if not _is_complete(assignment.board) and any(
        grader.pk in hands for hands in assignment.taken(FIRST).values()
    ):
        raise MayNotGrade(
            _(
                "You have judged %(board)s. It waits for the other grader, who judges it without "
                "your judgements, and for a third person where you differ."
            )
            % _of(assignment.board)
        )


def _refuse_while_others_judge(assignment: GradingAssignment, grader: User) -> None:
    """Raise why nothing of a two-grader board without a result is left for this grader."""
    board = assignment.board
    if any(grader.pk in hands for hands in assignment.taken(REWORK).values()):
        raise MayNotGrade(
            _(
                "You have judged what was reworked on %(board)s. A second grader judges it too, "
                "and a third person decides where you differ."
            )
            % _of(board)
        )
    if all(
        len(assignment.finished(kind)) == len(assignment.taken(kind)) for kind in (FIRST, REWORK)
    ):
        raise AlreadySigned(
            _(
                "Two graders have judged %(board)s and differ. It waits for a decision by somebody "
                "who judged none of it."
            )
            % _of(board)
        )
    raise AlreadySigned(
        _("Two graders are judging %(board)s. Each finishes what they have begun to sign.")
        % _of(board)
    )


def refuse_to_correct(grading: Grading, gradings: Iterable[Grading], grader: User) -> None:
    """Raise AssessmentError if the grader may not correct this reading of the board.

    Of two graders neither corrects the other, who would see what they are not to see; and
    whoever judged before does not correct the reading that was asked for in their place, nor
    whoever may give that reading the former ones.
    """
    board = grading.board
    if grading.kind == Grading.Kind.DECISION:
        raise AssessmentError(
            _("A decision between two graders stands. Correct the reading that was wrong instead.")
        )
    assignment = GradingAssignment(board, gradings)
    if (
        grading.kind != ANOTHER
        and open_request(board)
        and grader.pk not in assignment.judged_before
    ):
        raise MayNotGrade(
            _(
                "A regrading of %(board)s was asked for, and you may give it. Whoever judged "
                "before corrects what was judged, until the other reading is signed."
            )
            % _of(board)
        )
    if board.exercise.graders == 1 and grading.kind != ANOTHER:
        return
    read = {assignment.root(other) for other in assignment.gradings if other.grader_id == grader.pk}
    if read and assignment.root(grading) not in read:
        raise MayNotGrade(
            _("You have read %(board)s yourself, so you do not correct somebody else’s reading.")
            % _of(board)
        )


def may_correct(grading: Grading, gradings: Iterable[Grading], grader: User) -> bool:
    """Whether `refuse_to_correct` lets the grader correct this reading."""
    try:
        refuse_to_correct(grading, gradings, grader)
    except AssessmentError:
        return False
    return True
