"""Making boards: one for each person with every joint, or none of them and why."""

from dataclasses import dataclass
from datetime import timedelta

import pytest

from assessments.exceptions import CannotChangeBoard, CannotMakeBoards
from assessments.models import Board
from assessments.services import boards
from records.models import TrailEntry
from tests.factories import (
    NOW,
    TODAY,
    make_board,
    make_exercise,
    make_person,
    make_session,
    make_site,
    make_user,
)
from training.models import Tool

pytestmark = pytest.mark.django_db


@dataclass
class Bench:
    """A site, its instructor, an exercise and two trainees."""

    site: object
    instructor: object
    exercise: object
    people: list

    def make(self, **fields):
        return boards.make_boards(
            **{
                "exercise": self.exercise,
                "people": self.people,
                "purpose": Board.Purpose.PRACTICE,
                "site": self.site,
                "handed_out_on": TODAY,
                "actor": self.instructor,
                "at": NOW,
                **fields,
            }
        )


@pytest.fixture
def bench():
    site = make_site()
    return Bench(
        site=site,
        instructor=make_user("instructor", site=site),
        exercise=make_exercise(spare=1),
        people=[make_person(site), make_person(site)],
    )


def test_each_person_gets_a_board_with_a_joint_at_every_position(bench):
    first, second = bench.make()
    assert [first.person, second.person] == bench.people
    for board in (first, second):
        joints = [(str(joint), joint.make) for joint in board.joints.all()]
        assert joints == [("E01", 1), ("E02", 1), ("E03", 1)]
        assert (board.made_by, board.recorded_at, board.handed_in_at) == (
            bench.instructor,
            NOW,
            None,
        )


def test_numbers_carry_the_sites_letters_and_are_never_given_twice(bench):
    first, second = bench.make()
    [third] = bench.make(people=bench.people[:1])
    assert [board.number for board in (first, second, third)] == [
        "CA-B-00001",
        "CA-B-00002",
        "CA-B-00003",
    ]
    london = make_site("Aldergate", "AL", time_zone="Europe/London")
    [elsewhere] = bench.make(
        site=london, people=[make_person(london)], actor=make_user("instructor", site=london)
    )
    assert elsewhere.number == "AL-B-00001"


def test_every_board_is_written_in_the_trail(bench):
    made = bench.make()
    entries = TrailEntry.objects.filter(act="board made")
    assert {entry.about_id for entry in entries} == {str(board.pk) for board in made}
    assert made[0].number in entries.get(about_id=made[0].pk).payload.body


def test_a_whole_class_gets_boards_also_people_of_another_site(bench):
    guest = make_person(make_site("Aldergate", "AL"))
    session = make_session(bench.site, people=(*bench.people, guest), instructor=bench.instructor)
    made = bench.make(session=session, people=list(session.people.all()))
    assert {board.person for board in made} == {*bench.people, guest}
    assert {board.session for board in made} == {session}
    assert {board.site for board in made} == {bench.site}


def test_a_production_sample_names_its_unit_or_its_work_order(bench):
    with pytest.raises(CannotMakeBoards, match="names the unit or the work order"):
        bench.make(purpose=Board.Purpose.PRODUCTION)
    made = bench.make(purpose=Board.Purpose.PRODUCTION, work_order="WO-7731")
    made += bench.make(purpose=Board.Purpose.PRODUCTION, unit="SN 0042")
    assert [board.work_order or board.unit for board in made] == ["WO-7731"] * 2 + ["SN 0042"] * 2


def retired(bench):
    bench.exercise.retired_at = NOW
    bench.exercise.save(update_fields=["retired_at"])
    return {}, "is retired"


def without_positions(bench):
    return {"exercise": make_exercise(())}, "has no positions"


def nobody(bench):
    return {"people": []}, "at least one person"


def gone(bench):
    person = make_person(bench.site, full_name="Farah Nadeem", left_on=TODAY - timedelta(days=1))
    return {"people": [*bench.people, person]}, "Farah Nadeem left on 24 Nov 2026"


def not_yet_here(bench):
    person = make_person(bench.site, full_name="Lieke", started_on=TODAY + timedelta(days=1))
    return {"people": [*bench.people, person]}, "Lieke starts on 26 Nov 2026"


def of_another_site(bench):
    person = make_person(make_site("Aldergate", "AL"), full_name="Piet")
    return {"people": [*bench.people, person]}, "Piet works at another site than Castelmar"


def not_in_the_class(bench):
    return {"session": make_session(bench.site)}, "is not in class"


def a_class_elsewhere(bench):
    session = make_session(make_site("Aldergate", "AL"), people=tuple(bench.people))
    return {"session": session}, "is not held at Castelmar"


def by_an_instructor_elsewhere(bench):
    actor = make_user("instructor", site=make_site("Aldergate", "AL"))
    return {"actor": actor}, "made by its instructors"


def by_quality(bench):
    return {"actor": make_user("quality", site=bench.site)}, "made by its instructors"


@pytest.mark.parametrize(
    "arrange",
    [
        retired,
        without_positions,
        nobody,
        gone,
        not_yet_here,
        of_another_site,
        not_in_the_class,
        a_class_elsewhere,
        by_an_instructor_elsewhere,
        by_quality,
    ],
)
def test_what_cannot_be_made_makes_nothing_and_says_why(bench, arrange):
    fields, says = arrange(bench)
    with pytest.raises(CannotMakeBoards, match=says):
        bench.make(**fields)
    assert not Board.objects.exists()
    assert not TrailEntry.objects.filter(act="board made").exists()


def test_the_last_day_here_is_still_a_day_to_get_a_board(bench):
    person = make_person(bench.site, left_on=TODAY, started_on=TODAY)
    [board] = bench.make(people=[person])
    assert board.person == person


def test_the_alloy_is_tin_lead_unless_said(bench):
    assert {board.alloy for board in bench.make()} == {"Sn63Pb37"}
    assert {board.alloy for board in bench.make(alloy="SAC305")} == {"SAC305"}


def test_the_alloy_is_the_one_that_the_exercise_calls_for(bench):
    exercise = make_exercise(alloy="Sn96.5Ag3Cu0.5")
    assert {board.alloy for board in bench.make(exercise=exercise)} == {"Sn96.5Ag3Cu0.5"}
    said = bench.make(exercise=exercise, alloy="Sn96Ag4")
    assert {board.alloy for board in said} == {"Sn96Ag4"}


# Handing in, keeping, disposing


def test_a_board_is_handed_in_once(bench):
    [board, _other] = bench.make()
    board = boards.hand_in(board=board, actor=bench.instructor, at=NOW)
    assert board.handed_in_at == NOW
    assert TrailEntry.objects.filter(act="board handed in", about_id=board.pk).count() == 1
    with pytest.raises(CannotChangeBoard, match="was handed in on 25 Nov 2026"):
        boards.hand_in(board=board, actor=bench.instructor, at=NOW + timedelta(days=1))


def test_a_piece_is_kept_with_its_tools_until_a_day(bench):
    board = make_board(bench.people[0])
    iron = Tool.objects.create(code="I-07", kind="iron", site=bench.site)
    who_when = {"board": board, "actor": bench.instructor, "at": NOW}
    boards.describe_piece(
        tools=[iron], kept_where="cabinet 3", kept_until=TODAY + timedelta(days=30), **who_when
    )
    board.refresh_from_db()
    assert (list(board.tools.all()), board.kept_where) == ([iron], "cabinet 3")
    assert "I-07" in TrailEntry.objects.get(act="board kept").payload.body
    with pytest.raises(CannotChangeBoard, match="to be kept through 25 Dec 2026"):
        boards.dispose(how="scrapped", **who_when)
    later = NOW + timedelta(days=31)
    boards.dispose(how="scrapped", **{**who_when, "at": later})
    board.refresh_from_db()
    assert (board.disposed_at, board.disposed_how) == (later, "scrapped")


def test_a_piece_is_to_be_kept_through_the_whole_last_day_at_its_site(bench):
    board = make_board(bench.people[0], kept_until=TODAY)
    late = NOW.replace(hour=22, minute=59)
    with pytest.raises(CannotChangeBoard):
        boards.dispose(board=board, how="scrapped", actor=bench.instructor, at=late)
    past_midnight_in_madrid = NOW.replace(hour=23, minute=0)
    board = boards.dispose(
        board=board, how="scrapped", actor=bench.instructor, at=past_midnight_in_madrid
    )
    assert board.disposed_how == "scrapped"


def test_what_is_gone_is_neither_kept_nor_handed_in_nor_disposed_of_again(bench):
    board = make_board(bench.people[0])
    who_when = {"actor": bench.instructor, "at": NOW}
    board = boards.dispose(board=board, how="scrapped", **who_when)
    with pytest.raises(CannotChangeBoard, match="disposed of"):
        boards.hand_in(board=board, **who_when)
    with pytest.raises(CannotChangeBoard, match="disposed of on 25 Nov 2026"):
        boards.dispose(board=board, how="again", **who_when)
    with pytest.raises(CannotChangeBoard, match="disposed of"):
        boards.describe_piece(
            board=board, tools=[], kept_where="a drawer", kept_until=None, **who_when
        )


@pytest.mark.parametrize(
    ("days", "says"), [(-1, "only handed out on 25 Nov 2026"), (1, "when it has been done")]
)
def test_a_destructive_check_lies_between_handing_out_and_today(bench, days, says):
    board = make_board(bench.people[0])
    check = {"board": board, "kind": "section of E01", "result": "filled", "actor": None, "at": NOW}
    with pytest.raises(CannotChangeBoard, match=says):
        boards.add_destructive_check(done_on=TODAY + timedelta(days=days), **check)
    made = boards.add_destructive_check(done_on=TODAY, **check)
    assert list(board.destructive_checks.all()) == [made]
    assert TrailEntry.objects.filter(act="destructive check recorded").count() == 1
