"""A board as somebody has it before them to judge: read once, then asked many times."""

from collections.abc import Iterable, Sequence
from functools import cached_property

from django.db.models import prefetch_related_objects

from assessments.domain import joint_states, scoring
from assessments.exceptions import AssessmentError
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
    StageSigning,
)
from people.models import User
from training.models import Stage

from . import board_results, cannot_tell, effective_judgements, grading_assignment
from .grading_assignment import (
    current_criteria_set,
    gradings_of,
    open_reading,
    own_reading_among,
)
from .measured_places import MeasuredPlace, is_by_former_scale, measurements_used


class BoardForGrader:
    """One user's view of one board: their reading, its judgements, what is asked and signed.

    Judgements and criteria are read when first asked for, so that what is written before that
    is seen. Nothing here writes.

    Parameters
    ----------
    own : bool
        Whether the maker of the board judges it for themselves, uncounted.
    makes, gradings : list, optional
        What `makes_of` and `gradings_of` give, where it was read for many boards.
    """

    def __init__(
        self,
        board: Board,
        user: User,
        *,
        own: bool,
        makes: effective_judgements.Makes | None = None,
        gradings: list[Grading] | None = None,
    ) -> None:
        self.board = board
        self.user = user
        self.own = own
        prefetch_related_objects([board], "exercise__positions")
        self.positions = list(board.exercise.positions.all())
        self.makes = effective_judgements.makes_of(board) if makes is None else makes
        self.joints = effective_judgements.counted_of(self.makes, board.exercise.rework_allowed)
        self.gradings = gradings_of(board) if gradings is None else gradings
        self.assignment = grading_assignment.GradingAssignment(board, self.gradings)
        self.reading = self._reading()
        self._joints_at: dict[str, list[Joint]] = {}
        self._asked: dict[tuple[str, str | None], list[Criterion]] = {}

    def _reading(self) -> Grading | None:
        if not self.own:
            return open_reading(self.assignment, self.user, self.makes)
        return own_reading_among(self.gradings, self.user)

    def _own_readings(self) -> list[Grading]:
        return [grading for grading in self.gradings if grading.kind == Grading.Kind.OWN]

    @cached_property
    def kind(self) -> str:
        """What the user reads the board as, begun or not."""
        if self.own:
            return Grading.Kind.OWN
        if self.reading is not None:
            return self.reading.kind
        try:
            return self.kind_to_begin()
        except AssessmentError:
            return Grading.Kind.FIRST

    @property
    def _is_over(self) -> bool:
        """Whether nothing of the board is left for this user to read."""
        try:
            self.kind_to_begin()
        except AssessmentError:
            return True
        return False

    def kind_to_begin(self) -> str:
        """What the user would begin to read the board as; raise why they would not."""
        return grading_assignment.kind_to_begin(self.assignment, self.user, self.makes)

    @property
    def sees_only_own(self) -> bool:
        """Whether nobody else's judgements may be before the user."""
        alone = (Grading.Kind.REWORK, Grading.Kind.ANOTHER)
        return not self.own and (self.board.exercise.graders > 1 or self.kind in alone)

    def joints_at(self, stage: str) -> list[Joint]:
        """The makes that are judged at a stage, in the order of the board."""
        if stage not in self._joints_at:
            reading = self.reading or grading_assignment.as_if_begun(
                self.assignment, self.user, self.kind
            )
            self._joints_at[stage] = board_results.joints_read(reading, stage, self.makes)
            if stage in self.signed_here and reading.kind == Grading.Kind.REWORK:
                judged = {joint for joint, _criterion in self._judged}
                self._joints_at[stage] = [joint for joint in self.joints if joint.pk in judged]
        return self._joints_at[stage]

    @cached_property
    def photos(self) -> list[Photo]:
        return list(self.board.photos.order_by("order", "id"))

    @cached_property
    def criteria_set(self) -> CriteriaSet:
        if self.reading is not None:
            return self.reading.criteria_set
        return grading_assignment.set_of(self.assignment) or current_criteria_set(
            self.board.exercise
        )

    @cached_property
    def _signed(self) -> list[StageSigning]:
        """The signings that the user may see, oldest first."""
        shown = self.gradings
        if self.sees_only_own:
            shown = self.assignment.chain(self.reading) if self.reading else []
        signings = [signing for grading in shown for signing in grading.signings.all()]
        return sorted(signings, key=lambda signing: (signing.signed_at, signing.pk))

    @cached_property
    def signings(self) -> dict[str, StageSigning]:
        """The signing that counts for each signed stage: the latest that the user may see."""
        return {signing.stage: signing for signing in self._signed}

    @cached_property
    def closed(self) -> set[str]:
        """The stages that take no judgement of this reading."""
        if self.own:
            return set(self.board.exercise.stages) if self.signings else set()
        if self.reading is None and self._is_over:
            return set(self.board.exercise.stages)
        if self.sees_only_own or (self.reading and self.reading.replaces_id):
            return self.signed_here
        return set(self.signings)

    def signed_first(self, stage: str) -> Stage | None:
        """The stage that has to be signed before this one, where one has."""
        if self.own or stage in self.closed:
            return None
        reading = self.reading or grading_assignment.as_if_begun(
            self.assignment, self.user, self.kind
        )
        before = self.assignment.first_unsigned(reading, stage, self.makes)
        return Stage(before) if before else None

    @property
    def signed_here(self) -> set[str]:
        return {signing.stage for signing in self.reading.signings.all()} if self.reading else set()

    @property
    def others(self) -> list[Grading]:
        """Readings that somebody else has begun and not signed anything of."""
        return [
            grading
            for grading in self.gradings
            if not self.sees_only_own
            and grading.kind != Grading.Kind.OWN
            and grading.grader_id != self.user.pk
            and grading.replaces_id is None
            and not grading.signings.all()
        ]

    @property
    def readings_shown(self) -> set[int]:
        """Ids of the gradings whose judgements this user may be shown here."""
        signed = () if self.sees_only_own else self._signed
        wanted = {signing.grading_id for signing in signed}
        wanted |= {grading.pk for grading in self._own_readings()}
        if self.reading:
            wanted.add(self.reading.pk)
        return wanted

    @cached_property
    def _judgements(self) -> list[Judgement]:
        wanted = self.readings_shown
        rows = Judgement.objects.filter(grading__in=wanted).select_related("measurement")
        return list(rows) if wanted else []

    def bring(self, *, judgements: list[Judgement], photos: list[Photo]) -> None:
        """Take judgements of `readings_shown` and photographs that were read for many boards."""
        self._judgements = judgements
        self.photos = photos

    @cached_property
    def _judged(self) -> dict[tuple[int | None, int], Judgement]:
        """By joint and criterion: this reading's, and at other signed stages what was signed.

        What was signed of a stage may stand in several readings, since whoever inspects what
        was reworked judges that alone: of each place the one that was signed last is shown.
        """
        mine = self.reading.pk if self.reading else None
        shown: dict[str, list[int | None]] = {stage: [mine] for stage in self.board.exercise.stages}
        if not self.own and not self.sees_only_own:
            is_correction = self.reading is not None and self.reading.replaces_id is not None
            for stage in self.closed - (self.signed_here if is_correction else set()):
                shown[stage] = [
                    signing.grading_id for signing in self._signed if signing.stage == stage
                ]
        by_reading: dict[tuple[int, str], list[Judgement]] = {}
        for judgement in self._judgements:
            by_reading.setdefault((judgement.grading_id, judgement.stage), []).append(judgement)
        return {
            (judgement.joint_id, judgement.criterion_id): judgement
            for stage, readings in shown.items()
            for reading in readings
            if reading is not None
            for judgement in by_reading.get((reading, stage), ())
        }

    @property
    def reason_by_eye(self) -> str:
        """Why the user accepted by eye last on this board; it is offered for the next.

        What is rejected by eye has a reason of its own each time.
        """
        reading = self.reading.pk if self.reading else None
        given = [
            judgement
            for judgement in self._judgements
            if judgement.grading_id == reading
            and judgement.by_eye_because
            and judgement.outcome == Judgement.Outcome.ACCEPT
        ]
        last = max(given, key=lambda judgement: (judgement.judged_at, judgement.pk), default=None)
        return last.by_eye_because if last else ""

    @cached_property
    def _judged_by_maker(self) -> dict[tuple[int | None, int], Judgement]:
        if self.own:
            return {}
        ids = {grading.pk for grading in self._own_readings()}
        return {
            (judgement.joint_id, judgement.criterion_id): judgement
            for judgement in self._judgements
            if judgement.grading_id in ids
        }

    def judgement(self, joint: Joint | None, criterion: Criterion) -> Judgement | None:
        return self._judged.get((joint.pk if joint else None, criterion.pk))

    def judgement_of_maker(self, joint: Joint | None, criterion: Criterion) -> Judgement | None:
        """What the board's maker said of it in their own reading."""
        return self._judged_by_maker.get((joint.pk if joint else None, criterion.pk))

    @cached_property
    def _measured(self) -> dict[tuple[int | None, int | None], list[Measurement]]:
        """What this user has measured, by joint and criterion, newest first."""
        by_place: dict[tuple[int | None, int | None], list[Measurement]] = {}
        for measurement in Measurement.objects.filter(
            photo__board=self.board, measured_by=self.user, criterion__isnull=False
        ).select_related("photo"):
            place = (measurement.joint_id, measurement.criterion_id)
            by_place.setdefault(place, []).append(measurement)
        return by_place

    @cached_property
    def _cannot_tell(self) -> dict[tuple[int | None, int], CannotTell]:
        return cannot_tell.open_in(self.reading) if self.reading and not self.own else {}

    def cannot_tell(self, joint: Joint | None, criterion: Criterion) -> CannotTell | None:
        """What the user asked for where they could not tell, while it is open."""
        return self._cannot_tell.get((joint.pk if joint else None, criterion.pk))

    def _measurements(self, joint: Joint | None, criterion: Criterion) -> list[Measurement]:
        if not criterion.is_measured:
            return []
        return self._measured.get((joint.pk if joint else None, criterion.pk), [])

    def measured(self, joint: Joint | None, criterion: Criterion) -> MeasuredPlace | None:
        """What counts of what the user has measured of the joint under a measured criterion."""
        return MeasuredPlace.of(criterion, self._measurements(joint, criterion))

    def left_out(self, joint: Joint | None, criterion: Criterion) -> int:
        """How many measurements of the joint by the user do not count, by a former scale."""
        return sum(map(is_by_former_scale, self._measurements(joint, criterion)))

    def rests_on_former_scale(self, joint: Joint | None, criterion: Criterion) -> bool:
        """Whether what is judged of the joint, and not signed, was measured by a former scale."""
        judgement = self.judgement(joint, criterion)
        if judgement is None or criterion.stage in self.closed:
            return False
        used = measurements_used(judgement)
        return any(
            each.pk in used and is_by_former_scale(each)
            for each in self._measurements(joint, criterion)
        )

    def asked(self, stage: str, joint: Joint | None) -> list[Criterion]:
        """The criteria asked of a joint, or of the whole board, at a stage."""
        key = (stage, joint.position.joint_type if joint else None)
        if key not in self._asked:
            if joint is None:
                types = {position.joint_type for position in self.positions}
                criteria: Iterable[Criterion] = self.criteria_set.for_board(stage, types)
            else:
                criteria = self.criteria_set.for_joint(stage, joint.position.joint_type)
            alloy = self.board.alloy
            self._asked[key] = [
                criterion
                for criterion in criteria
                if not criterion.alloys or alloy in criterion.alloys
            ]
        return self._asked[key]

    def criterion(self, code: str) -> Criterion | None:
        return next(
            (criterion for criterion in self.criteria_set.all_criteria if criterion.code == code),
            None,
        )

    def state(self, stage: str, joint: Joint | None) -> str:
        """The state of a joint at a stage; a spare joint that nobody began is not asked for."""
        criteria = self.asked(stage, joint)
        outcomes = {
            criterion.code: scoring.Outcome(judgement.outcome)
            for criterion in criteria
            if (judgement := self.judgement(joint, criterion)) is not None
        }
        rules = [board_results.as_rule(criterion) for criterion in criteria]
        is_spare = joint is not None and not joint.position.required
        return joint_states.shown_state(rules, outcomes, is_spare=is_spare)

    def places(self, stage: str) -> list[Joint | None]:
        """The joints, and None for the whole board where a stage asks something of it."""
        of_board = self.kind != Grading.Kind.REWORK and self.asked(stage, None)
        return [*self.joints_at(stage), *([None] if of_board else [])]

    def open_places(self, stage: str) -> int:
        """How many places of a stage still want a judgement."""
        states = [self.state(stage, joint) for joint in self.places(stage)]
        return states.count(scoring.JointState.OPEN.value)

    @property
    def stages(self) -> list[Stage]:
        stages = self.board.exercise.stage_list
        if self.kind == Grading.Kind.REWORK:
            return [
                stage
                for stage in stages
                if stage.value in self.signed_here or self.joints_at(stage)
            ]
        return stages

    @property
    def missing(self) -> tuple[str, ...]:
        """Names of the required positions where no joint was made."""
        there = {joint.position_id for joint in self.joints}
        return tuple(
            position.name
            for position in self.positions
            if position.required and position.pk not in there
        )

    def photos_of(self, joint: Joint | None) -> list[Photo]:
        """A joint's own photographs, then those of the whole board; for the board, those alone."""
        own = [photo for photo in self.photos if joint and photo.joint_id == joint.pk]
        return own + [photo for photo in self.photos if photo.joint_id is None]

    def best_photo(self, joint: Joint | None, stage: str) -> Photo | None:
        """The first photograph of a joint taken at a stage, else the first there is."""
        photos = self.photos_of(joint)
        return next(
            (photo for photo in photos if photo.stage == stage), photos[0] if photos else None
        )


def boards_for_grader(boards: Sequence[Board], user: User) -> list[BoardForGrader]:
    """One user's view of many boards, read with a number of queries that does not grow with them.

    Raises
    ------
    AssessmentError
        If nothing is begun on one of the boards and no criteria set is published.
    """
    if not boards:
        return []
    prefetch_related_objects(boards, "exercise__positions")
    makes = {board.pk: effective_judgements.Makes() for board in boards}
    photos: dict[int, list[Photo]] = {board.pk: [] for board in boards}
    gradings: dict[int, list[Grading]] = {board.pk: [] for board in boards}
    for joint in (
        Joint.objects.filter(board__in=boards)
        .select_related("position")
        .order_by("position__order", "make")
    ):
        makes[joint.board_id].append(joint)
    reworked = [pk for pk, joints in makes.items() if any(joint.make > 1 for joint in joints)]
    for pk, judged in (effective_judgements.judged_on(reworked) if reworked else {}).items():
        makes[pk].judged = judged
    for photo in Photo.objects.filter(board__in=boards).order_by("order", "id"):
        photos[photo.board_id].append(photo)
    by_pk = {board.pk: board for board in boards}
    sets: dict[int, CriteriaSet] = {}
    for grading in (
        Grading.objects.filter(board__in=boards)
        .select_related("grader__person", "criteria_set")
        .prefetch_related("signings")
    ):
        grading.board = by_pk[grading.board_id]
        grading.criteria_set = sets.setdefault(grading.criteria_set_id, grading.criteria_set)
        gradings[grading.board_id].append(grading)
    all_for_grader = [
        BoardForGrader(
            board,
            user,
            own=False,
            makes=makes[board.pk],
            gradings=gradings[board.pk],
        )
        for board in boards
    ]
    if any(for_grader.reading is None for for_grader in all_for_grader):
        current: dict[int, CriteriaSet] = {}
        for for_grader in all_for_grader:
            if for_grader.reading is not None:
                continue
            exercise = for_grader.board.exercise
            if exercise.pk not in current:
                made = current_criteria_set(exercise)
                current[exercise.pk] = sets.setdefault(made.pk, made)
            for_grader.criteria_set = (
                grading_assignment.set_of(for_grader.assignment) or current[exercise.pk]
            )
    prefetch_related_objects(list(sets.values()), "criteria")
    shown = set().union(*(for_grader.readings_shown for for_grader in all_for_grader))
    judgements: dict[int, list[Judgement]] = {}
    for judgement in Judgement.objects.filter(grading__in=shown).select_related("measurement"):
        judgements.setdefault(judgement.grading_id, []).append(judgement)
    for for_grader in all_for_grader:
        for_grader.bring(
            judgements=[
                judgement
                for pk in for_grader.readings_shown
                for judgement in judgements.get(pk, ())
            ],
            photos=photos[for_grader.board.pk],
        )
    return all_for_grader
