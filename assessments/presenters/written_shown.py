"""What stands before whoever signs for a written test: line by line, with the digest of it."""

from datetime import datetime

from django.utils.translation import gettext as _

from assessments.models import Paper, WrittenTest
from assessments.queries import written_tests as queries
from assessments.services import papers as services
from people.presenters.days import format_instant
from records.domain.shown import Line, Shown, digest_of

from .written_paper import given_in_words, right_in_words, rules_in_words


def draft_shown(test: WrittenTest, at: datetime) -> Shown:
    """A draft as it will be published: its rules, and each question with what is right."""
    lines = {rule.name: Line(rule.value) for rule in rules_in_words(test, 0)}
    lines[_("Pass mark")] = Line(f"{test.pass_percent} %: {test.pass_basis}")
    for question in test.questions.all():
        lines[question.code] = Line(f"{question.text} ({right_in_words(question)})")
    return Shown(queries.draft_digest(test), at, lines)


def entering_shown(paper: Paper, at: datetime) -> Shown:
    """A paper whose answers are entered: what it asks, as it was handed out."""
    lines = {
        _("Question %(n)d") % {"n": each.order}: Line(each.question.text)
        for each in queries.questions_of(paper)
    }
    return Shown(digest_of(services.to_enter(paper)), at, lines)


def correcting_shown(paper: Paper, at: datetime) -> Shown:
    """What was entered of a printed paper, question by question."""
    content = services.to_correct(paper)
    entered = {line["order"]: line["given"] for line in content["entered"]}
    lines = {
        _("Question %(n)d") % {"n": each.order}: Line(
            given_in_words(each.question, each.shown, entered[each.order])
        )
        for each in queries.questions_of(paper)
    }
    return Shown(digest_of(content), at, lines)


def late_shown(paper: Paper, at: datetime) -> Shown:
    """What came late, and what the paper comes to with it."""
    content = services.to_count(paper)
    rows = {each.order: each for each in queries.questions_of(paper)}
    lines = {
        _("Result with them"): Line(
            _("%(right)d of %(of)d right") % {"right": content["now"][0], "of": content["now"][1]}
        )
    }
    for late in content["late"]:
        each = rows[late["order"]]
        lines[_("Question %(n)d") % {"n": each.order}] = Line(
            given_in_words(each.question, each.shown, late["given"]),
            format_instant(late["recorded_at"], paper.site.time_zone),
        )
    return Shown(digest_of(content), at, lines)
