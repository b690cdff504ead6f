"""The demo's written test: a small bank on the terminals course, two papers taken, one to take."""

from collections.abc import Mapping
from datetime import timedelta
from typing import Any

from assessments.domain.answers import Kind
from assessments.models import Paper, Question, WrittenTest
from assessments.queries import written_tests as queries
from assessments.services import papers, written_tests
from training.models import Course, Lesson

from .people import Stage

AUTHOR, PUBLISHER, HANDS_OUT = "10002", "10003", "10001"
PASSED, FAILED, TO_TAKE = "10201", "10202", "10205"
PRACTICE = "Common practice"
QUESTIONS: tuple[dict[str, Any], ...] = (
    {
        "topic": "Safety",
        "kind": Kind.ONE,
        "text": "What do you wear when you clip the end of a wire?",
        "choices": ["Nothing in particular", "Eye protection", "Cotton gloves"],
        "key": {"right": [1]},
        "must_be_right": True,
        "lesson": "Welcome, vision test, safety",
        "source": PRACTICE,
    },
    {
        "topic": "Safety",
        "kind": Kind.SEVERAL,
        "text": "You have worked with tin-lead solder. What do you do before you eat?",
        "choices": ["Wash my hands", "Wipe them dry on a cloth", "Leave the bench"],
        "key": {"right": [0, 2]},
        "must_be_right": True,
        "lesson": "Welcome, vision test, safety",
        "source": PRACTICE,
    },
    {
        "topic": "Wire",
        "kind": Kind.NUMBER,
        "text": "How thick is a solid conductor of AWG 22?",
        "key": {"value": "0.64", "tolerance": "0.01"},
        "unit": "mm",
        "lesson": "Strip and tin",
        "source": "ASTM B258: 0.0253 in",
    },
    {
        "topic": "Wire",
        "kind": Kind.ORDER,
        "text": "In which order does a wire come to its turret?",
        "choices": ["Strip it", "Tin it", "Form it round the post", "Solder it", "Clean it"],
        "lesson": "Turret, one wire",
        "source": PRACTICE,
    },
    {
        "topic": "Joints",
        "kind": Kind.PLACE,
        "text": "The wire was asked to go half way round the post. Where does it end too early?",
        "drawing": "turret-wrap-short-reject",
        "picture_says": "A turret seen from above, with a wire that goes round a part of it",
        "key": {"right": ["F4", "F5"]},
        "lesson": "Turret, one wire",
        "source": PRACTICE,
    },
    {
        "topic": "Joints",
        "kind": Kind.ONE,
        "text": "Solder stands on the metal as a bead. What does it say?",
        "choices": ["It has not wetted", "There is much of it", "It was cleaned"],
        "key": {"right": [0]},
        "lesson": "What a sound joint is",
        "source": PRACTICE,
    },
)


def make_written_test(stage: Stage) -> None:
    """The bank, drafted and published a while ago, and the papers of three trainees."""
    author, instructor = stage.users[AUTHOR], stage.users[HANDS_OUT]
    course = Course.objects.get(code="HS-TERM").revisions.get()
    lessons = dict(Lesson.objects.filter(course_revision=course).values_list("title", "pk"))
    at = stage.at(120)
    test = written_tests.begin_test(
        code="HS-TERM-W",
        title="Terminals, written",
        course_revision=course,
        actor=author,
        at=at,
    )
    for question in QUESTIONS:
        said = {name: value for name, value in question.items() if name != "lesson"}
        written_tests.save_question(
            test=test,
            actor=author,
            at=at,
            on_forms="A",
            lesson_id=lessons[question["lesson"]],
            **said,
        )
    written_tests.change_rules(
        test=test,
        seen=None,
        minutes=20,
        pass_percent=80,
        pass_basis="The demo’s instructors, question by question.",  # noqa: S106 - no password
        tries=3,
        wait_days=2,
        another_form=False,
        forms=WrittenTest.Forms.FIXED,
        actor=author,
        at=at,
    )
    written_tests.publish_test(
        test=test,
        shown=None,
        reason="Tried with two colleagues.",
        actor=stage.users[PUBLISHER],
        at=stage.at(118),
        proof="password",
    )
    for number, wrong in ((PASSED, ()), (FAILED, ("Q02", "Q03"))):
        _take(stage, test, number, wrong)
    papers.hand_out(
        test=test,
        people=[stage.people[TO_TAKE]],
        medium=Paper.Medium.SCREEN,
        not_before=stage.today,
        actor=instructor,
        at=stage.at(0, 7),
    )


def _take(stage: Stage, test: WrittenTest, number: str, wrong: tuple[str, ...]) -> None:
    at, user = stage.at(81, 9), stage.users[number]
    [paper] = papers.hand_out(
        test=test,
        people=[stage.people[number]],
        medium=Paper.Medium.SCREEN,
        not_before=stage.today - timedelta(days=81),
        actor=stage.users[HANDS_OUT],
        at=at,
    ).papers
    papers.start_paper(paper=paper, actor=user, at=at)
    for each in queries.questions_of(paper):
        given = ["0.5"] if each.question.code in wrong else _right(each.question, each.shown)
        at += timedelta(minutes=1)
        papers.save_answer(
            paper=paper, order=each.order, given=given, key=f"{each.order}", actor=user, at=at
        )
    papers.hand_in(paper=paper, actor=user, at=at + timedelta(minutes=1))


def _right(question: Question, shown: list[int]) -> list[str]:
    """What somebody gives who knows it, by what stands before them."""
    key: Mapping[str, Any] = question.key
    if question.kind == Kind.ORDER:
        return [str(choice + 1) for choice in shown]
    if question.kind == Kind.NUMBER:
        return [key["value"]]
    if question.kind == Kind.PLACE:
        return [key["right"][0]]
    return [str(shown.index(choice)) for choice in key["right"]]
