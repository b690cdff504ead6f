"""Which joint a photograph shows: by its name, or by the order it comes in."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assessments.domain.photo_places import dealt, in_order, joint_in_name, reading_order

BOARD = ("E01", "E02", "E03", "E07", "E12")


@pytest.mark.parametrize(
    ("name", "joint"),
    [
        ("E03.jpg", "E03"),
        ("e03.JPG", "E03"),
        ("E3.jpg", "E03"),
        ("E003.jpg", "E03"),
        ("E03_2.jpg", "E03"),
        ("E03b.jpg", "E03"),
        ("E02.1.jpg", "E02"),
        ("E12", "E12"),
        ("board 12 E03 (2).png", "E03"),
        ("IMG_0003 E07.jpg", "E07"),
        ("E01 beside E02.jpg", "E01"),
        ("E01b beside E02.jpg", "E01"),
        ("Ｅ０７.jpg", "E07"),
        ("joint 3.jpg", "E03"),
        ("Joint3.jpg", "E03"),
        ("tray 2 joint-07 left.jpg", "E07"),
        ("pos 12c.jpg", "E12"),
        ("3-b.JPG", "E03"),
        ("03.jpg", "E03"),
        ("3b.jpg", "E03"),
        ("IMG_0003.jpg", None),
        ("0003.jpg", None),
        ("DSC00012.JPG", None),
        ("20260305_120712.jpg", None),
        ("E021.jpg", None),
        ("E04.jpg", None),
        ("joint 4.jpg", None),
        ("joint.jpg", None),
        ("3 mm.jpg", "E03"),
        ("bench lamp.jpg", None),
        (".jpg", None),
        ("", None),
    ],
)
def test_a_name_tells_the_joint_by_the_rule(name, joint):
    assert joint_in_name(name, BOARD) == joint


@pytest.mark.parametrize(
    ("name", "joints", "joint"),
    [
        ("3.jpg", ["E03", "T03"], None),
        ("T03.jpg", ["E03", "T03"], "T03"),
        ("3.jpg", ["1", "2", "3"], "3"),
        ("joint 03.jpg", ["1", "2", "3"], "3"),
        ("IMG_003.jpg", ["1", "2", "3"], None),
        ("cup b-2 left.jpg", ["B-1", "B-2"], "B-2"),
        ("E01.jpg", [], None),
    ],
)
def test_names_of_other_boards_are_told_apart(name, joints, joint):
    assert joint_in_name(name, joints) == joint


@given(st.text(max_size=40), st.lists(st.text(max_size=12), unique=True, max_size=5))
def test_whatever_a_name_is_it_tells_a_joint_of_the_board_or_none(name, joints):
    assert joint_in_name(name, joints) in {*joints, None}


@given(st.sampled_from(BOARD), st.sampled_from(["_1", "-b", " (2)", "a", ""]), st.booleans())
def test_a_joints_own_name_is_always_told(joint, view, small):
    name = f"{joint}{view}.jpg"
    assert joint_in_name(name.lower() if small else name, BOARD) == joint


def test_names_are_ordered_as_people_count():
    names = ["p10.jpg", "p9.jpg", "P1.jpg", "a.jpg"]
    assert sorted(names, key=reading_order) == ["a.jpg", "P1.jpg", "p9.jpg", "p10.jpg"]


def test_the_time_taken_decides_then_the_name_and_those_without_come_last():
    names = ["c.jpg", "b.jpg", "a.jpg", "d.jpg"]
    taken = ["", "2026:03:05 14:02:12", "2026:03:05 14:02:11.5", "2026:03:05 14:02:11"]
    assert in_order(names, taken) == [3, 2, 1, 0]
    assert in_order(names) == [2, 1, 0, 3]


def test_photographs_are_dealt_so_many_to_each_joint_and_the_rest_to_the_board():
    assert dealt(range(5), ["E01", "E02"], 2) == ["E01", "E01", "E02", "E02", None]
    assert dealt([1, 0], ["E01", "E02"], 1) == ["E02", "E01"]
    assert dealt([], ["E01"], 3) == []
