"""What the papers of a written test say of its forms and questions.

First papers of people alone: whoever takes a test again has learnt from it, and would count twice.
"""

from collections import defaultdict
from dataclasses import dataclass

from assessments.domain import item_analysis
from assessments.domain.answers import Kind, least_right
from assessments.domain.item_analysis import LEAST_PAPERS, Choice, FormAnalysis
from assessments.models import Paper, PaperResult, Question, WrittenTest

from . import written_tests as queries


@dataclass(frozen=True, slots=True)
class QuestionFigures:
    """What is known of one question.

    Attributes
    ----------
    answers : int
        Papers that asked it.
    difficulty : float or None
        The share right; None below `LEAST_PAPERS` answers.
    discrimination : float or None
        Corrected point-biserial, on fixed forms alone.
    choices : tuple of Choice
        Of ``one`` and ``several`` on fixed forms, as they are kept.
    """

    question: Question
    answers: int
    difficulty: float | None
    discrimination: float | None = None
    choices: tuple[Choice, ...] = ()


@dataclass(frozen=True, slots=True)
class FormFigures:
    """What is known of a fixed form, or of a drawn test whose papers differ (``form`` is empty)."""

    form: str
    papers: int
    passed: int
    least: int
    analysis: FormAnalysis | None
    questions: tuple[QuestionFigures, ...]


def figures_of(test: WrittenTest) -> list[FormFigures]:
    """Form by form; of a drawn test one, with the share right of each question alone."""
    papers = (
        Paper.objects.standing()
        .filter(test=test, attempt=1, results__isnull=False)
        .distinct()
        .prefetch_related("results", "questions")
        .order_by("pk")
    )
    by_form: dict[str, list[tuple[Paper, PaperResult]]] = defaultdict(list)
    for paper in papers:
        result = queries.result_of(paper)
        if result is not None:
            by_form[paper.form].append((paper, result))
    questions = {question.code: question for question in test.questions.all()}
    if test.forms == WrittenTest.Forms.DRAWN:
        return [_drawn(by_form[""], questions)]
    return [
        _fixed(test, form, by_form[form], questions)
        for form in queries.form_letters(questions.values())
    ]


def _drawn(taken: list[tuple[Paper, PaperResult]], questions: dict[str, Question]) -> FormFigures:
    right: dict[str, list[bool]] = {code: [] for code in questions}
    for _paper, result in taken:
        for line in result.marked:
            right[line["code"]].append(line["right"])
    lines = [
        QuestionFigures(
            question,
            len(right[code]),
            sum(right[code]) / len(right[code]) if len(right[code]) >= LEAST_PAPERS else None,
        )
        for code, question in questions.items()
    ]
    passed = sum(result.passed for _paper, result in taken)
    return FormFigures("", len(taken), passed, 0, None, tuple(lines))


def _fixed(
    test: WrittenTest,
    form: str,
    taken: list[tuple[Paper, PaperResult]],
    questions: dict[str, Question],
) -> FormFigures:
    on_form = [question for question in questions.values() if form in question.on_forms]
    least = least_right(len(on_form), test.pass_percent)
    marks = [{line["code"]: line for line in result.marked} for _paper, result in taken]
    table = [[int(lines[one.code]["right"]) for one in on_form] for lines in marks]
    analysis = item_analysis.analyse_form(table, least) if table else None
    figures = []
    for place, question in enumerate(on_form):
        if analysis is None:
            figures.append(QuestionFigures(question, len(table), None))
            continue
        choices: tuple[Choice, ...] = ()
        if question.kind in (Kind.ONE, Kind.SEVERAL):
            ticked = [
                _ticked(paper, lines[question.code])
                for (paper, _result), lines in zip(taken, marks, strict=True)
            ]
            rest = [sum(row) - row[place] for row in table]
            choices = tuple(item_analysis.choices_taken(ticked, rest, len(question.choices)))
        figures.append(
            QuestionFigures(
                question,
                len(table),
                analysis.difficulty[place],
                analysis.discrimination[place],
                choices,
            )
        )
    passed = sum(result.passed for _paper, result in taken)
    return FormFigures(form, len(table), passed, least, analysis, tuple(figures))


def _ticked(paper: Paper, line: dict) -> frozenset[int]:
    """The choices that were ticked, as the question keeps them."""
    shown = next(each.shown for each in paper.questions.all() if each.order == line["order"])
    places = [int(text) for text in line["given"] if text.isdecimal() and len(text) < 3]
    return frozenset(shown[place] for place in places if place < len(shown))
