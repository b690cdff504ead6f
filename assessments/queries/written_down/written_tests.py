"""What the trail says of written tests, and of what happened to each paper."""

from collections.abc import Sequence
from typing import Any

from django.db.models import Q

from assessments.models import (
    Paper,
    PaperAnswer,
    PaperEnd,
    PaperQuestion,
    PaperResult,
    PaperStart,
    PaperWithdrawal,
    Question,
    WrittenTest,
)
from assessments.queries import written_tests as queries
from records.queries import rebuilding
from records.queries.rebuilding import Content, KeptTable, Part, Written

from .rows import by_number, of_people, register_rows

TEST_PUBLISHED = "written test published"
TEST_RETIRED = "written test retired"
HANDED_OUT = "written test handed out"
STARTED = "written test begun"
ANSWERED_IN_TEST = "answered in a written test"
ENDED = "written test ended"
MARKED = "written test marked"
WITHDRAWN = "written test withdrawn"
ENTERS_ANSWERS = "answers of a written test entered from paper"
COUNTS_LATE = "late answers of a written test count"
CORRECTS_ANSWERS = "corrects answers of a written test entered from paper"


def written_test_content(test: WrittenTest) -> dict[str, Any]:
    """A test as it was published, with what is right of each question."""
    return {
        **queries.content_of(test),
        "seed": test.seed,
        "published_at": test.published_at,
        "published_by": test.published_by_id,
        "publishing_reason": test.publishing_reason,
    }


def paper_content(paper: Paper) -> dict[str, Any]:
    return {
        "number": paper.number,
        "test": paper.test.code,
        "revision": paper.test.revision,
        "person": paper.person.employee_number,
        "person_id": paper.person_id,
        "site": paper.site.prefix,
        "attempt": paper.attempt,
        "form": paper.form,
        "seed": paper.seed,
        "medium": str(paper.medium),
        "not_before": paper.not_before,
        "handed_out_by": paper.handed_out_by_id,
        "recorded_at": paper.recorded_at,
        "questions": [
            {"order": each.order, "question": each.question.code, "shown": each.shown}
            for each in sorted(paper.questions.all(), key=lambda one: one.order)
        ],
    }


def start_content(start: PaperStart) -> dict[str, Any]:
    return {"paper": start.paper_id, "ends_at": start.ends_at, "recorded_at": start.recorded_at}


def answer_in_test_content(answer: PaperAnswer) -> dict[str, Any]:
    return {
        "paper": answer.paper_question.paper_id,
        "order": answer.paper_question.order,
        "given": answer.given,
        "late": answer.late,
        "key": answer.key,
        "entered_by": answer.entered_by_id,
        "recorded_at": answer.recorded_at,
    }


def end_content(end: PaperEnd) -> dict[str, Any]:
    return {
        "paper": end.paper_id,
        "how": str(end.how),
        "ended_on": end.ended_on,
        "recorded_at": end.recorded_at,
    }


def result_content(result: PaperResult) -> dict[str, Any]:
    return {
        "paper": result.paper_id,
        "round": result.round,
        "right": result.right,
        "of": result.of,
        "missed": result.missed,
        "passed": result.passed,
        "marked": result.marked,
        "late_count": result.late_count,
        "reason": result.reason,
        "recorded_at": result.recorded_at,
    }


def paper_withdrawal_content(withdrawal: PaperWithdrawal) -> dict[str, Any]:
    return {
        "paper": withdrawal.paper_id,
        "reason": withdrawal.reason,
        "withdrawn_by": withdrawal.withdrawn_by_id,
        "recorded_at": withdrawal.recorded_at,
    }


def _tests(written: Sequence[Written]) -> dict[int, Content]:
    """Tests as they were published; one that retired at another instant than told says so."""
    rows = rebuilding.rows_by_number(
        WrittenTest.objects.select_related("course_revision__course").prefetch_related("questions"),
        written,
    )
    retired = rebuilding.instants(WrittenTest, written, TEST_RETIRED)
    return {
        number: written_test_content(row) | rebuilding.unlike("retired_at", row, retired)
        for number, row in rows.items()
    }


def _signed_results(written: Sequence[Written]) -> dict[int, Content]:
    rows = rebuilding.rows_signed(PaperResult.objects.all(), written)
    return {number: result_content(row) for number, row in rows.items()}


def register() -> None:
    """Have tests, papers and all that was answered compared with the trail."""
    rebuilding.register_entries(
        [TEST_PUBLISHED],
        WrittenTest._meta.db_table,
        _tests,
        questions=Part(Question._meta.db_table, ("code",)),
    )
    rebuilding.register_table(
        KeptTable(
            WrittenTest,
            "written-test",
            acts=(TEST_PUBLISHED,),
            where=Q(published_at__isnull=False),
            content_of=written_test_content,
        )
    )
    papers = Paper.objects.select_related("test", "person", "site").prefetch_related(
        "questions__question"
    )
    rebuilding.register_entries(
        [HANDED_OUT],
        Paper._meta.db_table,
        of_people(papers, paper_content),
        questions=Part(PaperQuestion._meta.db_table, ("order",)),
    )
    rebuilding.register_table(
        KeptTable(Paper, "test-paper", acts=(HANDED_OUT,), content_of=paper_content)
    )
    register_rows(PaperStart, "test-paper-start", STARTED, start_content)
    register_rows(
        PaperAnswer,
        "test-paper-answer",
        ANSWERED_IN_TEST,
        answer_in_test_content,
        PaperAnswer.objects.select_related("paper_question"),
    )
    register_rows(PaperEnd, "test-paper-end", ENDED, end_content)
    register_rows(PaperWithdrawal, "test-paper-withdrawal", WITHDRAWN, paper_withdrawal_content)
    results = PaperResult._meta.db_table
    rebuilding.register_entries(
        [MARKED], results, by_number(PaperResult.objects.all(), result_content)
    )
    rebuilding.register_signatures(
        [ENTERS_ANSWERS, COUNTS_LATE, CORRECTS_ANSWERS], results, _signed_results
    )
    rebuilding.register_table(
        KeptTable(PaperResult, "test-paper-result", acts=(MARKED,), content_of=result_content)
    )
