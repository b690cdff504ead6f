"""Who may judge whose work: what a scheme asks of its graders, and how they stand."""

from datetime import date

import pytest

from assessments import ports
from certification.services import events
from certification.services.acts import Act
from tests.factories import (
    NOW,
    TODAY,
    make_board,
    make_certificate,
    make_exercise,
    make_person,
    make_revision,
    make_scope,
    make_user,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def instructor():
    return make_user("instructor")


@pytest.fixture
def board():
    return make_board(exercise=make_exercise(("turret", "turret", "cup")))


def may_grade(user, board, day=TODAY):
    return ports.may_grade(user=user, board=board, day=day)


def certified(user, *joint_types, level="instructor", **fields):
    return make_certificate(
        user.person, make_scope(joint_types, level), **{"issued_on": date(2026, 1, 1), **fields}
    )


def test_nothing_is_asked_where_no_scheme_speaks_of_the_joint_types(instructor, board):
    make_revision(make_scope(("hook",)))

    assert may_grade(instructor, board) == ""


def test_standing_is_asked_for_each_joint_type_on_the_board(instructor, board):
    make_revision(make_scope(("turret", "cup")))
    certified(instructor, "turret")

    refusal = may_grade(instructor, board)

    assert "solder cup" in refusal
    assert "turret" not in refusal
    assert "Ask quality to certify you." in refusal


@pytest.mark.parametrize("level", ["inspector", "instructor"])
def test_standing_as_inspector_or_instructor_lets_somebody_grade(instructor, board, level):
    make_revision(make_scope(("turret", "cup")))
    certified(instructor, "turret", level=level)
    certified(instructor, "cup", level=level)

    assert may_grade(instructor, board) == ""


def test_standing_as_operator_is_not_enough(instructor, board):
    make_revision(make_scope(("turret", "cup")))
    certified(instructor, "turret", "cup", level="operator")

    assert may_grade(instructor, board)


def test_scheme_that_does_not_ask_for_it_or_is_not_in_force_asks_nothing(instructor, board):
    make_revision(make_scope(("turret",)), grader_needs_standing=False)
    make_revision(make_scope(("turret",)), published=False)
    make_revision(make_scope(("turret",)), retired_at=NOW)
    make_revision(make_scope(("turret",), "inspector"))

    assert may_grade(instructor, board) == ""


def test_standing_is_asked_for_on_the_day_of_the_grading(instructor, board):
    make_revision(make_scope(("turret",)))
    certified(instructor, "turret", issued_on=date(2024, 11, 25))

    assert may_grade(instructor, board, date(2026, 11, 25)) == ""
    assert "expired" in may_grade(instructor, board, date(2026, 11, 26))


def test_suspended_grader_is_told_so(instructor, board):
    make_revision(make_scope(("turret",)))
    own = certified(instructor, "turret")
    events.suspend_certificates(
        person=own.person,
        scope=own.scope,
        act=Act(
            actor=make_user("quality"), at=NOW, proof="password", reason="Why.", effective_on=TODAY
        ),
    )

    assert may_grade(instructor, board).endswith(f"Yours: {own.number}: suspended.")


def test_sign_in_that_is_nobody_has_no_standing(board):
    make_revision(make_scope(("turret",)))
    user = make_user("instructor", person=make_person())
    user.person = None
    user.save(update_fields=["person"])

    assert may_grade(user, board)


def test_board_stays_closed_while_nobody_answers(instructor, board):
    before = ports.register_may_grade(None)
    try:
        assert "not connected" in may_grade(instructor, board)
    finally:
        ports.register_may_grade(before)
