"""Written tests read: what a revision says, how papers stand, and who has passed what."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.db.models import Max, Q
from django.utils.translation import gettext as _

from assessments.domain.answers import SQUARES, Asked, Kind, number_in
from assessments.domain.written_forms import Candidate, TooFewQuestions, draw
from assessments.models import (
    Paper,
    PaperAnswer,
    PaperQuestion,
    PaperResult,
    Question,
    WrittenTest,
)
from people.models import Person
from records.domain.shown import digest_of

RULES = (
    "title",
    "minutes",
    "open_book",
    "may_use",
    "pass_percent",
    "pass_basis",
    "tries",
    "wait_days",
    "another_form",
    "forms",
    "counts",
)
QUESTION = (
    "topic",
    "kind",
    "text",
    "choices",
    "key",
    "unit",
    "drawing",
    "photo_id",
    "picture_says",
    "must_be_right",
    "on_forms",
    "lesson_id",
    "read_again",
    "source",
)
FORM_LETTERS = "ABCD"


def _plain(value: Any) -> Any:
    return str(value) if isinstance(value, str) else value


def rules_of(test: WrittenTest) -> dict[str, Any]:
    return {name: _plain(getattr(test, name)) for name in RULES}


def question_content(question: Question) -> dict[str, Any]:
    """All that a question says, with what is right."""
    said = {name: _plain(getattr(question, name)) for name in QUESTION}
    return {"code": question.code, "order": question.order, **said}


def content_of(test: WrittenTest) -> dict[str, Any]:
    """Everything that a revision says; what happened to it is no part of it."""
    return {
        "code": test.code,
        "revision": test.revision,
        "course": test.course_revision.course.code,
        "course_revision": test.course_revision.revision,
        **rules_of(test),
        "source": test.source,
        "questions": [
            question_content(question)
            for question in sorted(test.questions.all(), key=lambda one: (one.order, one.pk))
        ],
    }


def draft_digest(test: WrittenTest) -> str:
    return digest_of(content_of(test))


def rules_digest(test: WrittenTest) -> str:
    """What the page of the rules was filled with."""
    return digest_of(rules_of(test) | {"source": test.source})


def question_digest(question: Question) -> str:
    return digest_of(question_content(question))


def asked(question: Question) -> Asked:
    """A question as it is marked."""
    return Asked(Kind(question.kind), len(question.choices), question.key, question.unit)


def candidates(questions: Iterable[Question]) -> list[Candidate]:
    return [Candidate(one.code, one.topic, one.must_be_right) for one in questions]


def counts_of(test: WrittenTest) -> dict[str, int]:
    return {line["topic"]: line["count"] for line in test.counts if line["count"]}


def form_letters(questions: Iterable[Question]) -> list[str]:
    """The fixed forms on which questions stand."""
    return sorted({letter for question in questions for letter in question.on_forms})


def question_faults(question: Question) -> list[str]:
    """What is missing of a question before it can be asked, in sentences."""
    kind, key, faults = Kind(question.kind), question.key, []
    if kind in (Kind.ONE, Kind.SEVERAL, Kind.ORDER) and len(question.choices) < 2:
        faults.append(_("Give two choices or more."))
    if kind is Kind.NUMBER:
        figures = [number_in(str(key.get(name, ""))) for name in ("value", "tolerance")]
        if None in figures or figures[1] < 0:  # type: ignore[operator]
            faults.append(_("Give the right number and how far an answer may be off."))
    elif kind is Kind.PLACE:
        if not key.get("right") or not set(key["right"]) <= set(SQUARES):
            faults.append(_("Say which squares of the picture are right."))
        if not question.has_picture:
            faults.append(_("Choose the picture on which the place is marked."))
    elif kind is not Kind.ORDER:
        right = key.get("right") or []
        if not right or any(not 0 <= number < len(question.choices) for number in right):
            faults.append(_("Say which choice is right."))
        elif kind is Kind.ONE and len(right) > 1:
            faults.append(_("One choice alone is right in a question of this kind."))
    if question.has_picture and not question.picture_says:
        faults.append(_("Say in words what the picture shows, for whoever cannot see it."))
    if question.lesson_id is None and not question.read_again:
        faults.append(_("Say what is to be read again: a lesson, or where else it is taught."))
    return faults


def faults_of(test: WrittenTest) -> list[str]:
    """What is missing of a draft before papers can be handed out, in sentences."""
    questions = list(test.questions.all())
    faults = [
        _("Question %(code)s: %(fault)s") % {"code": question.code, "fault": fault}
        for question in questions
        for fault in question_faults(question)
    ]
    if not test.pass_basis.strip():
        faults.append(_("Say what the pass mark rests on: a rule, or who set it and how."))
    if test.course_revision.retired_at is not None:
        faults.append(
            _("%(course)s is out of use. Draft the test for the revision that is in use.")
            % {"course": test.course_revision}
        )
    if not questions:
        faults.append(_("Give at least one question."))
    elif test.forms == WrittenTest.Forms.FIXED:
        faults += _fixed_faults(test, questions)
    else:
        faults += _drawn_faults(test, questions)
    return faults


def _fixed_faults(test: WrittenTest, questions: list[Question]) -> list[str]:
    letters = form_letters(questions)
    nowhere = [one.code for one in questions if not one.on_forms]
    faults = []
    if nowhere:
        faults.append(
            _("These questions stand on no form: %(codes)s.") % {"codes": ", ".join(nowhere)}
        )
    sizes = {letter: sum(letter in one.on_forms for one in questions) for letter in letters}
    if len(set(sizes.values())) > 1:
        said = ", ".join(f"{letter}: {size}" for letter, size in sizes.items())
        faults.append(
            _("Every form asks as many questions as the others. Now: %(sizes)s.") % {"sizes": said}
        )
    if test.another_form and test.tries > 1 and len(letters) < 2:
        faults.append(_("There is one form, and another is asked for at each try. Make a second."))
    return faults


def _drawn_faults(test: WrittenTest, questions: list[Question]) -> list[str]:
    counts = counts_of(test)
    if not counts:
        return [_("Say how many questions of each topic a paper asks.")]
    uncounted = sorted({one.topic for one in questions if one.must_be_right} - set(counts))
    faults = [
        _("“%(topic)s” has a question that must be right, and no paper asks of it.")
        % {"topic": topic}
        for topic in uncounted
    ]
    try:
        draw(candidates(questions), counts, test.seed)
    except TooFewQuestions as error:
        faults.append(
            _(
                "“%(topic)s” has too few questions for a paper, or more that must be right than a "
                "paper asks."
            )
            % {"topic": error.topic}
        )
    return faults


def earlier_of(test: WrittenTest) -> WrittenTest | None:
    """The published revision before this one."""
    earlier = WrittenTest.objects.published().filter(code=test.code, revision__lt=test.revision)
    return earlier.order_by("-revision").first()


# Papers


def papers_of(person_id: int, code: str) -> list[Paper]:
    """All papers of a test that somebody had, whatever its revision, oldest first."""
    return list(
        Paper.objects.standing()
        .filter(person=person_id, test__code=code)
        .select_related("end", "start")
        .prefetch_related("results")
        .order_by("attempt", "pk")
    )


def result_of(paper: Paper) -> PaperResult | None:
    """The result that counts: the latest."""
    results = list(paper.results.all())
    return max(results, key=lambda one: one.round) if results else None


@dataclass(frozen=True, slots=True)
class TryRule:
    """Whether somebody may have a test once more, and from which day.

    Attributes
    ----------
    used : int
        Tries since the last pass, or since ever.
    open : Paper or None
        A paper that is not ended; while there is one, no other is handed out.
    not_before : date or None
    """

    used: int
    open: Paper | None
    not_before: date | None


def try_rule(papers: list[Paper], wait_days: int) -> TryRule:
    """Apply the retry rule to somebody's papers of one test, oldest first."""
    used, not_before, still_open = 0, None, None
    for paper in papers:
        result = result_of(paper)
        if result is None:
            still_open = paper
        elif result.passed:
            used, not_before = 0, None
        else:
            used += 1
            not_before = paper.end.ended_on + timedelta(days=wait_days)
    return TryRule(used, still_open, not_before)


def counted_answers(paper: Paper, *, late_count: bool) -> dict[int, PaperAnswer]:
    """The answer that counts to each question of a paper: the latest that came in time."""
    answers = PaperAnswer.objects.filter(paper_question__paper=paper).order_by("recorded_at", "pk")
    if not late_count:
        answers = answers.filter(late=False)
    return {answer.paper_question_id: answer for answer in answers}


def has_late_answers(paper: Paper) -> bool:
    return PaperAnswer.objects.filter(paper_question__paper=paper, late=True).exists()


def questions_of(paper: Paper) -> list[PaperQuestion]:
    rows = PaperQuestion.objects.filter(paper=paper).select_related(
        "question__lesson", "question__photo"
    )
    return list(rows.order_by("order"))


@dataclass(frozen=True, slots=True)
class PassedTest:
    """A written test that somebody had passed by a day."""

    code: str
    revision: int
    title: str
    course: str
    paper: str
    passed_on: date
    right: int
    of: int


def written_tests_passed(person: Person, on: date) -> list[PassedTest]:
    """The tests that a person had passed by this day, the latest pass of each, by code.

    For whoever asks what somebody has shown: a scheme that asks for a test finds it by its code.
    """
    passes = passes_of([person.pk]).get(person.pk, [])
    latest = {one.code: one for one in passes if one.passed_on <= on}
    return [latest[code] for code in sorted(latest)]


def passes_of(person_ids: Collection[int]) -> Mapping[int, list[PassedTest]]:
    """Every pass of some people that counts, oldest first, by the person's key."""
    latest = PaperResult.objects.order_by().values("paper").annotate(last=Max("round"))
    lasts = {row["paper"]: row["last"] for row in latest.filter(paper__person__in=person_ids)}
    rows = (
        PaperResult.objects.filter(
            Q(paper__withdrawal__isnull=True), paper__person__in=person_ids, passed=True
        )
        .select_related("paper__test__course_revision__course", "paper__end")
        .order_by("paper__end__ended_on", "paper")
    )
    passed: dict[int, list[PassedTest]] = defaultdict(list)
    for row in rows:
        if row.round != lasts[row.paper_id]:
            continue
        test = row.paper.test
        passed[row.paper.person_id].append(
            PassedTest(
                code=test.code,
                revision=test.revision,
                title=test.title,
                course=test.course_revision.course.code,
                paper=row.paper.number,
                passed_on=row.paper.end.ended_on,
                right=row.right,
                of=row.of,
            )
        )
    return passed
