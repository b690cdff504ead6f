"""What the answers of many say of a written test, in words and figures that can be read.

The words for a figure are rules of thumb of test construction, from memory and not of a standard;
none is said below thirty papers.
"""

from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from assessments.domain.item_analysis import LEAST_PAPERS, Choice, FormAnalysis
from assessments.models import Question
from assessments.queries.written_figures import FormFigures, QuestionFigures
from people.presenters.quantities import format_number

EASY, HARD = 0.9, 0.3
GOOD, FAIR = 0.3, 0.2


def _figure(value: float | None, digits: int = 2) -> str:
    return "" if value is None else format_number(round(value, digits))


def _percent(share: float) -> str:
    return f"{round(100 * share)} %"


@dataclass(frozen=True, slots=True)
class ChoiceShown:
    text: str
    is_right: bool
    chosen: int
    mean_rest: str
    note: str


@dataclass(frozen=True, slots=True)
class QuestionShown:
    question: Question
    answers: int
    difficulty: str
    discrimination: str
    says: str
    choices: tuple[ChoiceShown, ...]


@dataclass(frozen=True, slots=True)
class FormShown:
    form: str
    papers: int
    passed: int
    enough: bool
    silent: str
    sentences: tuple[str, ...]
    questions: tuple[QuestionShown, ...]
    has_discrimination: bool


def form_shown(figures: FormFigures) -> FormShown:
    analysis = figures.analysis
    silent = ""
    if figures.form and analysis is None:
        silent = ngettext(
            "%(n)d person has taken this form for the first time. Nothing is said of it below "
            "%(least)d.",
            "%(n)d people have taken this form for the first time. Nothing is said of it below "
            "%(least)d.",
            figures.papers,
        ) % {"n": figures.papers, "least": LEAST_PAPERS}
    return FormShown(
        form=figures.form,
        papers=figures.papers,
        passed=figures.passed,
        enough=analysis is not None,
        silent=silent,
        sentences=_of_form(analysis, figures.least) if analysis else (),
        questions=tuple(_question(one) for one in figures.questions),
        has_discrimination=analysis is not None,
    )


def _of_form(analysis: FormAnalysis, least: int) -> tuple[str, ...]:
    said = []
    reliability = analysis.reliability
    if reliability is None:
        said.append(_("Everybody has as many right as the others, so no KR-20 can be said."))
    else:
        said.append(
            _(
                "KR-20 is %(value)s, with a 95 %% interval by Feldt from %(low)s to %(high)s: how "
                "far another form like it would put the same people into the same order."
            )
            % {
                "value": _figure(reliability.value),
                "low": _figure(reliability.low),
                "high": _figure(reliability.high),
            }
        )
    consistency = analysis.consistency
    if consistency is None:
        said.append(
            _(
                "How far another form would decide alike cannot be said: the totals do not spread "
                "as Huynh’s method takes them to."
            )
        )
    else:
        said.append(
            _(
                "At the pass mark of %(least)d right another form like it would decide "
                "%(alike)s of people alike, by Huynh’s method; %(chance)s would be by chance "
                "alone, and kappa is %(kappa)s. What must be right is not in this."
            )
            % {
                "least": least,
                "alike": _percent(consistency.alike),
                "chance": _percent(consistency.by_chance),
                "kappa": _figure(consistency.kappa) or "–",
            }
        )
    return tuple(said)


def _question(figures: QuestionFigures) -> QuestionShown:
    right = figures.question.key.get("right", [])
    own = [figures.choices[place] for place in right] if figures.choices else []
    best = max((one.mean_rest for one in own if one.mean_rest is not None), default=None)
    return QuestionShown(
        question=figures.question,
        answers=figures.answers,
        difficulty="" if figures.difficulty is None else _percent(figures.difficulty),
        discrimination=_figure(figures.discrimination),
        says=_question_says(figures),
        choices=tuple(
            ChoiceShown(
                text=figures.question.choices[place],
                is_right=place in right,
                chosen=choice.chosen,
                mean_rest=_figure(choice.mean_rest, 1),
                note=_choice_says(choice, best) if place not in right else "",
            )
            for place, choice in enumerate(figures.choices)
        ),
    )


def _question_says(figures: QuestionFigures) -> str:
    if figures.difficulty is None:
        return ""
    said = []
    if figures.discrimination is not None and figures.discrimination < 0:
        said.append(_("goes against the rest: look whether the right answer is right"))
    elif figures.discrimination is not None and figures.discrimination < FAIR:
        said.append(_("hardly goes with the rest: look at it again"))
    if figures.difficulty > EASY:
        said.append(_("nearly everybody has it right"))
    elif figures.difficulty < HARD:
        said.append(_("most have it wrong"))
    return "; ".join(said)


def _choice_says(choice: Choice, best: float | None) -> str:
    if not choice.chosen:
        return _("nobody ticks it")
    if best is not None and choice.mean_rest is not None and choice.mean_rest > best:
        return _("draws those who know more than the right one does")
    return ""
