"""Makers of written tests and papers for tests: small, with a question of each kind."""

from datetime import timedelta
from typing import Any

from assessments.models import Paper, Question, WrittenTest
from assessments.queries import written_tests as queries
from assessments.services import papers, written_tests
from people.models import Person, User
from tests import factories
from tests.factories import NOW, TODAY
from training.models import CourseRevision, Lesson

BEFORE = NOW - timedelta(days=30)
CHOICES = ["Alloy one", "Alloy two", "Alloy three"]
QUESTIONS: tuple[dict[str, Any], ...] = (
    {"kind": "one", "choices": CHOICES, "key": {"right": [1]}, "must_be_right": True},
    {"kind": "several", "choices": CHOICES, "key": {"right": [0, 2]}},
    {"kind": "number", "unit": "mm", "key": {"value": "0.7612", "tolerance": "0.02"}},
    {"kind": "order", "choices": ["Strip", "Tin", "Wrap"]},
    {
        "kind": "place",
        "drawing": "turret-wrap-top-accept",
        "picture_says": "A turret from above",
        "key": {"right": ["C4"]},
    },
)
"""Topics alternate: the first of safety, then of heat, and so on."""


def make_test(
    *questions: dict[str, Any],
    author: User | None = None,
    published: bool = True,
    course: CourseRevision | None = None,
    **rules: Any,
) -> WrittenTest:
    """A fixed form A with a question of each kind, or what is given; one may go on at once."""
    author = author or factories.make_user("instructor")
    course = course or factories.make_session().course_revision
    number = WrittenTest.objects.count() + 1
    made = written_tests.begin_test(
        code=f"T-{number}", title=f"Heat {number}", course_revision=course, actor=author, at=BEFORE
    )
    lesson = Lesson.objects.filter(course_revision=course).first()
    for n, said in enumerate(questions or QUESTIONS):
        written_tests.save_question(
            test=made,
            actor=author,
            at=BEFORE,
            **{
                "topic": ("Safety", "Heat")[n % 2],
                "text": f"What of {n}?",
                "on_forms": "A",
                "read_again": "" if lesson else f"Read leaf {n}",
                "lesson_id": lesson.pk if lesson else None,
                **said,
            },
        )
    written_tests.change_rules(
        test=made,
        seen=None,
        actor=author,
        at=BEFORE,
        **{
            "minutes": 30,
            "pass_percent": 60,
            "pass_basis": "Agreed by two instructors.",
            "tries": 2,
            "wait_days": 3,
            "another_form": False,
            "forms": "fixed",
            **rules,
        },
    )
    if published:
        written_tests.publish_test(
            test=made, shown=None, reason="First.", actor=None, at=BEFORE, proof="password"
        )
    return WrittenTest.objects.get(pk=made.pk)


def hand_out(test: WrittenTest, person: Person, actor: User, at=NOW, **fields: Any) -> Paper:
    fields = {"medium": "screen", "not_before": person.site.today(at), **fields}
    [paper] = papers.hand_out(test=test, people=[person], actor=actor, at=at, **fields).papers
    return paper


def right_answer(question: Question, shown: list[int]) -> list[str]:
    """What somebody gives who knows it, by what stands before them."""
    if question.kind == "order":
        return [str(choice + 1) for choice in shown]
    if question.kind == "number":
        return [question.key["value"]]
    if question.kind == "place":
        return question.key["right"][:1]
    return [str(shown.index(choice)) for choice in question.key["right"]]


def answer(
    paper: Paper, user: User, *, wrong: tuple[int, ...] = (), at=NOW + timedelta(minutes=5)
) -> None:
    """Answer every question rightly, but those at these places."""
    for each in queries.questions_of(paper):
        given = ["7"] if each.order in wrong else right_answer(each.question, each.shown)
        papers.save_answer(
            paper=paper, order=each.order, given=given, key=f"k{each.order}", actor=user, at=at
        )


def take(
    test: WrittenTest, user: User, actor: User, *, wrong: tuple[int, ...] = (), at=NOW
) -> Paper:
    """Hand a test out to somebody, who begins it, answers it and hands it in."""
    assert user.person is not None
    paper = hand_out(test, user.person, actor, at=at)
    papers.start_paper(paper=paper, actor=user, at=at)
    answer(paper, user, wrong=wrong, at=at + timedelta(minutes=5))
    papers.hand_in(paper=paper, actor=user, at=at + timedelta(minutes=6))
    return Paper.objects.get(pk=paper.pk)


__all__ = ["TODAY", "answer", "hand_out", "make_test", "right_answer", "take"]
