"""Rows of lists: what is read, what is asked once, and what is a fault of its row."""

from datetime import date

import pytest

from audit.domain.list_columns import Field
from audit.domain.list_people import people_of
from audit.domain.list_rows import Answers, CellFault, Fault, Names, read_rows
from people.domain.list_days import DayForm
from records.domain.lists import ListRow

NAMES = Names(
    {
        Field.SCOPE: {"TERM-OP": "TERM-OP", "CUP-OP": "CUP-OP"},
        Field.SCHEME: {"HS rev. 1": "HS rev. 1"},
        Field.SITE: {"CA": "CA", "Castelmar": "CA"},
        Field.KIND: {"own": "own", "contractor": "contractor", "Fremdfirma": "contractor"},
    }
)
SAID = Answers(recorded="now", for_all={"site": "CA", "scheme": "HS rev. 1"})


def read(columns, *rows, answers=SAID):
    numbered = [ListRow(line, list(cells)) for line, cells in enumerate(rows, start=2)]
    return read_rows(numbered, columns.split(), answers, NAMES)


def faults(columns, *rows, answers=SAID):
    return [
        (fault.line, fault.field, fault.fault)
        for fault in read(columns, *rows, answers=answers).faults
    ]


def test_leading_zeros_stay_and_names_are_put_together():
    found = read("employee_number family_name given_name", ("00471", "Byrne", "Ada"))
    assert found.entries[0].values == {"employee_number": "00471", "full_name": "Ada Byrne"}


def test_name_with_a_comma_is_asked_about_once_and_turned_round():
    row = ("7", "Byrne, Ada")
    assert read("employee_number full_name", row).open.name_example == "Byrne, Ada"
    for turn, name in [(True, "Ada Byrne"), (False, "Byrne, Ada")]:
        answers = Answers(turn_names=turn, for_all=SAID.for_all)
        found = read("employee_number full_name", row, answers=answers)
        assert (found.open.name_example, found.entries[0].values["full_name"]) == ("", name)


def test_day_that_could_be_two_is_a_question_and_no_fault():
    columns, row = "employee_number tested_on result", ("7", "3/4/2026", "ok")
    found = read(columns, row)
    assert (found.open.day_example, found.faults) == ("3/4/2026", [])
    answers = Answers(day_form=DayForm.MONTH_FIRST, recorded="now")
    found = read(columns, row, answers=answers)
    assert found.entries[0].values["tested_on"] == date(2026, 3, 4)
    assert not found.open


def test_what_no_column_says_is_asked_once():
    columns = "employee_number full_name certificate_number issued_on tested_on"
    row = ("7", "Ada", "C-1", "2026-01-02", "2026-01-01")
    found = read(columns, row, answers=Answers())
    assert found.open.for_all == ("site", "scheme", "scope")
    assert (found.open.recorded, found.open.results, found.faults) == (True, True, [])


def test_scope_that_differs_by_capitals_or_blanks_is_asked_and_an_unknown_one_chosen():
    columns = "employee_number scope performed_on"
    rows = [("1", "term op", "2026-01-02"), ("2", "term op", "2026-01-02"),
            ("3", "Wickeln", "2026-01-02"), ("4", "CUP-OP", "2026-01-02")]  # fmt: skip
    asked = read(columns, *rows).open.values
    assert [(one.said, one.rows, one.likely) for one in asked] == [
        ("term op", 2, "TERM-OP"),
        ("Wickeln", 1, ""),
    ]
    chosen = {"scope": {"term op": "to:TERM-OP", "Wickeln": "new"}}
    found = read(columns, *rows, answers=Answers(recorded="now", chosen=chosen))
    assert [entry.values["scope"] for entry in found.entries] == [
        "TERM-OP", "TERM-OP", "Wickeln", "CUP-OP"
    ]  # fmt: skip
    assert not found.open


def test_answer_that_names_nothing_there_is_asks_again():
    answers = Answers(recorded="now", chosen={"scope": {"x": "to:NO-SUCH"}})
    found = read("employee_number scope performed_on", ("1", "x", "2026-01-02"), answers=answers)
    assert [one.said for one in found.open.values] == ["x"]


WRONG = {
    "no number": ("employee_number full_name", ("", "Ada"), ("employee_number", "empty")),
    "number": ("employee_number", ("4.71E+05",), ("employee_number", "number")),
    "e-mail": ("employee_number email", ("7", "ada at example"), ("email", "email")),
    "two digits": ("employee_number started_on", ("7", "3.4.26"), ("started_on", "two_digits")),
    "no day": ("employee_number started_on", ("7", "soon"), ("started_on", "no_day")),
    "result": ("employee_number tested_on result", ("7", "2026-01-02", "?"), ("result", "result")),
    "result without its day": ("employee_number tested_on result", ("7", "", "ok"),
                               ("tested_on", "incomplete")),
    "half a certificate": ("employee_number scope certificate_number issued_on",
                           ("7", "CUP-OP", "C-1", ""), ("issued_on", "incomplete")),
    "too long": ("employee_number full_name", ("7", "x" * 121), ("full_name", "too_long")),
    "slash in a number": ("employee_number scope certificate_number issued_on",
                          ("7", "CUP-OP", "C/1", "2026-01-02"), ("certificate_number", "code")),
}  # fmt: skip


@pytest.mark.parametrize("case", WRONG)
def test_row_with_a_fault_is_kept_out_and_the_others_are_read(case):
    columns, row, (field, fault) = WRONG[case]
    good = ["8"] + [""] * (len(columns.split()) - 1)
    found = read(columns, row, good)
    assert [(one.line, one.field, one.fault) for one in found.faults] == [(2, field, fault)]
    assert [entry.line for entry in found.entries] == [3]


def test_cells_that_say_nothing_change_nothing():
    assert read("employee_number email", ("7", "–")).entries[0].values == {"employee_number": "7"}


def test_rows_of_one_person_are_put_together():
    columns = "employee_number full_name scope certificate_number issued_on tested_on result"
    found = read(
        columns,
        ("7a", "Ada", "CUP-OP", "C-1", "2026-01-02", "2026-01-01", "ja"),
        ("7A", "", "TERM-OP", "C-2", "2026-01-03", "2026-01-01", ""),
    )
    [person], wrong = people_of(found.entries, passed_where_not_said=True)
    assert (person.number, person.lines, wrong) == ("7a", [2, 3], [])
    assert [one.number for one in person.certificates] == ["C-1", "C-2"]
    assert [(one.tested_on, one.passed) for one in person.tests.values()] == [
        (date(2026, 1, 1), True)
    ]


def test_rows_that_contradict_or_repeat_one_another_are_faults():
    columns = "employee_number full_name scope certificate_number issued_on"
    found = read(
        columns,
        ("7", "Ada", "CUP-OP", "C-1", "2026-01-02"),
        ("7", "Eve", "", "", ""),
        ("8", "Bo", "CUP-OP", "C-1", "2026-01-02"),
    )
    people, wrong = people_of(found.entries)
    assert [person.number for person in people] == ["7"]
    assert wrong == [
        CellFault(3, Field.FULL_NAME, Fault.CONTRADICTS, "Ada", "2"),
        CellFault(4, Field.CERTIFICATE_NUMBER, Fault.TWICE, "C-1", "2"),
    ]
