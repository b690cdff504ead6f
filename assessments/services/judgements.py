"""Judging joints and boards: one judgement, what is left of a joint at once, both once a key."""

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import datetime
from decimal import Decimal
from uuid import UUID

from django.db import transaction
from django.db.models import F, FilteredRelation, Q, QuerySet
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from assessments.domain.joint_states import accepted_with_the_rest, goes_with_the_rest
from assessments.domain.verdict import Verdict, verdict
from assessments.exceptions import (
    AlreadySigned,
    AssessmentError,
    NoSuchPlace,
    PhotoTakenBack,
)
from assessments.models import (
    Board,
    CannotTell,
    Criterion,
    Grading,
    Joint,
    Judgement,
    Measurement,
    Photo,
    StageSigning,
    UndoStep,
)
from assessments.queries import (
    board_results,
    board_tools,
    cannot_tell,
    grading_assignment,
    written_down,
)
from assessments.queries.measured_places import (
    MeasuredPlace,
    is_by_former_scale,
    judged_verdict,
)
from people.models import User
from records.services import trail
from training.models import Tool
from training.services.tools import lock_tools

from .board_lock import lock_board_among, lock_open
from .grading import begin_reading
from .photo_lock import taken_back_in_words

NOWHERE = gettext_lazy("There is no such joint or criterion on this board. Open the board anew.")


@dataclass(frozen=True, slots=True)
class Circumstances:
    """How a judgement was made: seen at the board, on a photograph, with an instrument, by marks.

    Whoever judges by marks says which measurement in `measured`, and how many counted with it in
    `measured_times`; `measurement` and what comes of it are filled in from there. Whoever judges
    by eye what is measured says why.
    """

    how: str = Judgement.How.AT_BOARD
    magnification: Decimal | None = None
    photo: Photo | None = None
    mark: tuple[float, float] | None = None
    measured: int | None = None
    measured_times: int | None = None
    measurement: Measurement | None = None
    repeats: dict = field(default_factory=dict)
    tool: Tool | None = None
    value: Decimal | None = None
    uncertainty: Decimal | None = None
    by_eye_because: str = ""
    note: str = ""

    def by_marks(self, measured: MeasuredPlace) -> "Circumstances":
        """The same, judged by what was measured on a photograph, once or several times."""
        photo = measured.shown.photo
        return replace(
            self,
            how=Judgement.How.MARKS,
            magnification=photo.magnification or self.magnification,
            photo=photo,
            measurement=measured.shown,
            repeats=measured.repeats,
            tool=None,
            value=measured.value_kept,
            uncertainty=measured.expanded_kept,
        )


@dataclass(frozen=True, slots=True)
class NamedPlace:
    """What is judged, by the names it has on the page: a joint (or the whole board) at a stage."""

    stage: str
    position: str
    code: str = ""


@transaction.atomic
def judge_place(
    *,
    boards: QuerySet[Board],
    number: str,
    grader: User,
    own: bool,
    place: NamedPlace,
    outcome: str,
    seen: Circumstances,
    at: datetime,
    key: UUID | None = None,
) -> Judgement | None:
    """Judge a place of a board in the grader's reading, which the first judgement begins.

    Parameters
    ----------
    boards, number
        Those that the grader may judge, as `access.boards_to_judge` gives them, and which of them.
    own : bool
        Whether the maker of the board judges it for themselves, uncounted.
    key : UUID, optional
        What the browser calls this act. One that was done already is not done again, and
        None is returned.

    Raises
    ------
    Board.DoesNotExist
        If none of the boards has that number.
    NoSuchPlace
        If the board has no such joint, or nothing is asked by that code at the stage.
    AlreadySigned
        If the stage is signed, or nothing of the board is left for this grader to read.
    AssessmentError
        If the criterion is not asked of the joint, or how it was seen does not hold together.
    """
    board = lock_board_among(boards, number)
    found = _place_on(board, grader, place, own=own, key=key, at=at)
    if found is None:
        return None
    grading, criterion, joint = found
    earlier = (
        _judgement_so_far(grading, criterion, None)
        if joint is None
        else getattr(joint, "judged", None)
    )
    return _judge(grading, criterion, joint, earlier, outcome=outcome, seen=seen, at=at, key=key)


@transaction.atomic
def judge(
    *,
    grading: Grading,
    criterion: Criterion,
    joint: Joint | None,
    outcome: str,
    seen: Circumstances,
    at: datetime,
    key: UUID | None = None,
) -> Judgement | None:
    """Judge one joint (or the board, with `joint` None) under one criterion.

    Parameters
    ----------
    key : UUID, optional
        What the browser calls this act. One that was done already is not done again, and
        None is returned.

    Raises
    ------
    AlreadySigned
        If the stage is signed, or the grading was replaced.
    AssessmentError
        If the criterion is not asked of the joint, or how it was seen does not hold together.
    """
    lock_open(grading, criterion.stage)
    if was_done(grading, key):
        return None
    earlier = _judgement_so_far(grading, criterion, joint)
    return _judge(grading, criterion, joint, earlier, outcome=outcome, seen=seen, at=at, key=key)


@transaction.atomic
def say_cannot_tell(
    *,
    boards: QuerySet[Board],
    number: str,
    grader: User,
    place: NamedPlace,
    asks: str,
    photo: Photo | None,
    note: str,
    at: datetime,
    key: UUID | None = None,
) -> CannotTell | None:
    """Leave a place open and ask for the board or another photograph; None if done before.

    What was judged of the place is taken away with it, and one undo brings it back.

    Raises
    ------
    Board.DoesNotExist
        If none of the boards has that number.
    NoSuchPlace
        If the board has no such joint, or nothing is asked by that code at the stage.
    AlreadySigned
        If the stage is signed, or nothing of the board is left for this grader to read.
    """
    board = lock_board_among(boards, number)
    found = _place_on(board, grader, place, own=False, key=key, at=at)
    if found is None:
        return None
    grading, criterion, joint = found
    refuse_if_not_asked(grading, criterion, joint)
    refuse_if_not_read(grading, criterion.stage, joint)
    if photo is not None and photo.board_id != board.pk:
        raise AssessmentError(_("That photograph belongs to another board."))
    _refuse_if_taken_back(photo)
    asked = CannotTell.objects.create(
        grading=grading,
        joint=joint,
        criterion=criterion,
        stage=criterion.stage,
        photo=photo,
        asks=asks,
        note=note,
        recorded_at=at,
    )
    earlier = _judgement_so_far(grading, criterion, joint)
    before = remembered(earlier, joint.pk if joint else None, criterion.pk)
    UndoStep.objects.create(
        grading=grading,
        stage=criterion.stage,
        before=[before | {"cannot_tell": asked.pk}],
        done_at=at,
        key=key,
    )
    if earlier is not None:
        earlier.delete()
    asked.replaced = before["was"]
    trail.record(
        actor=grader,
        act=written_down.COULD_NOT_TELL,
        about=asked,
        payload=written_down.cannot_tell_content(asked),
        at=at,
    )
    return asked


def _place_on(
    board: Board, grader: User, place: NamedPlace, *, own: bool, key: UUID | None, at: datetime
) -> tuple[Grading, Criterion, Joint | None] | None:
    """What a named place is in the grader's reading of a locked board; None if done before."""
    reading = _reading_on(board, grader, own=own, key=key, at=at)
    if reading is None:
        return None
    grading, assignment = reading
    criterion = Criterion.objects.filter(
        criteria_set=grading.criteria_set_id, code=place.code, stage=place.stage
    ).first()
    if criterion is None:
        assignment.refuse_if_begun_by_another_set(grader)
        raise NoSuchPlace(str(NOWHERE))
    joint = _joint_at(grading, place, criterion)
    assignment.refuse_if_closed(grading, criterion.stage)
    return grading, criterion, joint


def _reading_on(
    board: Board, grader: User, *, own: bool, key: UUID | None, at: datetime
) -> tuple[Grading, grading_assignment.GradingAssignment] | None:
    """The grader's reading of a board that is locked, begun if there is none.

    None where the grader did an act under this key before.
    """
    gradings, signings, done_by = _gradings_of(board, key)
    if grader.pk in done_by:
        return None
    assignment = grading_assignment.GradingAssignment(board, gradings, signings)
    reading = (
        grading_assignment.own_reading_among(gradings, grader)
        if own
        else grading_assignment.open_reading(assignment, grader)
    )
    if reading is None:
        reading = begin_reading(board=board, grader=grader, own=own, at=at)
        gradings = [reading, *gradings]
        assignment = grading_assignment.GradingAssignment(board, gradings, signings)
    return reading, assignment


def _gradings_of(
    board: Board, key: UUID | None
) -> tuple[list[Grading], list[StageSigning], set[int]]:
    """A board's gradings, newest first, what is signed of them, and who did the act of this key.

    In one query, since every judgement waits for it.
    """
    rows = board.gradings.annotate(signing=FilteredRelation("signings"))
    if key is not None:
        done = FilteredRelation("undo_steps", condition=Q(undo_steps__key=key))
        rows = rows.annotate(done=done, done_step=F("done__pk"))
    rows = rows.select_related("signing")  # type: ignore[misc] # the relation above
    gradings: dict[int, Grading] = {}
    signings, done_by = [], set()
    for row in rows:  # Each grading comes once for every stage signed, or once without.
        gradings.setdefault(row.pk, row)
        signing = getattr(row, "signing", None)
        if signing is not None:
            signings.append(signing)
        if getattr(row, "done_step", None) is not None:
            done_by.add(row.grader_id)
    return list(gradings.values()), signings, done_by


def _joint_at(
    grading: Grading, place: NamedPlace, criterion: Criterion | None = None
) -> Joint | None:
    """The make that is judged at a position and stage; None for the whole board.

    With it comes, as `judged`, what the reading says of it under the criterion, if it does.
    """
    if place.position == board_results.WHOLE_BOARD:
        return None
    so_far = Q(judgements__grading=grading, judgements__criterion=criterion)
    makes = list(
        grading.board.joints.filter(position__name=place.position)
        .annotate(judged=FilteredRelation("judgements", condition=so_far))
        .select_related("position", "judged")  # type: ignore[misc] # the relation above
        .order_by("make")
    )
    if len(makes) > 1:
        asked = {joint.pk for joint in board_results.joints_read(grading, place.stage)}
        makes = [joint for joint in makes if joint.pk in asked] or makes[-1:]
    if not makes:
        raise NoSuchPlace(str(NOWHERE))
    return makes[0]


def _judgement_so_far(
    grading: Grading, criterion: Criterion, joint: Joint | None
) -> Judgement | None:
    places = Judgement.objects.filter(grading=grading, joint=joint, criterion=criterion)
    return places.order_by("pk").first()


def _judge(
    grading: Grading,
    criterion: Criterion,
    joint: Joint | None,
    earlier: Judgement | None,
    *,
    outcome: str,
    seen: Circumstances,
    at: datetime,
    key: UUID | None,
) -> Judgement:
    """Judge in a grading whose board is locked and whose stage takes judgements."""
    refuse_if_not_asked(grading, criterion, joint)
    refuse_if_not_read(grading, criterion.stage, joint)
    made = _measurements_of(grading, criterion, joint)
    marks = MeasuredPlace.of(criterion, made) if made else None
    if seen.measured is not None:
        seen = seen.by_marks(_as_shown(marks, made, seen.measured, seen.measured_times))
    refuse_circumstances(seen, grading.board)
    refuse_unfit_instrument(seen, grading, at)
    refuse_unmeasured(grading, criterion, outcome, seen)
    refuse_unexplained(criterion, outcome, seen, marks)
    before = remembered(earlier, joint.pk if joint else None, criterion.pk)
    UndoStep.objects.create(
        grading=grading, stage=criterion.stage, before=[before], done_at=at, key=key
    )
    # Nobody else adds the same row meanwhile: the board is locked.
    judgement = earlier or Judgement(grading=grading, joint=joint, criterion=criterion)
    judgement.stage = criterion.stage
    judgement.outcome = outcome
    judgement.how = seen.how
    judgement.magnification = seen.magnification
    judgement.photo = seen.photo
    judgement.mark_x, judgement.mark_y = seen.mark or (None, None)
    judgement.measurement = seen.measurement
    judgement.repeats = seen.repeats
    judgement.tool = seen.tool
    judgement.value = seen.value
    judgement.uncertainty = seen.uncertainty
    is_by_eye = criterion.is_measured and seen.value is None
    is_told = is_by_eye and outcome != Judgement.Outcome.NOT_APPLICABLE
    judgement.by_eye_because = seen.by_eye_because.strip() if is_told else ""
    judgement.note = seen.note
    judgement.with_the_rest = False
    judgement.judged_at = at
    judgement.save()
    judgement.replaced = before["was"]
    return judgement


def _as_shown(
    marks: MeasuredPlace | None, made: list[Measurement], latest: int, times: int | None
) -> MeasuredPlace:
    """What counts of a place, where it is what whoever judges had before them; else raise why."""
    if marks is not None and marks.pk == latest and times in (None, len(marks.measurements)):
        return marks
    is_measured_anew = marks is not None and marks.pk > latest
    if not is_measured_anew and any(map(is_by_former_scale, made)):
        raise AssessmentError(
            _(
                "What was measured here before the photograph’s scale was set anew no longer "
                "counts. Measure it again, then judge."
            )
        )
    raise AssessmentError(
        _("This place was measured anew meanwhile. Look at the later measurement.")
    )


def measured_before(
    grading: Grading, criterion: Criterion, joint: Joint | None
) -> MeasuredPlace | None:
    """What counts of what this grader has measured of the place under a measured criterion."""
    return MeasuredPlace.of(criterion, _measurements_of(grading, criterion, joint))


def _measurements_of(
    grading: Grading, criterion: Criterion, joint: Joint | None
) -> list[Measurement]:
    """All that this grader has measured of the place, newest first."""
    if not criterion.is_measured:
        return []
    return list(
        Measurement.objects.filter(
            photo__board=grading.board_id,
            joint=joint,
            criterion=criterion,
            measured_by=grading.grader_id,
        ).select_related("photo")
    )


@transaction.atomic
def accept_the_rest_of(
    *,
    boards: QuerySet[Board],
    number: str,
    grader: User,
    own: bool,
    place: NamedPlace,
    seen: Circumstances,
    at: datetime,
    key: UUID | None = None,
) -> int | None:
    """Accept what is open of one joint, and what is shown in its own right, if it is not measured.

    Returns how many judgements that made; None if the act was done before.

    Raises
    ------
    Board.DoesNotExist
        If none of the boards has that number.
    NoSuchPlace
        If the board has no such joint.
    """
    board = lock_board_among(boards, number)
    reading = _reading_on(board, grader, own=own, key=key, at=at)
    if reading is None:
        return None
    grading, _assignment = reading
    joint = _joint_at(grading, place)
    if joint is None:
        raise AssessmentError(_("Choose a joint first, then accept its rest."))
    shown = Criterion.objects.filter(criteria_set=grading.criteria_set_id, code=place.code).first()
    count = accept_the_rest(
        grading=grading, stage=place.stage, joints=[joint], seen=seen, at=at, shown=shown, key=key
    )
    if not count:
        raise AssessmentError(
            _("Nothing of this joint is left that may be accepted with the rest.")
        )
    return count


@transaction.atomic
def accept_the_rest(
    *,
    grading: Grading,
    stage: str,
    joints: Iterable[Joint | None],
    seen: Circumstances,
    at: datetime,
    shown: Criterion | None = None,
    key: UUID | None = None,
) -> int:
    """Accept what is still open on these joints at a stage; return how many were accepted.

    Critical and measured criteria are never covered: each wants a judgement of its own. What is
    shown gets one; if it is measured only by eye, where `seen` says why.
    What is accepted is stored as accepted with the rest, and one undo takes it all back.

    Parameters
    ----------
    joints : iterable of Joint or None
        None is the whole board.
    shown : Criterion, optional
        The criterion the grader has before them. If it is open, it is accepted by a judgement of
        its own before the rest, critical or not, unless it wants a measurement.
    key : UUID, optional
        What the browser calls this act; one that was done already is not done again.
    """
    lock_open(grading, stage)
    done = was_done(grading, key)
    if done is not None:
        return len(done.before)
    judged: set[tuple[int | None, int]] = set(
        Judgement.objects.filter(grading=grading, stage=stage).values_list(
            "joint_id", "criterion_id"
        )
    )
    # What somebody could not tell is not accepted along with what they did not look at.
    joints = list(joints)
    untold = set(cannot_tell.open_in(grading))
    if shown is not None:
        untold -= {(joint and joint.pk, shown.pk) for joint in joints}
    judged = judged | untold
    by_eye = shown is not None and _is_by_eye(grading, shown, joints, seen)
    new = []
    for joint in joints:
        refuse_if_not_read(grading, stage, joint)
        criteria = {
            criterion.code: criterion
            for criterion in board_results.criteria_for(grading, stage, joint)
        }
        place = joint and joint.pk
        accepted = accepted_with_the_rest(
            {code: may_go_with_the_rest(criterion) for code, criterion in criteria.items()},
            [code for code, criterion in criteria.items() if (place, criterion.pk) in judged],
            shown=shown.code if shown else None,
            measured=[
                code
                for code, criterion in criteria.items()
                if wants_measurement(grading, criterion) and not (by_eye and criterion == shown)
            ],
        )
        for criterion in map(criteria.__getitem__, accepted):
            is_shown = criterion == shown
            new.append(
                Judgement(
                    grading=grading,
                    joint=joint,
                    criterion=criterion,
                    stage=stage,
                    outcome=Judgement.Outcome.ACCEPT,
                    how=seen.how,
                    magnification=seen.magnification,
                    photo=seen.photo,
                    by_eye_because=seen.by_eye_because if is_shown and by_eye else "",
                    with_the_rest=not is_shown,
                    judged_at=at,
                )
            )
    if not new:
        return 0
    refuse_circumstances(seen, grading.board)
    before = [remembered(None, judgement.joint_id, judgement.criterion_id) for judgement in new]
    UndoStep.objects.create(grading=grading, stage=stage, before=before, done_at=at, key=key)
    Judgement.objects.bulk_create(new)
    return len(new)


def _is_by_eye(
    grading: Grading, shown: Criterion, joints: list[Joint | None], seen: Circumstances
) -> bool:
    """Whether what is shown is measured and accepted by eye; raise where it may not be."""
    if not seen.by_eye_because.strip() or not wants_measurement(grading, shown):
        return False
    refuse_unmeasured(grading, shown, Judgement.Outcome.ACCEPT, seen)
    for joint in joints:
        marks = measured_before(grading, shown, joint)
        refuse_unexplained(shown, Judgement.Outcome.ACCEPT, seen, marks)
    return True


def may_go_with_the_rest(criterion: Criterion) -> bool:
    return goes_with_the_rest(criterion.severity, is_measured=criterion.is_measured)


def measured_verdict(criterion: Criterion, seen: Circumstances | Judgement) -> Verdict | None:
    """What a value says of a measured criterion, read or measured; None without a value."""
    if not criterion.is_measured or seen.value is None:
        return None
    if seen.measurement is not None:
        # Its remarks are in it: what is not proven is too close to call.
        said = judged_verdict(seen.measurement, seen.repeats)
        if said is not None:
            return said
    return verdict(seen.value, seen.uncertainty or Decimal(0), criterion.low, criterion.high)


def refuse_if_not_asked(grading: Grading, criterion: Criterion, joint: Joint | None) -> None:
    board = grading.board
    fits = (
        criterion.criteria_set_id == grading.criteria_set_id
        and criterion.stage in board.exercise.stages
        and (not criterion.alloys or board.alloy in criterion.alloys)
    )
    if joint is None:
        fits = fits and criterion.of == Criterion.Of.BOARD
    else:
        fits = (
            fits
            and criterion.of == Criterion.Of.JOINT
            and joint.board_id == board.pk
            and joint.position.joint_type in criterion.joint_types
        )
    if not fits:
        raise AssessmentError(
            _("%(criterion)s is not asked of this joint.") % {"criterion": criterion.code}
        )


def refuse_if_not_read(grading: Grading, stage: str, joint: Joint | None) -> None:
    """Refuse a make that this reading is not asked about.

    The usual reading of boards on which nothing was reworked asks the database nothing.
    """
    if grading.kind == Grading.Kind.REWORK:
        if joint is not None and joint in board_results.joints_read(grading, stage):
            return
        raise AlreadySigned(
            _("%(place)s was not reworked, or somebody has signed for it. Open the board anew.")
            % {"place": joint or _("The whole board")}
        )
    is_remade = joint is not None and joint.make > 1
    if is_remade and joint not in board_results.joints_read(grading, stage):
        raise AssessmentError(
            _("%(joint)s is not the attempt that is judged here.") % {"joint": joint}
        )


def wants_measurement(grading: Grading, criterion: Criterion) -> bool:
    """Whether a criterion is judged here from marks, an instrument, or by eye with a reason alone.

    A trainee's own reading is never counted and shows what they see, so it wants none.
    """
    return criterion.is_measured and grading.kind != Grading.Kind.OWN


def refuse_unmeasured(
    grading: Grading, criterion: Criterion, outcome: str, seen: Circumstances
) -> None:
    """Refuse to judge by a word alone what is measured."""
    if (
        not wants_measurement(grading, criterion)
        or outcome == Judgement.Outcome.NOT_APPLICABLE
        or seen.value is not None
    ):
        return
    if not criterion.may_be_judged_by_eye:
        raise AssessmentError(
            _(
                "%(criterion)s is measured, and by its criteria set never judged by eye. Mark it"
                " on a photograph, or type what an instrument reads."
            )
            % {"criterion": criterion.code}
        )
    if not seen.by_eye_because.strip():
        raise AssessmentError(
            _(
                "%(criterion)s is measured: mark it on a photograph, type what an instrument"
                " reads, or judge it by eye and say why."
            )
            % {"criterion": criterion.code}
        )


def refuse_unexplained(
    criterion: Criterion, outcome: str, seen: Circumstances, marks: MeasuredPlace | None = None
) -> None:
    """A judgement that its reading does not bear out has to say why.

    Parameters
    ----------
    marks : MeasuredPlace, optional
        What the grader measured of the place before; it speaks where nothing was read.
    """
    measured = measured_verdict(criterion, seen)
    if measured is None and marks is not None and criterion.is_measured:
        measured = Verdict(marks.verdict)
    if measured is None or seen.note.strip():
        return
    against = {Verdict.WITHIN: Judgement.Outcome.REJECT, Verdict.OUTSIDE: Judgement.Outcome.ACCEPT}
    if measured != Verdict.TOO_CLOSE and outcome != against[measured]:
        return
    raise AssessmentError(
        _("The reading is %(verdict)s its limits. To judge so even then, say why in the note.")
        % {
            "verdict": {
                Verdict.WITHIN: _("within"),
                Verdict.OUTSIDE: _("outside"),
                Verdict.TOO_CLOSE: _("too close to call against"),
            }[measured]
        }
    )


def refuse_circumstances(seen: Circumstances, board: Board) -> None:
    if seen.photo is not None and seen.photo.board_id != board.pk:
        raise AssessmentError(_("That photograph belongs to another board."))
    _refuse_if_taken_back(seen.photo)
    from_photo = seen.how in (Judgement.How.PHOTOGRAPH, Judgement.How.MARKS)
    if from_photo and seen.photo is None:
        raise AssessmentError(
            _("Judged from a photograph, but none is on screen. Show one, or judge at the board.")
        )
    if seen.how == Judgement.How.MARKS and (seen.value is None or seen.measurement is None):
        raise AssessmentError(_("Judged from marks, but none are kept. Measure the photograph."))
    if seen.how == Judgement.How.INSTRUMENT and (seen.value is None or seen.tool is None):
        raise AssessmentError(
            _("A reading with an instrument needs its value and the tool it was read on.")
        )


def refuse_unfit_instrument(seen: Circumstances, grading: Grading, at: datetime) -> None:
    """Refuse to judge a board for qualification on what could not be relied on that day."""
    if seen.tool is None or grading.kind == Grading.Kind.OWN:
        return
    board = grading.board
    if board.purpose in board_tools.NEEDS_GOOD_TOOLS:
        lock_tools([seen.tool.pk])
        tools = list(Tool.objects.filter(pk=seen.tool.pk))
        if why := board_tools.why_not_for(board, tools, board.site.today(at)):
            raise AssessmentError(why)


def _refuse_if_taken_back(photo: Photo | None) -> None:
    """Refuse a photograph that whoever sent it took back before the board was locked."""
    if photo is not None and Photo.every.filter(pk=photo.pk, taken_back_at__isnull=False).exists():
        raise PhotoTakenBack(taken_back_in_words(photo))


def was_done(grading: Grading, key: UUID | None) -> UndoStep | None:
    """The act of a grading that a browser sent under this key, if it arrived before."""
    return None if key is None else grading.undo_steps.filter(key=key).first()


def remembered(judgement: Judgement | None, joint_id: int | None, criterion_id: int) -> dict:
    """What an undo needs to put back: the earlier judgement, or that there was none."""
    step: dict = {"joint": joint_id, "criterion": criterion_id, "was": None}
    if judgement is not None:
        step["was"] = {
            "stage": judgement.stage,
            "outcome": judgement.outcome,
            "how": judgement.how,
            "magnification": _text(judgement.magnification),
            "photo": judgement.photo_id,
            "mark_x": judgement.mark_x,
            "mark_y": judgement.mark_y,
            "measurement": judgement.measurement_id,
            "repeats": judgement.repeats,
            "tool": judgement.tool_id,
            "value": _text(judgement.value),
            "uncertainty": _text(judgement.uncertainty),
            "by_eye_because": judgement.by_eye_because,
            "note": judgement.note,
            "with_the_rest": judgement.with_the_rest,
            "judged_at": judgement.judged_at.isoformat(),
        }
    return step


def _text(value: Decimal | None) -> str | None:
    return None if value is None else str(value)
