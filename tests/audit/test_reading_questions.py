"""Questions as people type them: a number, and a day in any of the usual ways."""

import doctest
from datetime import date

import pytest

from audit.domain import who_was_that
from audit.domain.who_was_that import (
    Kind,
    NotUnderstood,
    Question,
    Trouble,
    Words,
    read_question,
)

TODAY = date(2026, 11, 25)
DAY = date(2026, 5, 3)


@pytest.mark.parametrize(
    "text",
    [
        "47 2026-05-03",
        "47, 2026-5-3",
        "2026-05-03 47",
        "  47   on 2026-05-03 ",
        "47 3 May 2026",
        "47 on 3. May 2026",
        "47 on 3rd of May 2026".replace("of ", ""),
        "47 May 3, 2026",
        "47 May 3 2026",
        "47 on 3 may",
        "47 on May 3rd",
        "47 3.5.2026",
        "47 03.05.2026",
        "who was 47 on 3 May 2026?",
    ],
)
def test_number_and_day_in_any_order_and_writing(text):
    assert read_question(text, TODAY) == Question("47", DAY, Kind.EITHER, "47")


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("stamp 47 on 3 May 2026", ("47", DAY, Kind.STAMP)),
        ("Stamp: QA 47, 2026-05-03", ("QA 47", DAY, Kind.STAMP)),
        ("who was stamp 12 on May 3 2026?", ("12", DAY, Kind.STAMP)),
        ("stamp 47", ("47", None, Kind.STAMP)),
        ("unit SN-0419", ("SN-0419", None, Kind.UNIT)),
        ("work order 88-2026", ("88-2026", None, Kind.UNIT)),
        ("WO 88 2026-05-03", ("88", DAY, Kind.UNIT)),
        ("SN-0419/2", ("SN-0419/2", None, Kind.EITHER)),
        ("SN-2026-05-03-7", ("SN-2026-05-03-7", None, Kind.EITHER)),
        ("0047", ("0047", None, Kind.EITHER)),
        ("WO-41441", ("WO-41441", None, Kind.EITHER)),
        ("wo#7", ("7", None, Kind.UNIT)),
        ("order", ("order", None, Kind.EITHER)),
        ("12-05-2026", ("12-05-2026", None, Kind.EITHER)),
        ("unit 12-05-2026", ("12-05-2026", None, Kind.UNIT)),
        ("SN-12-05-2026", ("SN-12-05-2026", None, Kind.EITHER)),
        ("12-05-2026-7", ("12-05-2026-7", None, Kind.EITHER)),
        ("unit 7 on 13-05-2026", ("7", date(2026, 5, 13), Kind.UNIT)),
        ("Mayfield 12", ("Mayfield 12", None, Kind.EITHER)),
    ],
)
def test_what_the_number_is_said_to_be(text, expected):
    question = read_question(text, TODAY)

    assert (question.number, question.day, question.kind) == expected


def test_number_is_kept_with_the_word_before_it():
    assert read_question("WO 88 on 3 May", TODAY).written == "WO 88"


@pytest.mark.parametrize(
    ("text", "day"),
    [
        ("47 25 Nov", date(2026, 11, 25)),
        ("47 26 Nov", date(2025, 11, 26)),
        ("47 29 Feb", date(2024, 2, 29)),
        ("47 31 Dec", date(2025, 12, 31)),
        ("47 13/05/2026", date(2026, 5, 13)),
        ("47 05/13/2026", date(2026, 5, 13)),
        ("47 5/5/2026", date(2026, 5, 5)),
        ("47 13-05-2026", date(2026, 5, 13)),
        ("05-13-2026 stamp 47", date(2026, 5, 13)),
        ("47 3 mayo 2026", date(2026, 5, 3)),
        ("47 3 Sept 2026", date(2026, 9, 3)),
    ],
)
def test_days_without_a_year_in_figures_and_in_another_language(text, day):
    assert read_question(text, TODAY, {"mayo": 5}).day == day


@pytest.mark.parametrize(
    ("text", "trouble", "part"),
    [
        ("47 2026-02-30", Trouble.NO_SUCH_DAY, "2026-02-30"),
        ("47 on 30 Feb 2026", Trouble.NO_SUCH_DAY, "30 Feb 2026"),
        ("47 on 30 Feb", Trouble.NO_SUCH_DAY, "30 Feb"),
        ("47 2026-13-01", Trouble.NO_SUCH_DAY, "2026-13-01"),
        ("47 31.4.2026", Trouble.NO_SUCH_DAY, "31.4.2026"),
        ("47 0000-01-01", Trouble.NO_SUCH_DAY, "0000-01-01"),
        ("47 3/5/2026", Trouble.TWO_WAYS, "3/5/2026"),
        ("47 on 03-05-2026", Trouble.TWO_WAYS, "03-05-2026"),
        ("47 31-04-2026", Trouble.NO_SUCH_DAY, "31-04-2026"),
        ("2026-05-03", Trouble.NO_NUMBER, "2026-05-03"),
        ("on 3 May 2026?", Trouble.NO_NUMBER, "on 3 May 2026?"),
        ("  ", Trouble.NO_NUMBER, ""),
    ],
)
def test_what_has_no_answer_says_which_part_is_the_trouble(text, trouble, part):
    with pytest.raises(NotUnderstood) as refused:
        read_question(text, TODAY)

    assert (refused.value.trouble, refused.value.text) == (trouble, part)


def test_examples_of_the_docstrings_run():
    assert doctest.testmod(who_was_that).failed == 0


GERMAN = Words(
    stamp=("stempel",),
    unit=("gerät", "auftrag"),
    person=("personalnummer",),
    asking=("wer war", "wer hatte"),
    joining=("am", "vom"),
)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Stempel 47 am 3. Mai 2026", ("47", DAY, Kind.STAMP)),
        ("wer hatte Stempel 47 am 03.05.2026?", ("47", DAY, Kind.STAMP)),
        ("Gerät: SN-0419", ("SN-0419", None, Kind.UNIT)),
        ("Auftrag 12-05-2026", ("12-05-2026", None, Kind.UNIT)),
        ("Personalnummer 20031 vom 3. Mai", ("20031", DAY, Kind.PERSON)),
        ("stamp 47 on 3 May 2026", ("47", DAY, Kind.STAMP)),
    ],
)
def test_words_of_another_language_are_understood_beside_the_english_ones(text, expected):
    found = read_question(text, TODAY, {"mai": 5}, GERMAN)
    assert (found.number, found.day, found.kind) == expected


def test_words_of_another_language_are_numbers_or_names_without_it():
    assert read_question("Stempel 47", TODAY).kind == Kind.EITHER
