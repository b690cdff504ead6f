"""What the trail says of boards, of what is asked about them, and of what was signed of them."""

from collections import defaultdict
from collections.abc import Sequence
from typing import Any

from assessments.models import (
    Board,
    BoardCancellation,
    CannotTell,
    DestructiveCheck,
    Judgement,
    PurposeCorrection,
    ReadingRequest,
    Rework,
    StageSigning,
    ToolWorkDecision,
)
from assessments.queries import board_results
from people.queries.employee_numbers import rebuilt_with_person
from records.queries import rebuilding
from records.queries.rebuilding import Content, KeptTable, Part, Written

from .rows import by_number, joint_written, of_people, register_rows

JUDGED = "judged this stage against the criteria"
DECIDED = "decided where two graders differ"
MADE = "board made"
CANCELLED = "board cancelled"
PURPOSE = "purpose of board corrected"
SENT_BACK = "joint sent back"
ASKED = "another reading asked for"
ANSWERED = "another reading answered"
CHECKED = "destructive check recorded"
COULD_NOT_TELL = "could not tell from a photograph"
ASKED_NO_MORE = "took back what could not be told"
TOOLS_NAMED = "tools of board named"
KEPT = "board kept"
TOOL_WORK = "work with a tool decided on"


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


def tools_content(board: Board) -> dict[str, Any]:
    """What a board says that it was made with."""
    return {
        "number": board.number,
        "tools": sorted(tool.code for tool in board.tools.all()),
    }


def tool_work_content(decision: ToolWorkDecision) -> dict[str, Any]:
    calibration = decision.calibration
    return {
        "board": decision.board.number,
        "tool": calibration.tool.code,
        "calibration": calibration.pk,
        "calibrated_on": calibration.calibrated_on,
        "decision": str(decision.decision),
        "reason": decision.reason,
        "decided_by": decision.decided_by_id,
        "recorded_at": decision.recorded_at,
    }


def cannot_tell_content(asked: CannotTell) -> dict[str, Any]:
    return {
        "board": asked.grading.board.number,
        "grading": asked.grading_id,
        "joint": joint_written(asked.joint),
        "criterion": asked.criterion.code,
        "stage": str(asked.stage),
        "photo": asked.photo.sha256 if asked.photo else None,
        "asks": str(asked.asks),
        "note": asked.note,
        "recorded_at": asked.recorded_at,
    }


def _untold(written: Sequence[Written]) -> dict[int, Content]:
    """What could not be told; what was taken back at another instant than the trail says so."""
    asked = CannotTell.objects.select_related(
        "grading__board", "joint__position", "criterion", "photo"
    )
    rows = rebuilding.rows_by_number(asked, written)
    taken_back = rebuilding.instants(CannotTell, written, ASKED_NO_MORE)
    return {
        number: cannot_tell_content(row) | rebuilding.unlike("taken_back_at", row, taken_back)
        for number, row in rows.items()
    }


def _signings(written: Sequence[Written]) -> dict[int, Content]:
    signings = rebuilding.rows_signed(
        StageSigning.objects.select_related(
            "grading__board__exercise", "grading__board__person", "grading__criteria_set"
        ),
        written,
    )
    judgements: dict[tuple[int, str], list[Judgement]] = defaultdict(list)
    gradings = {signing.grading_id for signing in signings.values()}
    for judgement in board_results.judgements_signed(grading__in=gradings):
        judgements[judgement.grading_id, judgement.stage].append(judgement)

    def content_of(signing: StageSigning) -> dict[str, Any]:
        return board_results.signed_content(signing, judgements[signing.grading_id, signing.stage])

    return rebuilt_with_person(
        written, signings, content_of, lambda signing: signing.grading.board.person_id
    )


def _tools(written: Sequence[Written]) -> dict[int, Content]:
    """The tools of a board are compared with the last entry that names them."""
    rows = rebuilding.rows_by_number(Board.objects.prefetch_related("tools"), written)
    last = rebuilding.last_entries("board", (TOOLS_NAMED, KEPT), written)
    return {
        entry.number: (
            tools_content(rows[entry.number]) if last[entry.about_id] == entry.number else {}
        )
        for entry in written
        if entry.number in rows
    }


def _cancellations(written: Sequence[Written]) -> dict[int, Content]:
    cancellations = BoardCancellation.objects.select_related("board")
    rows = rebuilding.rows_by_number(cancellations, written, "board_id")
    return {number: cancellation_content(row) for number, row in rows.items()}


def register() -> None:
    """Have boards, and what was asked, sent back and signed of them, compared with the trail."""
    boards = Board.objects.select_related(
        "person", "exercise", "session", "site", "cancellation"
    ).prefetch_related("purpose_corrections")
    requests = ReadingRequest.objects.select_related("board")
    rebuilding.register_signatures(
        [JUDGED, DECIDED],
        StageSigning._meta.db_table,
        _signings,
        judgements=Part(Judgement._meta.db_table, ("joint", "make", "criterion")),
    )
    rebuilding.register_table(KeptTable(StageSigning, meanings=(JUDGED, DECIDED)))
    for act, rebuild, kept in (
        (
            MADE,
            of_people(boards, board_content_when_made),
            KeptTable(Board, "board", acts=(MADE,), content_of=board_content_when_made),
        ),
        (
            CANCELLED,
            _cancellations,
            KeptTable(
                BoardCancellation,
                "board",
                "board_id",
                acts=(CANCELLED,),
                content_of=cancellation_content,
            ),
        ),
        (
            COULD_NOT_TELL,
            _untold,
            KeptTable(
                CannotTell, "cannot-tell", acts=(COULD_NOT_TELL,), content_of=cannot_tell_content
            ),
        ),
    ):
        rebuilding.register_entries([act], kept.table, rebuild)
        rebuilding.register_table(kept)
    register_rows(
        PurposeCorrection,
        "purpose-correction",
        PURPOSE,
        purpose_content,
        PurposeCorrection.objects.select_related("board"),
    )
    register_rows(
        Rework,
        "rework",
        SENT_BACK,
        rework_content,
        Rework.objects.select_related("joint__board", "joint__position"),
    )
    register_rows(ReadingRequest, "reading-request", ASKED, request_content, requests)
    register_rows(
        ToolWorkDecision,
        "tool-work-decision",
        TOOL_WORK,
        tool_work_content,
        ToolWorkDecision.objects.select_related("board", "calibration__tool"),
    )
    named = Board.tools.through
    rebuilding.register_entries([TOOLS_NAMED, KEPT], named._meta.db_table, _tools)
    rebuilding.register_table(KeptTable(named, "board", "board_id", acts=(TOOLS_NAMED, KEPT)))
    rebuilding.register_entries(
        [ANSWERED], ReadingRequest._meta.db_table, by_number(requests, answer_content)
    )
    register_rows(
        DestructiveCheck,
        "destructive-check",
        CHECKED,
        check_content,
        DestructiveCheck.objects.select_related("board"),
    )
