"""What the trail says of boards, photographs and criteria: made here, and rebuilt here.

What a stage signature covers is `board_results.signed_content`.
"""

import hashlib
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from typing import Any

from django.db.models import Max, Model, Q

from assessments.models import (
    Board,
    BoardCancellation,
    CannotTell,
    CriteriaSet,
    Criterion,
    CriterionDrawing,
    DestructiveCheck,
    ExerciseCriteria,
    Joint,
    Judgement,
    Measurement,
    MeasurementStudy,
    Photo,
    PhotoSetup,
    PurposeCorrection,
    ReadingRequest,
    Rework,
    SetupQualification,
    SetupRetirement,
    StageSigning,
    StudyClosing,
    StudyGrader,
    StudyPhoto,
    StudyReading,
    StudyReference,
    StudyWithdrawal,
    WireTolerance,
)
from people.queries.employee_numbers import rebuilt_with_person
from records.domain.kinds import kind_of
from records.models import TrailEntry
from records.queries import rebuilding
from records.queries.rebuilding import Content, KeptTable, Part, Written

from . import board_results

JUDGED = "judged this stage against the criteria"
DECIDED = "decided where two graders differ"
ADDED = "photograph added"
PLACED = ("photograph placed", "photograph described")
MADE = "board made"
CANCELLED = "board cancelled"
PURPOSE = "purpose of board corrected"
MEASURED = "measured on a photograph"
SENT_BACK = "joint sent back"
ASKED = "another reading asked for"
ANSWERED = "another reading answered"
CHECKED = "destructive check recorded"
PUBLISHED = "criteria set published"
SET_RETIRED = "criteria set retired"
DECLARED = "photo set-up declared"
QUALIFIED = "photo set-up qualified"
RETIRED = "photo set-up retired"
TOLERANCE = "wire tolerance stated"
DRAWN = "drawing added"
CHOSEN = "criteria set chosen for an exercise"
COULD_NOT_TELL = "could not tell from a photograph"
ASKED_NO_MORE = "took back what could not be told"
STUDY_MADE = "measurement study made"
STUDY_MARKED = "marked in a measurement study"
STUDY_REFERENCE = "reference value of a measurement study stated"
STUDY_CLOSED = "measurement study closed"
STUDY_WITHDRAWN = "measurement study withdrawn"


def board_content(board: Board) -> dict[str, Any]:
    """A board that was just made."""
    return {
        "number": board.number,
        "person": board.person.employee_number,
        "person_id": board.person_id,
        "exercise": [board.exercise.code, board.exercise.revision],
        "purpose": str(board.purpose),
        "site": board.site.prefix,
        "session": board.session.number if board.session else None,
        "unit": board.unit,
        "work_order": board.work_order,
        "alloy": board.alloy,
        "handed_out_on": board.handed_out_on,
        "made_by": board.made_by_id,
        "recorded_at": board.recorded_at,
    }


def board_content_when_made(board: Board) -> dict[str, Any]:
    """A board as it was made, whatever was corrected of it since."""
    content = board_content(board) | {"purpose": _purpose_when_made(board)}
    # No board is made cancelled: one that says so without a cancellation was altered.
    if board.cancelled_at is not None and not hasattr(board, "cancellation"):
        content["cancelled_at"] = board.cancelled_at
    return content


def _purpose_when_made(board: Board) -> str:
    """The purpose before every correction; what no purpose is, where they do not lead to today's.

    So a purpose that was altered past the corrections is never taken for the one it was made for.
    """
    corrections = list(board.purpose_corrections.all())
    purpose = str(board.purpose)
    for correction in reversed(corrections):
        if correction.after != purpose:
            return f"{purpose}, not as corrected"
        purpose = correction.before
    return purpose


def cancellation_content(cancellation: BoardCancellation) -> dict[str, Any]:
    return {
        "number": cancellation.board.number,
        "reason": cancellation.reason,
        "cancelled_by": cancellation.cancelled_by_id,
        "cancelled_at": cancellation.board.cancelled_at,
        "recorded_at": cancellation.recorded_at,
    }


def purpose_content(correction: PurposeCorrection) -> dict[str, Any]:
    return {
        "number": correction.board.number,
        "before": correction.before,
        "after": correction.after,
        "reason": correction.reason,
        "corrected_by": correction.corrected_by_id,
        "recorded_at": correction.recorded_at,
    }


def _joint(joint: Joint | None) -> str:
    """A joint as it was ever written down, whatever pages come to call it; empty for the board."""
    if joint is None:
        return ""
    name = joint.position.name
    return name if joint.make == 1 else f"{name}, make {joint.make}"


def photo_content(photo: Photo) -> dict[str, Any]:
    return {
        "board": photo.board.number,
        "joint": _joint(photo.joint),
        "stage": photo.stage,
        "key": photo.key,
        "original": str(photo.original.name),
        "file_name": photo.original_name,
        "media_type": photo.media_type,
        "size_bytes": photo.size_bytes,
        "sha256": photo.sha256,
        "is_incomplete": photo.is_incomplete,
        "upright_width": photo.upright_width,
        "upright_height": photo.upright_height,
        "added_by": photo.added_by_id,
        "recorded_at": photo.recorded_at,
    }


def placing_content(photo: Photo) -> dict[str, Any]:
    """What can be changed of what a photograph shows."""
    content = {"joint": _joint(photo.joint), "stage": photo.stage, "note": photo.note}
    # A photograph by hand, as all were before, says nothing of a set-up.
    return content | ({"setup": photo.setup.name} if photo.setup else {})


def setup_content(setup: PhotoSetup) -> dict[str, Any]:
    return {
        "site": setup.site.prefix,
        "name": setup.name,
        "kind": str(setup.kind),
        "tilt_deg": setup.tilt_deg,
        "depth_mm": setup.depth_mm,
        "relief_mm": setup.relief_mm,
        "distance_mm": setup.distance_mm,
        "distortion_percent": setup.distortion_percent,
        "field_mm": setup.field_mm,
        "declared_by": setup.declared_by_id,
        "recorded_at": setup.recorded_at,
    }


def qualification_content(qualification: SetupQualification) -> dict[str, Any]:
    return {
        "setup": qualification.setup_id,
        "done_on": qualification.done_on,
        "graticule": qualification.graticule,
        "readings": qualification.readings,
        "qualified_by": qualification.qualified_by_id,
        "recorded_at": qualification.recorded_at,
    }


def retirement_content(retirement: SetupRetirement) -> dict[str, Any]:
    return {
        "setup": retirement.setup_id,
        "reason": retirement.reason,
        "retired_by": retirement.retired_by_id,
        "recorded_at": retirement.recorded_at,
    }


def cannot_tell_content(asked: CannotTell) -> dict[str, Any]:
    return {
        "board": asked.grading.board.number,
        "grading": asked.grading_id,
        "joint": _joint(asked.joint),
        "criterion": asked.criterion.code,
        "stage": str(asked.stage),
        "photo": asked.photo.sha256 if asked.photo else None,
        "asks": str(asked.asks),
        "note": asked.note,
        "recorded_at": asked.recorded_at,
    }


def tolerance_content(tolerance: WireTolerance) -> dict[str, Any]:
    return {
        "site": tolerance.site.prefix,
        "conductor_percent": tolerance.conductor_percent,
        "overall_percent": tolerance.overall_percent,
        "source": tolerance.source,
        "stated_by": tolerance.stated_by_id,
        "recorded_at": tolerance.recorded_at,
    }


def study_content(study: MeasurementStudy) -> dict[str, Any]:
    """A study as it was laid out; its rows are read for it."""
    return {
        "site": study.site.prefix,
        "title": study.title,
        "quantity": str(study.quantity),
        "criterion": study.criterion.code if study.criterion else "",
        "unit": study.unit,
        "repeats": study.repeats,
        "seed": study.seed,
        "photos": [
            {
                "order": each.order,
                "photo": each.photo.sha256,
                "joint": each.joint_id,
                "scale_px_per_mm": each.scale_px_per_mm,
                "scale_uncertainty": each.scale_uncertainty,
                "scale_view": each.scale_view,
            }
            for each in study.photos.all()
        ],
        "graders": [{"user": grader.user_id} for grader in study.graders.all()],
        "made_by": study.made_by_id,
        "recorded_at": study.recorded_at,
    }


def reading_content(reading: StudyReading) -> dict[str, Any]:
    return {
        "study": reading.grader.study_id,
        "photo": reading.study_photo.order,
        "grader": reading.grader.user_id,
        "turn": reading.turn,
        "marks": reading.marks,
        "options": reading.options,
        "mark_uncertainty_px": reading.mark_uncertainty_px,
        "pixel_px": reading.pixel_px,
        "value": reading.value,
        "standard_uncertainty": reading.standard_uncertainty,
        "unit": reading.unit,
        "budget": reading.budget,
        "remarks": reading.remarks,
        "recorded_at": reading.recorded_at,
    }


def reference_content(reference: StudyReference) -> dict[str, Any]:
    return {
        "study": reference.study_id,
        "joint": reference.joint_id,
        "value": reference.value,
        "expanded_uncertainty": reference.expanded_uncertainty,
        "source": reference.source,
        "stated_by": reference.stated_by_id,
        "recorded_at": reference.recorded_at,
    }


def closing_content(closing: StudyClosing) -> dict[str, Any]:
    return {
        "study": closing.study_id,
        "reason": closing.reason,
        "spreads": closing.spreads,
        "closed_by": closing.closed_by_id,
        "recorded_at": closing.recorded_at,
    }


def withdrawal_content(withdrawal: StudyWithdrawal) -> dict[str, Any]:
    return {
        "study": withdrawal.study_id,
        "reason": withdrawal.reason,
        "withdrawn_by": withdrawal.withdrawn_by_id,
        "recorded_at": withdrawal.recorded_at,
    }


def measurement_content(measurement: Measurement) -> dict[str, Any]:
    content = {
        "photo": measurement.photo.sha256,
        "joint": _joint(measurement.joint),
        "criterion": measurement.criterion.code if measurement.criterion else "",
        "quantity": str(measurement.quantity),
        "marks": measurement.marks,
        "options": measurement.options,
        "mark_uncertainty_px": measurement.mark_uncertainty_px,
        "mm_per_px": measurement.mm_per_px,
        "scale_uncertainty": measurement.scale_uncertainty,
        "value": measurement.value,
        "standard_uncertainty": measurement.standard_uncertainty,
        "unit": measurement.unit,
        "remarks": measurement.remarks,
        "also": measurement.also,
        "verdict": measurement.verdict,
        "measured_by": measurement.measured_by_id,
        "recorded_at": measurement.recorded_at,
    }
    # Measurements of before its terms were kept were written down without them.
    terms = {"budget": measurement.budget, "view": measurement.view}
    return content | {name: kept for name, kept in terms.items() if kept}


def rework_content(rework: Rework) -> dict[str, Any]:
    return {
        "board": rework.joint.board.number,
        "joint": rework.joint.position.name,
        "make": rework.joint.make,
        "criteria": rework.codes,
        "reason": rework.reason,
        "sent_by": rework.sent_by_id,
        "recorded_at": rework.recorded_at,
    }


def request_content(request: ReadingRequest) -> dict[str, Any]:
    return {
        "board": request.board.number,
        "reason": request.reason,
        "before": request.before,
        "asked_by": request.asked_by_id,
        "recorded_at": request.recorded_at,
    }


def answer_content(request: ReadingRequest) -> dict[str, Any]:
    return {
        "board": request.board.number,
        "before": request.before,
        "after": request.after,
        "grading": request.grading_id,
        "answered_at": request.answered_at,
    }


def check_content(check: DestructiveCheck) -> dict[str, Any]:
    return {
        "number": check.board.number,
        "kind": check.kind,
        "result": check.result,
        "done_on": check.done_on,
        "recorded_at": check.recorded_at,
    }


def published_content(criteria_set: CriteriaSet) -> dict[str, Any]:
    """A set as it was published, with every criterion in full; its rows are read for it."""
    return {
        "set": criteria_set.title,
        "revision": criteria_set.revision,
        "summary": criteria_set.summary,
        "published_at": criteria_set.published_at,
        "published_by": criteria_set.published_by_id,
        "criteria": [criterion_content(criterion) for criterion in criteria_set.criteria.all()],
    } | _said_of_set(criteria_set)


def _said_of_set(criteria_set: CriteriaSet) -> dict[str, Any]:
    """What sets have come to say since the first were published: only what this one does say."""
    said = {
        "document": criteria_set.document,
        "product_class": criteria_set.product_class,
        "begun_from": criteria_set.begun_from_id,
        "dropped": criteria_set.dropped,
        "publishing_reason": criteria_set.publishing_reason,
    }
    return {name: value for name, value in said.items() if value} | (
        {} if criteria_set.by_default else {"by_default": False}
    )


FIRST_CRITERION_FIELDS = (
    "code",
    "order",
    "stage",
    "of",
    "joint_types",
    "alloys",
    "how",
    "quantity",
    "low",
    "high",
    "unit",
    "severity",
    "demerits",
    "accept_drawing",
    "reject_drawing",
    "texts",
    "document",
    "clause",
    "source_note",
    "confirmed_at",
    "confirmed_by_id",
)
"""What entries say of every criterion; of fields that came later they say what is not empty.

So that sets which were published before a field came are still what was written down of them.
"""


def criterion_content(criterion: Criterion) -> dict[str, Any]:
    content = {
        field.attname: getattr(criterion, field.attname)
        for field in Criterion._meta.concrete_fields
        if field.attname not in ("id", "criteria_set_id")
    }
    return {
        name: value
        for name, value in content.items()
        if name in FIRST_CRITERION_FIELDS or value not in (None, "", [])
    }


def drawing_content(drawing: CriterionDrawing) -> dict[str, Any]:
    return {
        "sha256": hashlib.sha256(bytes(drawing.data)).hexdigest(),
        "named": drawing.sha256,
        "kind": str(drawing.kind),
        "title": drawing.title,
        "added_by": drawing.added_by_id,
        "recorded_at": drawing.recorded_at,
    }


def exercise_criteria_content(choice: ExerciseCriteria) -> dict[str, Any]:
    return {"exercise": choice.exercise_code, "set": choice.title}


# Rebuilding


def _of_people(
    rows: Any, content_of: Callable[[Any], dict[str, Any]]
) -> Callable[[Sequence[Written]], dict[int, Content]]:
    return lambda written: rebuilt_with_person(
        written, rebuilding.rows_by_number(rows, written), content_of
    )


def _by_number(
    rows: Any, content_of: Callable[[Any], dict[str, Any]]
) -> Callable[[Sequence[Written]], dict[int, Content]]:
    return lambda written: {
        number: content_of(row) for number, row in rebuilding.rows_by_number(rows, written).items()
    }


def _photos(written: Sequence[Written]) -> dict[int, Content]:
    """What a photograph shows is compared with the last entry that says so."""
    rows = rebuilding.rows_by_number(
        Photo.objects.select_related("board", "joint__position", "setup"), written
    )
    placings = TrailEntry.objects.filter(
        about_type=kind_of(Photo.__name__),
        about_id__in={entry.about_id for entry in written},
        act__in=PLACED,
    )
    last = dict(placings.order_by().values_list("about_id").annotate(Max("number")))
    rebuilt: dict[int, Content] = {}
    for entry in written:
        if (photo := rows.get(entry.number)) is None:
            continue
        if entry.act == ADDED:
            content = photo_content(photo)
            if entry.about_id in last:
                del content["joint"], content["stage"]
        else:
            content = {"board": photo.board.number}
            if last[entry.about_id] == entry.number:
                content["after"] = placing_content(photo)
        rebuilt[entry.number] = content
    return rebuilt


def _instants(model: type[Model], written: Sequence[Written], act: str) -> dict[str, datetime]:
    """When the trail says that an act was done to each, the last time that it was."""
    entries = TrailEntry.objects.filter(
        about_type=kind_of(model.__name__),
        about_id__in={entry.about_id for entry in written},
        act=act,
    )
    return dict(entries.order_by().values_list("about_id").annotate(Max("recorded_at")))


def _sets(written: Sequence[Written]) -> dict[int, Content]:
    """Sets as they were published; one that retired at another instant than the trail says so."""
    rows = rebuilding.rows_by_number(CriteriaSet.objects.prefetch_related("criteria"), written)
    retired = _instants(CriteriaSet, written, SET_RETIRED)
    return {
        number: published_content(row) | _unlike("retired_at", row, retired)
        for number, row in rows.items()
    }


def _untold(written: Sequence[Written]) -> dict[int, Content]:
    """What could not be told; what was taken back at another instant than the trail says so."""
    asked = CannotTell.objects.select_related(
        "grading__board", "joint__position", "criterion", "photo"
    )
    rows = rebuilding.rows_by_number(asked, written)
    taken_back = _instants(CannotTell, written, ASKED_NO_MORE)
    return {
        number: cannot_tell_content(row) | _unlike("taken_back_at", row, taken_back)
        for number, row in rows.items()
    }


def _unlike(name: str, row: Model, instants: Mapping[str, datetime]) -> dict[str, Any]:
    """What a row says, where the trail says otherwise: no entry has it, so it is named."""
    value = getattr(row, name)
    return {} if value == instants.get(str(row.pk)) else {name: value}


def _choices(written: Sequence[Written]) -> dict[int, Content]:
    """Which set an exercise goes by, and who chose it, is compared with the last entry."""
    rows = rebuilding.rows_by_number(ExerciseCriteria.objects.all(), written)
    last = dict(
        TrailEntry.objects.filter(
            about_type=kind_of(ExerciseCriteria.__name__),
            about_id__in={entry.about_id for entry in written},
            act=CHOSEN,
        )
        .order_by()
        .values_list("about_id")
        .annotate(Max("number"))
    )
    rebuilt: dict[int, dict[str, Any]] = {}
    for entry in written:
        if (choice := rows.get(entry.number)) is None:
            continue
        if last[entry.about_id] != entry.number:
            rebuilt[entry.number] = {"exercise": choice.exercise_code}
            continue
        rebuilt[entry.number] = exercise_criteria_content(choice)
        if choice.chosen_by_id != entry.actor_id:
            rebuilt[entry.number] |= {"chosen_by": choice.chosen_by_id}
    return dict(rebuilt)


def _signings(written: Sequence[Written]) -> dict[int, Content]:
    signings = rebuilding.rows_signed(
        StageSigning.objects.select_related(
            "grading__board__exercise", "grading__board__person", "grading__criteria_set"
        ),
        written,
    )
    judgements: dict[tuple[int, str], list[Judgement]] = defaultdict(list)
    gradings = {signing.grading_id for signing in signings.values()}
    for judgement in board_results.judgements_to_sign(grading__in=gradings):
        judgements[judgement.grading_id, judgement.stage].append(judgement)

    def content_of(signing: StageSigning) -> dict[str, Any]:
        return board_results.signed_content(signing, judgements[signing.grading_id, signing.stage])

    return rebuilt_with_person(
        written, signings, content_of, lambda signing: signing.grading.board.person_id
    )


def register() -> None:
    """Have boards and what is on them compared with what was written down of them."""
    boards = Board.objects.select_related(
        "person", "exercise", "session", "site", "cancellation"
    ).prefetch_related("purpose_corrections")
    cancellations = BoardCancellation.objects.select_related("board")
    corrections = PurposeCorrection.objects.select_related("board")
    measurements = Measurement.objects.select_related("photo", "joint__position", "criterion")
    reworks = Rework.objects.select_related("joint__board", "joint__position")
    requests = ReadingRequest.objects.select_related("board")
    checks = DestructiveCheck.objects.select_related("board")
    setups = PhotoSetup.objects.select_related("site")
    tolerances = WireTolerance.objects.select_related("site")
    studies = MeasurementStudy.objects.select_related("site", "criterion").prefetch_related(
        "photos__photo", "graders"
    )
    readings = StudyReading.objects.select_related("grader", "study_photo")
    rebuilding.register_signatures(
        [JUDGED, DECIDED],
        StageSigning._meta.db_table,
        _signings,
        judgements=Part(Judgement._meta.db_table, ("joint", "make", "criterion")),
    )
    rebuilding.register_entries([ADDED, *PLACED], Photo._meta.db_table, _photos)
    for acts, rebuild, model in (
        ([MADE], _of_people(boards, board_content_when_made), Board),
        ([PURPOSE], _by_number(corrections, purpose_content), PurposeCorrection),
        ([MEASURED], _by_number(measurements, measurement_content), Measurement),
        ([SENT_BACK], _by_number(reworks, rework_content), Rework),
        ([ASKED], _by_number(requests, request_content), ReadingRequest),
        ([ANSWERED], _by_number(requests, answer_content), ReadingRequest),
        ([CHECKED], _by_number(checks, check_content), DestructiveCheck),
        ([COULD_NOT_TELL], _untold, CannotTell),
        ([DECLARED], _by_number(setups, setup_content), PhotoSetup),
        (
            [QUALIFIED],
            _by_number(SetupQualification.objects.all(), qualification_content),
            SetupQualification,
        ),
        ([RETIRED], _by_number(SetupRetirement.objects.all(), retirement_content), SetupRetirement),
        ([TOLERANCE], _by_number(tolerances, tolerance_content), WireTolerance),
        (
            [DRAWN],
            _by_number(CriterionDrawing.objects.all(), drawing_content),
            CriterionDrawing,
        ),
        ([CHOSEN], _choices, ExerciseCriteria),
        ([STUDY_MARKED], _by_number(readings, reading_content), StudyReading),
        (
            [STUDY_REFERENCE],
            _by_number(StudyReference.objects.all(), reference_content),
            StudyReference,
        ),
        ([STUDY_CLOSED], _by_number(StudyClosing.objects.all(), closing_content), StudyClosing),
        (
            [STUDY_WITHDRAWN],
            _by_number(StudyWithdrawal.objects.all(), withdrawal_content),
            StudyWithdrawal,
        ),
    ):
        rebuilding.register_entries(acts, model._meta.db_table, rebuild)
    rebuilding.register_entries(
        [CANCELLED],
        BoardCancellation._meta.db_table,
        lambda written: {
            number: cancellation_content(cancellation)
            for number, cancellation in rebuilding.rows_by_number(
                cancellations, written, "board_id"
            ).items()
        },
    )
    rebuilding.register_entries(
        [PUBLISHED],
        CriteriaSet._meta.db_table,
        _sets,
        criteria=Part(Criterion._meta.db_table, ("code",)),
    )
    rebuilding.register_entries(
        [STUDY_MADE],
        MeasurementStudy._meta.db_table,
        _by_number(studies, study_content),
        photos=Part(StudyPhoto._meta.db_table, ("order",)),
        graders=Part(StudyGrader._meta.db_table, ("user",)),
    )
    is_published = Q(published_at__isnull=False)
    for kept in (
        KeptTable(StageSigning, meanings=(JUDGED, DECIDED)),
        KeptTable(Photo, "photograph", acts=(ADDED,), content_of=photo_content),
        KeptTable(Board, "board", acts=(MADE,), content_of=board_content_when_made),
        KeptTable(
            BoardCancellation,
            "board",
            "board_id",
            acts=(CANCELLED,),
            content_of=cancellation_content,
        ),
        KeptTable(
            PurposeCorrection,
            "purpose-correction",
            acts=(PURPOSE,),
            content_of=purpose_content,
        ),
        KeptTable(Measurement, "measurement", acts=(MEASURED,), content_of=measurement_content),
        KeptTable(Rework, "rework", acts=(SENT_BACK,), content_of=rework_content),
        KeptTable(ReadingRequest, "reading-request", acts=(ASKED,), content_of=request_content),
        KeptTable(DestructiveCheck, "destructive-check", acts=(CHECKED,), content_of=check_content),
        KeptTable(
            CannotTell, "cannot-tell", acts=(COULD_NOT_TELL,), content_of=cannot_tell_content
        ),
        KeptTable(PhotoSetup, "photo-setup", acts=(DECLARED,), content_of=setup_content),
        KeptTable(
            SetupQualification,
            "photo-setup-qualification",
            acts=(QUALIFIED,),
            content_of=qualification_content,
        ),
        KeptTable(
            SetupRetirement,
            "photo-setup-retirement",
            acts=(RETIRED,),
            content_of=retirement_content,
        ),
        KeptTable(WireTolerance, "wire-tolerance", acts=(TOLERANCE,), content_of=tolerance_content),
        KeptTable(CriterionDrawing, "criterion-drawing", acts=(DRAWN,), content_of=drawing_content),
        KeptTable(
            ExerciseCriteria,
            "exercise-criteria",
            acts=(CHOSEN,),
            content_of=exercise_criteria_content,
        ),
        KeptTable(
            MeasurementStudy, "measurement-study", acts=(STUDY_MADE,), content_of=study_content
        ),
        KeptTable(
            StudyReading,
            "measurement-study-reading",
            acts=(STUDY_MARKED,),
            content_of=reading_content,
        ),
        KeptTable(
            StudyReference,
            "measurement-study-reference",
            acts=(STUDY_REFERENCE,),
            content_of=reference_content,
        ),
        KeptTable(
            StudyClosing,
            "measurement-study-closing",
            acts=(STUDY_CLOSED,),
            content_of=closing_content,
        ),
        KeptTable(
            StudyWithdrawal,
            "measurement-study-withdrawal",
            acts=(STUDY_WITHDRAWN,),
            content_of=withdrawal_content,
        ),
        KeptTable(
            CriteriaSet,
            "criteria-set",
            acts=(PUBLISHED,),
            where=is_published,
            content_of=published_content,
        ),
    ):
        rebuilding.register_table(kept)
