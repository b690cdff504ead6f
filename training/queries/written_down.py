"""What the trail and signatures say of this app's rows: made here, and rebuilt here."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

from django.db.models import CharField, Exists, OuterRef, Q
from django.db.models.functions import Cast

from people.queries.employee_numbers import rebuilt_with_person
from records.models import TrailEntry
from records.queries import rebuilding
from records.queries.rebuilding import Content, KeptTable, Part, Written
from training.models import (
    Calibration,
    CalibrationWithdrawal,
    CourseRevision,
    Exercise,
    ExerciseStep,
    Lesson,
    Position,
    PracticeRecord,
    PracticeWithdrawal,
    ToolBackInService,
    ToolOutOfService,
    VisionTest,
    VisionTestWithdrawal,
    WorkReport,
    WorkReportDecision,
)
from training.queries import courses, exercises

WITHDRAWS_TEST = "withdraws a vision test entered in error"
WITHDRAWS_PRACTICE = "withdraws work entered in error"
WITHDRAWS_CALIBRATION = "withdraws a calibration entered in error"
CALIBRATION_WITHDRAWN = "calibration withdrawn"
TEST_ACTS = ("vision test recorded", "vision test imported")
TEST_WITHDRAWAL_ACTS = ("vision test withdrawn", "vision test withdrawal imported")
PRACTICE_ACTS = ("practice recorded", "practice imported")
PRACTICE_WITHDRAWAL_ACTS = ("practice withdrawn", "practice withdrawal imported")
WORK_REPORTED = "work reported"
WORK_CONFIRMED, WORK_REFUSED = "work report confirmed", "work report refused"
EXERCISE_PUBLISHED = "exercise published"
EXERCISE_ADDED = "exercise added"
"""What wrote an exercise down while it could be used as soon as it was there."""
EXERCISE_RETIRED = "exercise retired"
COURSE_PUBLISHED = "course published"
COURSE_RETIRED = "course retired"
CALIBRATED = "tool calibrated"
CALIBRATED_BEFORE = "calibration recorded"
"""What wrote a calibration down while the entry was about its tool, and named no row."""
OUT_OF_SERVICE = "tool out of service"
BACK_IN_SERVICE = "tool back in service"


def vision_test_content(test: VisionTest) -> dict[str, Any]:
    return {
        "test": test.test_id,
        "person": test.person.employee_number,
        "person_id": test.person_id,
        "tested_on": test.tested_on,
        "passed": test.passed,
        "method": test.method,
        "with_lenses": test.with_lenses,
        "examiner": test.examiner,
        "recorded_by": test.recorded_by_id,
        "recorded_at": test.recorded_at,
    }


def test_withdrawal_content(withdrawal: VisionTestWithdrawal) -> dict[str, Any]:
    test = withdrawal.vision_test
    return {
        "test": test.test_id,
        "person": test.person.employee_number,
        "tested_on": test.tested_on,
        "reason": withdrawal.reason,
        "withdrawn_by": withdrawal.withdrawn_by_id,
        "withdrawn_at": withdrawal.withdrawn_at,
    }


def test_to_withdraw(test: VisionTest) -> dict[str, Any]:
    """What stands before whoever withdraws a vision test; the reason comes with the signature."""
    return {"name": test.person.full_name, **vision_test_content(test)}


def practice_to_withdraw(practice: PracticeRecord) -> dict[str, Any]:
    """The same of work done within a scope."""
    return {"name": practice.person.full_name, **practice_content(practice)}


def practice_content(practice: PracticeRecord) -> dict[str, Any]:
    return {
        "person": practice.person.employee_number,
        "person_id": practice.person_id,
        "scope": practice.scope_code,
        "performed_on": practice.performed_on,
        "reference": practice.reference,
        "confirmed_by": practice.confirmed_by_id,
        "recorded_at": practice.recorded_at,
    }


def practice_withdrawal_content(withdrawal: PracticeWithdrawal) -> dict[str, Any]:
    practice = withdrawal.practice
    return {
        "person": practice.person.employee_number,
        "scope": practice.scope_code,
        "performed_on": practice.performed_on,
        "reason": withdrawal.reason,
        "withdrawn_by": withdrawal.withdrawn_by_id,
        "withdrawn_at": withdrawal.withdrawn_at,
    }


def calibration_content(calibration: Calibration) -> dict[str, Any]:
    document = calibration.document
    return {
        **_calibration_content_before(calibration),
        "passed_as_found": calibration.passed_as_found,
        "readings": calibration.readings,
        "document": document and {"name": document.original_name, "sha256": document.sha256},
        "recorded_by": calibration.recorded_by_id,
        "recorded_at": calibration.recorded_at,
    }


def _calibration_content_before(calibration: Calibration) -> dict[str, Any]:
    return {
        "tool": calibration.tool.code,
        "calibrated_on": calibration.calibrated_on,
        "valid_through": calibration.valid_through,
        "passed": calibration.passed,
        "reference": calibration.reference,
    }


def calibration_withdrawal_content(withdrawal: CalibrationWithdrawal) -> dict[str, Any]:
    calibration = withdrawal.calibration
    return {
        "tool": calibration.tool.code,
        "calibrated_on": calibration.calibrated_on,
        "reason": withdrawal.reason,
        "withdrawn_by": withdrawal.withdrawn_by_id,
        "withdrawn_at": withdrawal.withdrawn_at,
    }


def out_of_service_content(out: ToolOutOfService) -> dict[str, Any]:
    return {
        "tool": out.tool.code,
        "first_day": out.first_day,
        "reason": out.reason,
        "told": out.told_id,
        "entered_by": out.entered_by_id,
        "recorded_at": out.recorded_at,
    }


def back_in_service_content(back: ToolBackInService) -> dict[str, Any]:
    return {
        "tool": back.out.tool.code,
        "from_day": back.from_day,
        "note": back.note,
        "entered_by": back.entered_by_id,
        "recorded_at": back.recorded_at,
    }


def work_report_content(report: WorkReport) -> dict[str, Any]:
    return {
        "person": report.person.employee_number,
        "person_id": report.person_id,
        "scope": report.scope_code,
        "performed_on": report.performed_on,
        "reference": report.reference,
        "reported_by": report.reported_by_id,
        "recorded_at": report.recorded_at,
    }


def work_decision_content(decision: WorkReportDecision) -> dict[str, Any]:
    report = decision.report
    return {
        "person": report.person.employee_number,
        "scope": report.scope_code,
        "performed_on": report.performed_on,
        "confirmed": decision.confirmed,
        "reason": decision.reason,
        "practice": decision.practice_id,
        "decided_by": decision.decided_by_id,
        "recorded_at": decision.recorded_at,
    }


# Rebuilding


def _work_reports(written: Sequence[Written]) -> dict[int, Content]:
    rows = rebuilding.rows_by_number(WorkReport.objects.select_related("person"), written)
    return rebuilt_with_person(written, rows, work_report_content)


def _work_decisions(written: Sequence[Written]) -> dict[int, Content]:
    decisions = WorkReportDecision.objects.select_related("report__person")
    rows = rebuilding.rows_by_number(decisions, written, "report_id")
    return rebuilt_with_person(
        written, rows, work_decision_content, lambda row: row.report.person_id
    )


def _register_work_reports() -> None:
    decided = (WORK_CONFIRMED, WORK_REFUSED)
    rebuilding.register_entries([WORK_REPORTED], WorkReport._meta.db_table, _work_reports)
    rebuilding.register_entries(decided, WorkReportDecision._meta.db_table, _work_decisions)
    rebuilding.register_table(
        KeptTable(WorkReport, "work-report", acts=(WORK_REPORTED,), content_of=work_report_content)
    )
    rebuilding.register_table(
        KeptTable(
            WorkReportDecision,
            "work-report",
            "report_id",
            decided,
            content_of=work_decision_content,
        )
    )


def _tests(written: Sequence[Written]) -> dict[int, Content]:
    rows = rebuilding.rows_by_number(VisionTest.objects.select_related("person"), written)
    return rebuilt_with_person(written, rows, vision_test_content)


def _practice(written: Sequence[Written]) -> dict[int, Content]:
    rows = rebuilding.rows_by_number(PracticeRecord.objects.select_related("person"), written)
    return rebuilt_with_person(written, rows, practice_content)


def _test_withdrawals(written: Sequence[Written]) -> dict[int, Content]:
    return _of_test_withdrawals(
        written, rebuilding.rows_by_number(TEST_WITHDRAWALS, written, "vision_test_id")
    )


def _signed_test_withdrawals(written: Sequence[Written]) -> dict[int, Content]:
    return _of_test_withdrawals(written, rebuilding.rows_signed(TEST_WITHDRAWALS, written))


def _practice_withdrawals(written: Sequence[Written]) -> dict[int, Content]:
    return _of_practice_withdrawals(
        written, rebuilding.rows_by_number(PRACTICE_WITHDRAWALS, written, "practice_id")
    )


def _signed_practice_withdrawals(written: Sequence[Written]) -> dict[int, Content]:
    return _of_practice_withdrawals(written, rebuilding.rows_signed(PRACTICE_WITHDRAWALS, written))


TEST_WITHDRAWALS = VisionTestWithdrawal.objects.select_related("vision_test__person")
PRACTICE_WITHDRAWALS = PracticeWithdrawal.objects.select_related("practice__person")


def _of_test_withdrawals(
    written: Sequence[Written], rows: dict[int, VisionTestWithdrawal]
) -> dict[int, Content]:
    return rebuilt_with_person(
        written, rows, test_withdrawal_content, lambda row: row.vision_test.person_id
    )


def _of_practice_withdrawals(
    written: Sequence[Written], rows: dict[int, PracticeWithdrawal]
) -> dict[int, Content]:
    return rebuilt_with_person(
        written, rows, practice_withdrawal_content, lambda row: row.practice.person_id
    )


def _exercises(written: Sequence[Written]) -> dict[int, Content]:
    """Exercises as they were published; one that retired at another instant than told says so."""
    rows = rebuilding.rows_by_number(Exercise.objects.all(), written)
    retired = rebuilding.instants(Exercise, written, EXERCISE_RETIRED)
    return {
        number: exercises.content_of(row) | rebuilding.unlike("retired_at", row, retired)
        for number, row in rows.items()
    }


def _register_exercises() -> None:
    rebuilding.register_entries(
        [EXERCISE_PUBLISHED],
        Exercise._meta.db_table,
        _exercises,
        positions=Part(Position._meta.db_table, ("name",)),
        steps=Part(ExerciseStep._meta.db_table, ("stage", "text")),
    )
    rebuilding.register_table(
        KeptTable(
            Exercise,
            "exercise",
            acts=(EXERCISE_PUBLISHED, EXERCISE_ADDED),
            where=Q(published_at__isnull=False),
            content_of=exercises.content_of,
        )
    )


def _courses(written: Sequence[Written]) -> dict[int, Content]:
    """Revisions of courses as they were published; the title is the course's, as it is now."""
    rows = rebuilding.rows_by_number(CourseRevision.objects.select_related("course"), written)
    retired = rebuilding.instants(CourseRevision, written, COURSE_RETIRED)
    return {
        number: courses.content_of(row) | rebuilding.unlike("retired_at", row, retired)
        for number, row in rows.items()
    }


def _register_courses() -> None:
    # Revisions from before there were drafts stand in no entry of their own, so that the table is
    # not one of which every row has to.
    rebuilding.register_entries(
        [COURSE_PUBLISHED],
        CourseRevision._meta.db_table,
        _courses,
        lessons=Part(Lesson._meta.db_table, ("day", "title")),
    )


CALIBRATIONS = Calibration.objects.select_related("tool", "document")


def _calibrations(written: Sequence[Written]) -> dict[int, Content]:
    rows = rebuilding.rows_by_number(CALIBRATIONS, written)
    return {number: calibration_content(row) for number, row in rows.items()}


def _calibrations_before(written: Sequence[Written]) -> dict[int, Content]:
    """Of entries about tools: the row is told by the instant at which it was recorded."""
    rows = {
        (str(row.tool_id), row.recorded_at): row
        for row in CALIBRATIONS.filter(recorded_at__in={entry.at for entry in written})
    }
    return {
        entry.number: _calibration_content_before(rows[entry.about_id, entry.at])
        for entry in written
        if (entry.about_id, entry.at) in rows
    }


CALIBRATION_WITHDRAWALS = CalibrationWithdrawal.objects.select_related("calibration__tool")


def _calibration_withdrawals(written: Sequence[Written]) -> dict[int, Content]:
    rows = rebuilding.rows_by_number(CALIBRATION_WITHDRAWALS, written, "calibration_id")
    return {number: calibration_withdrawal_content(row) for number, row in rows.items()}


def _signed_calibration_withdrawals(written: Sequence[Written]) -> dict[int, Content]:
    rows = rebuilding.rows_signed(CALIBRATION_WITHDRAWALS, written)
    return {number: calibration_withdrawal_content(row) for number, row in rows.items()}


@dataclass(frozen=True)
class CalibrationTable(KeptTable):
    """Calibrations, each of which an entry speaks of; early ones by their tool and instant."""

    def rows_without_record(self) -> Iterator[Any]:
        before = TrailEntry.objects.filter(
            about_type="tool",
            about_id=Cast(OuterRef("tool_id"), CharField()),
            act=CALIBRATED_BEFORE,
            recorded_at=OuterRef("recorded_at"),
        )
        by_tool = Calibration.objects.filter(Exists(before)).values_list("pk", flat=True)
        early = set(by_tool)
        return (key for key in super().rows_without_record() if key not in early)


def _register_tools() -> None:
    rebuilding.register_entries([CALIBRATED], Calibration._meta.db_table, _calibrations)
    rebuilding.register_entries(
        [CALIBRATED_BEFORE], Calibration._meta.db_table, _calibrations_before
    )
    withdrawals = CalibrationWithdrawal._meta.db_table
    rebuilding.register_entries([CALIBRATION_WITHDRAWN], withdrawals, _calibration_withdrawals)
    rebuilding.register_signatures(
        [WITHDRAWS_CALIBRATION], withdrawals, _signed_calibration_withdrawals
    )
    rebuilding.register_table(
        KeptTable(
            CalibrationWithdrawal,
            "calibration",
            "calibration_id",
            (CALIBRATION_WITHDRAWN,),
            content_of=calibration_withdrawal_content,
        )
    )
    rebuilding.register_table(
        CalibrationTable(
            Calibration, "calibration", acts=(CALIBRATED,), content_of=calibration_content
        )
    )
    for model, act, key, rows, content_of in (
        (
            ToolOutOfService,
            OUT_OF_SERVICE,
            "pk",
            ToolOutOfService.objects.select_related("tool"),
            out_of_service_content,
        ),
        (
            ToolBackInService,
            BACK_IN_SERVICE,
            "out_id",
            ToolBackInService.objects.select_related("out__tool"),
            back_in_service_content,
        ),
    ):
        rebuilding.register_entries(
            [act], model._meta.db_table, partial(_by_key, rows, key, content_of)
        )
        rebuilding.register_table(
            KeptTable(model, "tool-out-of-service", key, acts=(act,), content_of=content_of)
        )


def _by_key(
    rows: Any, key: str, content_of: Callable[[Any], Content], written: Sequence[Written]
) -> dict[int, Content]:
    found = rebuilding.rows_by_number(rows, written, key)
    return {number: content_of(row) for number, row in found.items()}


def register() -> None:
    """Have the facts of this app compared with what was written down of them."""
    _register_exercises()
    _register_courses()
    _register_tools()
    _register_work_reports()
    tests, practice = VisionTest._meta.db_table, PracticeRecord._meta.db_table
    test_withdrawals = VisionTestWithdrawal._meta.db_table
    practice_withdrawals = PracticeWithdrawal._meta.db_table
    rebuilding.register_entries(TEST_ACTS, tests, _tests)
    rebuilding.register_entries(PRACTICE_ACTS, practice, _practice)
    rebuilding.register_entries(TEST_WITHDRAWAL_ACTS, test_withdrawals, _test_withdrawals)
    rebuilding.register_entries(
        PRACTICE_WITHDRAWAL_ACTS, practice_withdrawals, _practice_withdrawals
    )
    rebuilding.register_signatures([WITHDRAWS_TEST], test_withdrawals, _signed_test_withdrawals)
    rebuilding.register_signatures(
        [WITHDRAWS_PRACTICE], practice_withdrawals, _signed_practice_withdrawals
    )
    for kept in (
        KeptTable(VisionTest, "vision-test", acts=TEST_ACTS, content_of=vision_test_content),
        KeptTable(PracticeRecord, "practice", acts=PRACTICE_ACTS, content_of=practice_content),
        KeptTable(
            VisionTestWithdrawal,
            "vision-test",
            "vision_test_id",
            TEST_WITHDRAWAL_ACTS,
            content_of=test_withdrawal_content,
        ),
        KeptTable(
            PracticeWithdrawal,
            "practice",
            "practice_id",
            PRACTICE_WITHDRAWAL_ACTS,
            content_of=practice_withdrawal_content,
        ),
    ):
        rebuilding.register_table(kept)
