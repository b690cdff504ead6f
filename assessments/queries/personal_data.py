"""What is kept about somebody's boards: results once all is signed, photographs as a list."""

from collections.abc import Iterator

from django.db.models import F
from django.utils.translation import gettext_lazy as _

from assessments.models import (
    Board,
    Judgement,
    Paper,
    PaperAnswer,
    PaperResult,
    Photo,
    ToolWorkDecision,
)
from people.models import Person
from people.ports import DataTable

BOARD = _("serial number of the board")
PAPER = _("number of the paper")


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
    yield from _written_tests(person)


def _written_tests(person: Person) -> Iterator[DataTable]:
    """Papers, what they came to, and each answer as it was given; not what would be right."""
    yield DataTable(
        "written_tests",
        _("Written tests that were handed out to them"),
        {
            "paper": ("number", PAPER),
            "test": ("test__title", _("test")),
            "revision": ("test__revision", _("revision of the test")),
            "attempt": ("attempt", _("try")),
            "form": ("form", _("form")),
            "not_before": ("not_before", _("day before which it was not to be taken")),
            "begun_at": ("start__recorded_at", _("instant it was begun, UTC")),
            "ended_on": ("end__ended_on", _("day it ended")),
            "withdrawn_because": ("withdrawal__reason", _("why it was withdrawn")),
        },
        Paper.objects.filter(person=person).order_by("pk"),
        is_result=True,
    )
    yield DataTable(
        "written_test_results",
        _("What their written tests came to; of several for one paper the last counts"),
        {
            "paper": ("paper__number", PAPER),
            "right": ("right", _("questions answered rightly")),
            "of": ("of", _("questions asked")),
            "passed": ("passed", _("whether it was passed")),
            "late_count": ("late_count", _("whether late answers count")),
            "reason": ("reason", _("why it was marked again")),
            "recorded_at": ("recorded_at", _("instant at which it was recorded, UTC")),
        },
        PaperResult.objects.filter(paper__person=person).order_by("pk"),
        is_result=True,
    )
    yield DataTable(
        "written_test_answers",
        _("Their answers in written tests, as they were given"),
        {
            "paper": ("paper_question__paper__number", PAPER),
            "question": ("paper_question__order", _("question, by its place on the paper")),
            "text": ("paper_question__question__text", _("what was asked")),
            "given": ("given", _("what was given; places are counted from 0")),
            "late": ("late", _("whether it came after the time was over")),
            "recorded_at": ("recorded_at", _("instant at which it was recorded, UTC")),
        },
        PaperAnswer.objects.filter(paper_question__paper__person=person).order_by("pk"),
        is_result=True,
    )
