"""What comes before what on the way to a certificate: order, attempts, waiting, training again."""

import doctest
from datetime import date, timedelta

import pytest

from certification.domain import path as domain
from certification.domain.path import (
    AskedBoards,
    Before,
    BoardMade,
    Hindrance,
    Path,
    PathFigures,
    PathRecord,
    State,
    next_station,
)


def day(number):
    """A day counted from 1 March 2026; days alone matter here."""
    return date(2026, 3, 1) + timedelta(days=number - 1)


def board(number, out, judged=None, passed=None, exercise="CUP", purpose="qualification"):
    return BoardMade(
        number, exercise, purpose, day(out), day(judged) if judged else date.max, passed
    )


def failed(number, out, judged, **fields):
    return board(number, out, judged, False, **fields)


def passed(number, out, judged, **fields):
    return board(number, out, judged, True, **fields)


CUP = AskedBoards("CUP")
TWO_THEN_TRAIN = PathFigures(attempts=2)
WAIT = PathFigures(wait_days=7)
BOTH = PathFigures(attempts=2, wait_days=7, retraining_boards=2)


def class_days(first, last=None):
    return day(first), day(last or first)


def path(figures, *boards, asked=(CUP,), courses=None, classes=None, **more):
    """Classes are days, or the first and the last day of one that is longer."""
    record = PathRecord(
        boards,
        {code: [day(n) for n in days] for code, days in (courses or {}).items()},
        {
            code: [class_days(*(held if isinstance(held, tuple) else (held,))) for held in classes]
            for code, classes in (classes or {}).items()
        },
    )
    return Path(asked, figures, record, **more)


def test_examples_of_the_docstrings_hold():
    assert doctest.testmod(domain).failed == 0


RETRAIN = Hindrance(Before.RETRAINING, failed=2)
TWICE = (failed("1", 1, 2), failed("2", 3, 4))
CASES = {
    "nothing is asked": (path(PathFigures(), *TWICE), 5, None),
    "one of two failed": (path(TWO_THEN_TRAIN, failed("1", 1, 2)), 3, None),
    "both failed": (path(TWO_THEN_TRAIN, *TWICE), 5, RETRAIN),
    "one failed, one not judged": (
        path(TWO_THEN_TRAIN, failed("1", 1, 2), board("2", 3)),
        5,
        Hindrance(Before.AT_HAND, "2", 1),
    ),
    "two not judged": (
        path(TWO_THEN_TRAIN, board("1", 1), board("2", 1)),
        5,
        Hindrance(Before.AT_HAND, "1"),
    ),
    "practice is no attempt": (
        path(TWO_THEN_TRAIN, failed("1", 1, 2), failed("2", 3, 4, purpose="practice")),
        5,
        None,
    ),
    "nor is a production sample": (
        path(TWO_THEN_TRAIN, failed("1", 1, 2), failed("2", 3, 4, purpose="production")),
        5,
        None,
    ),
    "re-qualification is one": (
        path(TWO_THEN_TRAIN, failed("1", 1, 2), failed("2", 3, 4, purpose="requalification")),
        5,
        RETRAIN,
    ),
    "another exercise is another matter": (
        path(TWO_THEN_TRAIN, failed("1", 1, 2), failed("2", 3, 4, exercise="HOOK")),
        5,
        None,
    ),
    "a pass between does not wash a failure off": (
        path(TWO_THEN_TRAIN, failed("1", 1, 2), passed("3", 2, 3), failed("2", 3, 4)),
        5,
        RETRAIN,
    ),
    "before the last certificate": (path(TWO_THEN_TRAIN, *TWICE, issued=[day(4)]), 5, None),
    "one of them after it": (path(TWO_THEN_TRAIN, *TWICE, issued=[day(3)]), 5, None),
    "a class the day after": (path(TWO_THEN_TRAIN, *TWICE, classes={"CUP": [5]}), 5, None),
    "a class of that day": (path(TWO_THEN_TRAIN, *TWICE, classes={"CUP": [4]}), 5, RETRAIN),
    "a class that had begun before": (
        path(TWO_THEN_TRAIN, *TWICE, classes={"CUP": [(3, 5)]}),
        6,
        RETRAIN,
    ),
    "a class that began after, before its end": (
        path(TWO_THEN_TRAIN, *TWICE, classes={"CUP": [(5, 7)]}),
        6,
        RETRAIN,
    ),
    "a class that began after, on its last day": (
        path(TWO_THEN_TRAIN, *TWICE, classes={"CUP": [(5, 7)]}),
        7,
        None,
    ),
    "a class for something else": (
        path(TWO_THEN_TRAIN, *TWICE, classes={"HOOK": [5]}),
        5,
        RETRAIN,
    ),
    "dated back before the class": (
        path(TWO_THEN_TRAIN, *TWICE, classes={"CUP": [8]}),
        7,
        RETRAIN,
    ),
    "practice passed stands for a class": (
        path(
            BOTH,
            *TWICE,
            passed("p1", 5, 6, purpose="practice"),
            passed("p2", 5, 8, purpose="practice"),
        ),
        11,
        None,
    ),
    "one practice board of two": (
        path(BOTH, *TWICE, passed("p1", 5, 6, purpose="practice")),
        11,
        RETRAIN,
    ),
    "practice begun before failing": (
        path(
            BOTH,
            *TWICE,
            passed("p1", 4, 6, purpose="practice"),
            passed("p2", 5, 8, purpose="practice"),
        ),
        11,
        RETRAIN,
    ),
    "practice judged by then, though handed out for a day after it": (
        path(
            BOTH,
            *TWICE,
            passed("p1", 5, 4, purpose="practice"),
            passed("p2", 5, 8, purpose="practice"),
        ),
        11,
        RETRAIN,
    ),
    "practice where only a class counts": (
        path(TWO_THEN_TRAIN, *TWICE, passed("p1", 5, 6, purpose="practice")),
        11,
        RETRAIN,
    ),
    "after training two more": (
        path(TWO_THEN_TRAIN, *TWICE, failed("3", 6, 7), classes={"CUP": [5]}),
        8,
        None,
    ),
    "and then training once more": (
        path(TWO_THEN_TRAIN, *TWICE, failed("3", 6, 7), failed("4", 8, 9), classes={"CUP": [5]}),
        10,
        RETRAIN,
    ),
    "begun before the training, failed after it": (
        path(TWO_THEN_TRAIN, *TWICE, failed("3", 4, 9), failed("4", 6, 7), classes={"CUP": [5]}),
        10,
        None,
    ),
    "the last day of waiting": (
        path(WAIT, failed("1", 1, 2)),
        8,
        Hindrance(Before.WAITING, failed=1, until=day(9)),
    ),
    "the day after it": (path(WAIT, failed("1", 1, 2)), 9, None),
    "dated back before the failure": (
        path(WAIT, failed("1", 1, 12)),
        3,
        Hindrance(Before.WAITING, failed=1, until=day(19)),
    ),
    "trained and still waiting": (
        path(BOTH, *TWICE, classes={"CUP": [5]}),
        6,
        Hindrance(Before.WAITING, until=day(11)),
    ),
    "nothing is asked of the exercise": (path(BOTH, *TWICE, asked=()), 5, None),
}


@pytest.mark.parametrize(("given", "on", "expected"), CASES.values(), ids=CASES)
def test_what_keeps_a_board_from_being_handed_out(given, on, expected):
    assert given.hindrance("CUP", day(on)) == expected


def test_a_board_that_is_asked_about_itself_is_left_aside():
    given = path(TWO_THEN_TRAIN, failed("1", 1, 2), board("2", 3))
    assert given.hindrance("CUP", day(3), leaving="2") is None


ORDERED = (
    AskedBoards("HOOK", after_exercise="CUP"),
    AskedBoards("CUP", boards=2, after_course="HS-1", purposes=("qualification",)),
)
CUPS = (passed("c1", 3, 4), passed("c2", 3, 6))


def test_a_course_comes_before_its_exercise_and_that_before_the_next():
    nothing = path(PathFigures(), asked=ORDERED)
    assert nothing.hindrance("CUP", day(3)) == Hindrance(Before.COURSE, "HS-1")
    assert nothing.hindrance("HOOK", day(3)) == Hindrance(Before.EXERCISE, "CUP")
    attended = path(PathFigures(), CUPS[0], asked=ORDERED, courses={"HS-1": [3]})
    assert attended.hindrance("CUP", day(2)) == Hindrance(Before.COURSE, "HS-1")
    assert attended.hindrance("CUP", day(3)) is None
    assert attended.hindrance("HOOK", day(5)) == Hindrance(Before.EXERCISE, "CUP")
    both = path(PathFigures(), *CUPS, asked=ORDERED, courses={"HS-1": [3]})
    assert both.hindrance("HOOK", day(5)) == Hindrance(Before.EXERCISE, "CUP")
    assert both.hindrance("HOOK", day(6)) is None


def test_boards_handed_out_too_early_do_not_count_and_neither_does_what_rests_on_them():
    early = passed("h1", 5, 7, exercise="HOOK")
    late = passed("h2", 6, 7, exercise="HOOK")
    given = path(PathFigures(), *CUPS, early, late, asked=ORDERED, courses={"HS-1": [3]})
    hook = ORDERED[0]
    assert [each.number for each in given.counting(hook, day(8))] == ["h2"]
    # Before the course was attended the cups themselves were early.
    given = path(PathFigures(), *CUPS, late, asked=ORDERED, courses={"HS-1": [4]})
    assert given.counting(ORDERED[1], day(8)) == []
    assert given.counting(hook, day(8)) == []
    # Nobody asked for an order when they were handed out.
    before = path(PathFigures(), *CUPS, early, asked=ORDERED, published_on=day(7))
    assert [each.number for each in before.counting(hook, day(8))] == ["h1"]


@pytest.mark.parametrize(
    ("out", "figures", "classes", "counts"),
    [
        (10, WAIT, {}, False),
        (11, WAIT, {}, True),
        (4, WAIT, {}, True),  # On the day of failing: nobody knows what came first.
        (5, TWO_THEN_TRAIN, {}, False),
        (5, TWO_THEN_TRAIN, {"CUP": [5]}, True),
    ],
)
def test_an_attempt_that_was_not_due_does_not_count_once_passed(out, figures, classes, counts):
    first, second = failed("1", 1, 1), failed("2", 3, 4)
    given = path(figures, first, second, passed("3", out, 15), classes=classes)
    if figures is WAIT:
        given = path(figures, second, passed("3", out, 15))
    assert bool(given.counting(CUP, day(20))) is counts


@pytest.mark.parametrize("issued", [[], [12]])
def test_a_certificate_does_not_put_in_order_what_was_not_before(issued):
    boards = (failed("1", 1, 2), passed("early", 5, 6), passed("due", 9, 10))
    given = path(WAIT, *boards, issued=[day(n) for n in issued])
    assert [each.number for each in given.counting(CUP, day(20))] == ["due"]
    # Nor does the next one make those count that were begun after the first.
    trained = path(
        TWO_THEN_TRAIN, *TWICE, passed("3", 6, 7), failed("4", 8, 9), passed("5", 10, 11),
        issued=[day(5), day(12)],
    )  # fmt: skip
    assert {each.number for each in trained.counting(CUP, day(20))} == {"3", "5"}


def test_two_exercises_that_wait_for_each_other_end_the_question():
    circle = (AskedBoards("A", after_exercise="B"), AskedBoards("B", after_exercise="A"))
    given = path(
        PathFigures(),
        passed("a", 1, 2, exercise="A"),
        passed("b", 1, 2, exercise="B"),
        asked=circle,
    )
    assert [station.state for station in given.stations(day(3))] == [State.NOT_YET] * 2
    assert domain.waiting_for_each_other(circle) == ["A", "B"]


def test_boards_count_by_purpose_age_and_revocation():
    asked = AskedBoards("CUP", purposes=("qualification",), within_months=1)
    given = path(
        PathFigures(),
        passed("1", 1, 2),
        passed("2", 1, 5, purpose="practice"),
        passed("3", 1, 9),
        asked=(asked,),
        after=day(2),
    )
    assert [each.number for each in given.counting(asked, day(20))] == ["3"]
    assert given.counting(asked, day(9 + 32)) == []


def test_stations_stand_in_the_order_of_the_work_and_what_can_be_done_counts_next():
    asked = (*ORDERED, AskedBoards("LAP"), AskedBoards("HOLE"), AskedBoards("WRAP"))
    given = path(
        PathFigures(attempts=1, wait_days=30),
        passed("w", 1, 2, exercise="WRAP"),
        failed("l", 1, 2, exercise="LAP"),
        board("o", 1, exercise="HOLE"),
        asked=asked,
    )
    stations = given.stations(day(3))
    assert [(one.asked.exercise, one.state) for one in stations] == [
        ("CUP", State.NOT_YET),
        ("HOOK", State.NOT_YET),
        ("LAP", State.RETRAINING),
        ("HOLE", State.AT_HAND),
        ("WRAP", State.MET),
    ]
    assert next_station(stations).asked.exercise == "HOLE"
    assert (stations[4].missing, stations[0].missing, stations[2].failed) == (0, 2, 1)
    assert next_station([stations[4]]) is None
