"""Names of positions as they are typed, one, several or a run of them."""

import pytest

from training.domain.pasted import by_column, pasted_cells
from training.domain.position_names import NotNames, names_in, next_names, written_as


@pytest.mark.parametrize(
    ("text", "names"),
    [
        pytest.param("", [], id="nothing"),
        pytest.param(" E01 ", ["E01"], id="one"),
        pytest.param("E01–E03", ["E01", "E02", "E03"], id="a run with a dash"),
        pytest.param("E01-E03", ["E01", "E02", "E03"], id="with a hyphen"),
        pytest.param("E08 - 11", ["E08", "E09", "E10", "E11"], id="the stem once"),
        pytest.param("E1 to E2; T1", ["E1", "E2", "T1"], id="in words, and another"),
        pytest.param("E98..E101", ["E98", "E99", "E100", "E101"], id="past a hundred"),
        pytest.param("A-1", ["A-1"], id="a hyphen in a name"),
        pytest.param("A-1–A-3", ["A-1", "A-2", "A-3"], id="a run of such names"),
        pytest.param("7-9", ["7", "8", "9"], id="numbers alone"),
    ],
)
def test_names_are_read_as_typed(text, names):
    assert names_in(text) == names
    assert names_in(written_as(names)) == names


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("E 1", "spelling"),
        ("Ü1", "spelling"),
        ("\0", "spelling"),
        ("E" * 13, "length"),
        ("ABCDEFGHIJK01-02", "length"),
        ("E05-E01", "backwards"),
        ("E01-F05", "stem"),
        ("E1-E999", "many"),
        ("E1-E400, F1", "many"),
        ("9" * 5000, "length"),
    ],
)
def test_what_names_nothing_is_refused(text, fault):
    with pytest.raises(NotNames) as refused:
        names_in(text)
    assert refused.value.fault == fault


def test_names_are_counted_on():
    assert next_names(["E09"]) == ["E10"]
    assert next_names(["T1", "T3"]) == ["T4", "T5"]
    assert next_names(["post"]) == next_names([]) == []


COLUMNS = {"names": ["Positions"], "joint": ["Joint", "Lötstelle"], "wires": ["Wires"]}


@pytest.mark.parametrize(
    ("text", "rows"),
    [
        pytest.param(
            "E01\thook\t2", [{"names": "E01", "joint": "hook", "wires": "2"}], id="in order"
        ),
        pytest.param(
            "lötstelle;positions\nhook;E01", [{"joint": "hook", "names": "E01"}], id="named"
        ),
        pytest.param("E01\t\t2\n\n", [{"names": "E01", "wires": "2"}], id="empty cells"),
        pytest.param("", [], id="nothing"),
        pytest.param('"E01,E02",hook', [{"names": "E01,E02", "joint": "hook"}], id="quoted"),
    ],
)
def test_pasted_rows_find_their_columns(text, rows):
    assert by_column(pasted_cells(text), COLUMNS) == rows


def test_more_rows_than_anybody_has_are_not_read():
    assert len(pasted_cells("a\tb\n" * 5000)) == 401
