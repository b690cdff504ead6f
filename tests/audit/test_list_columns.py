"""What headings suggest, and how days of lists from anywhere are read."""

from datetime import date

import pytest

from audit.domain.list_columns import Field, suggest
from people.domain.list_days import DayFault, DayForm, NotADay, forms_that_fit, read_day

HEADINGS = {
    "english": (
        ["Employee No.", "Name", "Site", "Scope", "Cert. No.", "Issued", "Vision test", "Result"],
        ["employee_number", "full_name", "site", "scope", "certificate_number", "issued_on",
         "tested_on", "result"],
    ),
    "german": (
        ["Pers.-Nr.", "Name", "Vorname", "Geltungsbereich", "Zertifikatsnr.", "Ausgestellt am",
         "Sehtest", "Ergebnis Sehtest", "Vorgesetzter", "Zuletzt gelötet"],
        ["employee_number", "family_name", "given_name", "scope", "certificate_number",
         "issued_on", "tested_on", "result", "line_lead", "performed_on"],
    ),
    "last days are not issue days": (
        ["No", "Valid until", "gültig bis", "Remark"], ["employee_number", "", "", ""]
    ),
    "each field once": (["Name", "Full name"], ["", "full_name"]),
    "own words": (["EMPLOYEE_NUMBER", "Full Name"], ["employee_number", "full_name"]),
}  # fmt: skip


@pytest.mark.parametrize("case", HEADINGS)
def test_headings_suggest(case):
    headings, expected = HEADINGS[case]
    assert suggest(headings) == expected


def test_what_may_not_be_brought_is_not_suggested():
    assert suggest(["Number", "Issued on"], {Field.EMPLOYEE_NUMBER}) == ["employee_number", ""]


DAYS = {
    "2026-03-09": date(2026, 3, 9),
    "2026-03-09 00:00:00": date(2026, 3, 9),
    "20260309": date(2026, 3, 9),
    "9.3.2026": date(2026, 3, 9),
    "09. 03. 2026": date(2026, 3, 9),
    "9 Mar 2026": date(2026, 3, 9),
    "9. März 2026": date(2026, 3, 9),
    "March 9, 2026": date(2026, 3, 9),
    "9-Dez-2026": date(2026, 12, 9),
    "13/3/2026": date(2026, 3, 13),
    "3/13/2026": date(2026, 3, 13),
    "5/5/2026": date(2026, 5, 5),
    "46090": date(2026, 3, 9),
    "44196": date(2020, 12, 31),
}


@pytest.mark.parametrize("text", DAYS)
def test_day_is_read(text):
    assert read_day(text) == DAYS[text]


def test_slashes_are_read_as_was_said():
    assert read_day("3/4/2026", DayForm.DAY_FIRST) == date(2026, 4, 3)
    assert read_day("3-4-2026", DayForm.MONTH_FIRST) == date(2026, 3, 4)


NO_DAYS = {
    "3/4/2026": DayFault.OPEN,
    "3.4.26": DayFault.TWO_DIGITS,
    "3/4/26": DayFault.TWO_DIGITS,
    "9-Mar-26": DayFault.TWO_DIGITS,
    "30.2.2026": DayFault.NO_DAY,
    "9 Decorate 2026": DayFault.NO_DAY,
    "soon": DayFault.NO_DAY,
    "9" * 5000: DayFault.NO_DAY,
    "99999": DayFault.NO_DAY,
    "1.1.1026": DayFault.YEAR,
}


@pytest.mark.parametrize("text", NO_DAYS, ids=lambda text: text[:12])
def test_what_is_no_day_or_two_is_refused(text):
    with pytest.raises(NotADay) as caught:
        read_day(text)
    assert caught.value.fault is NO_DAYS[text]


@pytest.mark.parametrize(
    ("texts", "forms", "example"),
    [
        (["3/4/2026", "2026-03-09"], {"day_first", "month_first"}, "3/4/2026"),
        (["3/4/2026", "31/3/2026"], {"day_first"}, "3/4/2026"),
        (["3/4/2026", "3/31/2026"], {"month_first"}, "3/4/2026"),
        (["3/31/2026", "31/3/2026"], set(), ""),
        (["9.3.2026", "46090"], {"day_first", "month_first"}, ""),
    ],
    ids=["open", "day first", "month first", "mixed", "nothing open"],
)
def test_other_days_tell_which_number_is_the_day(texts, forms, example):
    found, shown = forms_that_fit(texts)
    assert ({str(form) for form in found}, shown) == (forms, example)
