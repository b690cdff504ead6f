"""What is kept about somebody's boards: results once all is signed, photographs as a list."""

from collections.abc import Iterator

from django.db.models import F
from django.utils.translation import gettext_lazy as _

from assessments.models import Board, Judgement, Photo, ToolWorkDecision
from people.models import Person
from people.ports import DataTable

BOARD = _("serial number of the board")


def personal_data(person: Person) -> Iterator[DataTable]:
    boards = Board.objects.filter(person=person).order_by("pk")
    yield DataTable(
        "boards",
        _("Boards they made"),
        {
            "board": ("number", BOARD),
            "exercise": ("exercise__title", _("exercise")),
            "purpose": ("purpose", _("what it was made for")),
            "handed_out_on": ("handed_out_on", _("day it was handed out")),
            "handed_in_at": ("handed_in_at", _("instant it was handed in, UTC")),
            "cancelled_at": ("cancelled_at", _("instant it was cancelled, UTC")),
        },
        boards,
        is_result=True,
    )
    yield DataTable(
        "results",
        _("Results of boards of which every stage is signed"),
        {
            "board": ("number", BOARD),
            "passed": ("outcome__passed", _("whether it passed")),
            "score": ("outcome__score", _("score, not rounded")),
            "joints_judged": ("outcome__joints_judged", _("joints judged")),
            "joints_rejected": ("outcome__joints_rejected", _("joints rejected")),
        },
        boards.filter(outcome__complete=True),
        is_result=True,
    )
    yield DataTable(
        "judgements",
        _("Signed judgements of those boards"),
        {
            "board": ("grading__board__number", BOARD),
            "position": ("joint__position__name", _("position of the joint; empty: the board")),
            "criterion": ("criterion__code", _("criterion")),
            "judgement": ("outcome", _("judgement")),
            "how": ("how", _("how it was judged")),
            "value": ("value", _("value measured")),
            "note": ("note", _("note")),
        },
        Judgement.objects.filter(
            grading__board__person=person,
            grading__board__outcome__complete=True,
            grading__signings__stage=F("stage"),
        ).order_by("pk"),
        is_result=True,
    )
    yield DataTable(
        "board_tools",
        _("Tools that those boards were made with"),
        {
            "board": ("board__number", BOARD),
            "tool": ("tool__code", _("code of the tool")),
        },
        Board.tools.through.objects.filter(board__person=person).order_by("pk"),
        is_result=True,
    )
    yield DataTable(
        "board_tool_decisions",
        _("What was decided of those boards after a tool was found out of its limits"),
        {
            "board": ("board__number", BOARD),
            "tool": ("calibration__tool__code", _("code of the tool")),
            "calibrated_on": ("calibration__calibrated_on", _("day of the calibration")),
            "decision": ("decision", _("what was decided")),
            "reason": ("reason", _("why")),
            "recorded_at": ("recorded_at", _("instant at which it was recorded, UTC")),
        },
        ToolWorkDecision.objects.filter(board__person=person).order_by("pk"),
        is_result=True,
    )
    yield DataTable(
        "photographs",
        _("Photographs of their boards; ask for the pictures themselves by these numbers"),
        {
            "board": ("board__number", BOARD),
            "number": ("pk", _("number of the photograph")),
            "file": ("original_name", _("name of the file as it came")),
            "bytes": ("size_bytes", _("size in bytes")),
            "sha256": ("sha256", _("SHA-256 of the file")),
            "recorded_at": ("recorded_at", _("instant at which it was recorded, UTC")),
        },
        Photo.objects.filter(board__person=person).order_by("pk"),
        is_result=True,
    )
