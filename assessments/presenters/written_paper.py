"""A paper of a written test as its reader has it: what is asked, and what came of it.

Nothing in `AskedLine` comes from what is right, so no page made of it can give that away.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.urls import reverse
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from assessments.domain.answers import COLUMNS, ROWS, Kind, least_right, number_in
from assessments.models import Paper, PaperAnswer, PaperQuestion, PaperResult, Question, WrittenTest
from assessments.queries import written_tests as queries
from people.presenters.quantities import with_unit

from .question_pictures import picture

LETTERS = "ABCDEFGH"


@dataclass(frozen=True, slots=True)
class ChoiceLine:
    """One choice as it stands on the paper: its place, letter and text, and what was given."""

    place: str
    letter: str
    text: str
    ticked: bool
    rank: str


@dataclass(frozen=True, slots=True)
class AskedLine:
    """One question as it stands before whoever answers it."""

    order: int
    kind: str
    text: str
    picture: SafeString
    choices: tuple[ChoiceLine, ...]
    ranks: tuple[str, ...]
    unit: str
    value: str
    rows: tuple[tuple[str, tuple[tuple[str, bool], ...]], ...]
    columns: str
    answered: bool
    late: bool
    unread: str
    how: str
    must: bool


def how_answered(kind: str, unit: str = "") -> str:
    """What is to be done, in a sentence."""
    if kind == Kind.ONE:
        return _("One is right.")
    if kind == Kind.SEVERAL:
        return _("Tick all that are right, and no other.")
    if kind == Kind.ORDER:
        return _("Number them in the right order, 1 first.")
    if kind == Kind.PLACE:
        return _("Mark the square where it is.")
    return _("Give the number, in %(unit)s.") % {"unit": unit} if unit else _("Give the number.")


def asked_line(
    question: Question,
    *,
    order: int,
    shown: Sequence[int],
    given: Sequence[str],
    photo_url: str,
    late: bool = False,
) -> AskedLine:
    places = list(shown) or list(range(len(question.choices)))
    ranked = question.kind == Kind.ORDER
    choices = tuple(
        ChoiceLine(
            place=str(place),
            letter=LETTERS[place],
            text=question.choices[choice],
            ticked=not ranked and str(place) in given,
            rank=given[place] if ranked and place < len(given) else "",
        )
        for place, choice in enumerate(places)
    )
    value = given[0] if question.kind == Kind.NUMBER and given else ""
    unread = ""
    if value and number_in(value, question.unit) is None:
        unread = _("This cannot be read as a number.")
    ranks = [choice.rank for choice in choices if choice.rank]
    if ranked and len(set(ranks)) < len(ranks):
        unread = _("Two of them have the same number.")
    return AskedLine(
        order=order,
        kind=str(question.kind),
        text=question.text,
        picture=picture(question, photo_url),
        choices=choices,
        ranks=tuple(str(rank) for rank in range(1, len(places) + 1)) if ranked else (),
        unit=question.unit,
        value=value,
        rows=tuple(
            (row, tuple((f"{column}{row}", f"{column}{row}" in given) for column in COLUMNS))
            for row in ROWS
        )
        if question.kind == Kind.PLACE
        else (),
        columns=COLUMNS,
        answered=bool(given) and any(given),
        late=late,
        unread=unread,
        how=how_answered(question.kind, question.unit),
        must=question.must_be_right,
    )


def paper_lines(paper: Paper) -> list[AskedLine]:
    """All questions of a paper with what was given last, in time or late."""
    counted = queries.counted_answers(paper, late_count=True)
    return [_line(each, counted.get(each.pk)) for each in queries.questions_of(paper)]


def _line(each: PaperQuestion, answer: PaperAnswer | None) -> AskedLine:
    return asked_line(
        each.question,
        order=each.order,
        shown=each.shown,
        given=answer.given if answer else [],
        photo_url=reverse("assessments:paper_picture", args=[each.paper.number, each.order]),
        late=answer.late if answer else False,
    )


def preview_line(question: Question, order: int) -> AskedLine:
    """A question of the bank as it will stand on a paper, its choices in the order typed."""
    return asked_line(
        question,
        order=order,
        shown=(),
        given=(),
        photo_url=reverse("assessments:question_picture", args=[question.test_id, question.code]),
    )


def right_in_words(question: Question) -> str:
    """What is right of a question, for whoever works on the bank."""
    if question.kind == Kind.NUMBER:
        value, tolerance = question.key.get("value", ""), question.key.get("tolerance", "")
        return with_unit(f"{value} ± {tolerance}", question.unit)
    if question.kind == Kind.PLACE:
        return ", ".join(question.key.get("right", []))
    if question.kind == Kind.ORDER:
        return " → ".join(question.choices)
    return "; ".join(
        question.choices[number]
        for number in question.key.get("right", [])
        if number < len(question.choices)
    )


def given_in_words(question: Question, shown: Sequence[int], given: Sequence[str]) -> str:
    """An answer as it was given, in the words of the paper."""
    places = list(shown) or list(range(len(question.choices)))
    if question.kind in (Kind.NUMBER, Kind.PLACE):
        return " ".join(given)
    if question.kind == Kind.ORDER:
        said = [
            f"{rank or '–'} {question.choices[choice]}"
            for rank, choice in zip(given, places, strict=False)
        ]
        return "; ".join(sorted(said))
    return "; ".join(
        question.choices[places[int(text)]]
        for text in given
        if text.isdecimal() and len(text) < 3 and int(text) < len(places)
    )


@dataclass(frozen=True, slots=True)
class Rule:
    name: str
    value: str


def rules_in_words(test: WrittenTest, asked: int) -> list[Rule]:
    """The rules of a test as whoever takes it reads them before it begins."""
    least = least_right(asked, test.pass_percent) if asked else 0
    said = {"percent": test.pass_percent, "least": least, "n": asked}
    passing = _("%(percent)d %% right") % said
    if asked:
        passing = _("%(least)d of %(n)d right (%(percent)d %%)") % said
    return [
        Rule(
            _("Time"),
            ngettext("%(n)d minute", "%(n)d minutes", test.minutes) % {"n": test.minutes},
        ),
        Rule(
            _("Books"),
            (test.may_use or _("open book: standards and notes may be used"))
            if test.open_book
            else _("closed book: nothing may be looked up"),
        ),
        Rule(_("To pass"), passing),
        Rule(_("Tries"), _tries_in_words(test)),
    ]


def _tries_in_words(test: WrittenTest) -> str:
    if test.tries == 1 or not test.wait_days:
        return str(test.tries)
    days = ngettext("%(n)d day", "%(n)d days", test.wait_days) % {"n": test.wait_days}
    return _("%(n)d, with %(days)s between them") % {"n": test.tries, "days": days}


@dataclass(frozen=True, slots=True)
class TopicLine:
    name: str
    right: int
    of: int


@dataclass(frozen=True, slots=True)
class ReadAgain:
    """What is to be read again, and in how many questions it was missed."""

    text: str
    lesson: str
    day: int | None
    missed: int


@dataclass(frozen=True, slots=True)
class ResultShown:
    """What a paper came to, for whom it is about: nothing of what would have been right.

    Attributes
    ----------
    missed : tuple of str
        Topics of questions that must be right and are not.
    late : int
        Answers that came after the time was over.
    """

    result: PaperResult
    least: int
    missed: tuple[str, ...]
    topics: tuple[TopicLine, ...]
    read_again: tuple[ReadAgain, ...]
    late: int


def result_shown(paper: Paper, result: PaperResult) -> ResultShown:
    rows = {row.order: row.question for row in queries.questions_of(paper)}
    right: dict[str, list[int]] = {}
    again: dict[tuple[str, str, int | None], int] = {}
    missed: dict[str, None] = {}
    for line in result.marked:
        question = rows[line["order"]]
        count = right.setdefault(question.topic, [0, 0])
        count[0] += line["right"]
        count[1] += 1
        if line["right"]:
            continue
        lesson = question.lesson
        place = (
            question.read_again,
            lesson.title if lesson else "",
            lesson.day if lesson else None,
        )
        again[place] = again.get(place, 0) + 1
        if line["must"]:
            missed[question.topic] = None
    late = PaperAnswer.objects.filter(paper_question__paper=paper, late=True)
    return ResultShown(
        result=result,
        least=least_right(result.of, paper.test.pass_percent),
        missed=tuple(missed),
        topics=tuple(TopicLine(name, *counts) for name, counts in right.items()),
        read_again=tuple(
            ReadAgain(text, lesson, day, count) for (text, lesson, day), count in again.items()
        ),
        late=late.values("paper_question").distinct().count(),
    )


@dataclass(frozen=True, slots=True)
class MarkedLine:
    """One question of an ended paper, for whoever may read the bank."""

    order: int
    code: str
    text: str
    given: str
    right: bool
    must: bool
    is_right: str


def marked_lines(paper: Paper, result: PaperResult) -> list[MarkedLine]:
    rows = {row.order: row for row in queries.questions_of(paper)}
    return [
        MarkedLine(
            order=line["order"],
            code=line["code"],
            text=rows[line["order"]].question.text,
            given=given_in_words(
                rows[line["order"]].question, rows[line["order"]].shown, line["given"]
            ),
            right=line["right"],
            must=line["must"],
            is_right=right_in_words(rows[line["order"]].question),
        )
        for line in result.marked
    ]


@dataclass(frozen=True, slots=True)
class PaperLine:
    """A paper in a list: whose, and how it stands."""

    paper: Paper
    state: str
    symbol: str
    tone: str
    result: PaperResult | None


def paper_line(paper: Paper, now: datetime) -> PaperLine:
    """How a paper stands; its rows are read with it."""
    result = queries.result_of(paper)
    start = getattr(paper, "start", None)
    if hasattr(paper, "withdrawal"):
        return PaperLine(paper, _("withdrawn"), "na", "is-none", None)
    if result is not None and result.passed:
        return PaperLine(paper, _("passed"), "accept", "is-accept", result)
    if result is not None:
        return PaperLine(paper, _("not passed"), "reject", "is-reject", result)
    if start is not None:
        over = now > start.ends_at
        said = _("time over, being marked") if over else _("under way")
        return PaperLine(paper, said, "ending", "is-caution", None)
    said = (
        _("on paper, not entered yet") if paper.medium == Paper.Medium.PRINTED else _("not begun")
    )
    return PaperLine(paper, said, "open", "is-none", None)
