"""Canonical JSON against the examples of RFC 8785 itself."""

import json
import struct
from datetime import UTC, date, datetime, timedelta, timezone
from decimal import Decimal
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st

from records.domain.canonical import NotCanonical, canonical_text, instant_text, sha256_of_text

# RFC 8785, appendix B: the bits of a double, and how it is written.
NUMBERS = [
    ("0000000000000000", "0"),
    ("8000000000000000", "0"),
    ("0000000000000001", "5e-324"),
    ("8000000000000001", "-5e-324"),
    ("7fefffffffffffff", "1.7976931348623157e+308"),
    ("ffefffffffffffff", "-1.7976931348623157e+308"),
    ("4340000000000000", "9007199254740992"),
    ("c340000000000000", "-9007199254740992"),
    ("4430000000000000", "295147905179352830000"),
    ("44b52d02c7e14af5", "9.999999999999997e+22"),
    ("44b52d02c7e14af6", "1e+23"),
    ("44b52d02c7e14af7", "1.0000000000000001e+23"),
    ("444b1ae4d6e2ef4e", "999999999999999700000"),
    ("444b1ae4d6e2ef4f", "999999999999999900000"),
    ("444b1ae4d6e2ef50", "1e+21"),
    ("3eb0c6f7a0b5ed8c", "9.999999999999997e-7"),
    ("3eb0c6f7a0b5ed8d", "0.000001"),
    ("41b3de4355555553", "333333333.3333332"),
    ("41b3de4355555554", "333333333.33333325"),
    ("41b3de4355555555", "333333333.3333333"),
    ("41b3de4355555556", "333333333.3333334"),
    ("41b3de4355555557", "333333333.33333343"),
    ("becbf647612f3696", "-0.0000033333333333333333"),
    ("43143ff3c1cb0959", "1424953923781206.2"),
]


@pytest.mark.parametrize(("bits", "written"), NUMBERS, ids=[bits for bits, _ in NUMBERS])
def test_numbers_are_written_as_in_appendix_b(bits, written):
    [number] = struct.unpack(">d", bytes.fromhex(bits))
    assert canonical_text([number]) == f"[{written}]"


@pytest.mark.parametrize("bits", ["7fffffffffffffff", "7ff0000000000000", "fff0000000000000"])
def test_what_appendix_b_calls_invalid_is_refused(bits):
    [number] = struct.unpack(">d", bytes.fromhex(bits))
    with pytest.raises(NotCanonical):
        canonical_text({"height_mm": number})


def test_the_sample_of_section_3_2_2_comes_out_byte_for_byte():
    sample = json.loads(
        r"""{"numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],
        "string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/",
        "literals": [null, true, false]}"""
    )
    # Section 3.2.4 gives the bytes in hexadecimal.
    expected = bytes.fromhex(
        "7b226c69746572616c73223a5b6e756c6c2c747275652c66616c73655d2c22"
        "6e756d62657273223a5b3333333333333333332e333333333333332c31652b"
        "33302c342e352c302e3030322c31652d32375d2c22737472696e67223a22e2"
        "82ac245c75303030665c6e4127425c225c5c5c5c5c222f227d"
    )
    assert canonical_text(sample).encode() == expected


def test_keys_are_sorted_by_utf_16_code_units_as_in_section_3_2_3():
    sample = json.loads(
        r"""{"\u20ac": "Euro Sign", "\r": "Carriage Return",
        "\ufb33": "Hebrew Letter Dalet With Dagesh", "1": "One",
        "\ud83d\ude00": "Emoji: Grinning Face", "\u0080": "Control",
        "\u00f6": "Latin Small Letter O With Diaeresis"}"""
    )
    assert list(json.loads(canonical_text(sample)).values()) == [
        "Carriage Return",
        "One",
        "Control",
        "Latin Small Letter O With Diaeresis",
        "Euro Sign",
        "Emoji: Grinning Face",
        "Hebrew Letter Dalet With Dagesh",
    ]


NAIVE = datetime(2026, 5, 4, tzinfo=UTC).replace(tzinfo=None)
JSON_VALUES = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(2**53) + 1, 2**53 - 1)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(st.characters(codec="utf-8"), max_size=8),
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(st.text(st.characters(codec="utf-8"), max_size=4), inner, max_size=4)
    ),
    max_leaves=12,
)


@given(JSON_VALUES)
def test_reading_canonical_text_gives_the_value_back(value):
    text = canonical_text(value)
    read = json.loads(text, parse_int=float)
    assert read == value
    assert canonical_text(read) == text


@given(st.dictionaries(st.text(st.characters(codec="utf-8"), max_size=4), st.integers(0, 9)))
def test_the_order_in_which_members_were_written_changes_nothing(value):
    assert canonical_text(dict(reversed(value.items()))) == canonical_text(value)


@pytest.mark.parametrize(
    ("value", "written"),
    [
        pytest.param(date(2024, 2, 29), '"2024-02-29"', id="date"),
        pytest.param(
            datetime(2026, 5, 4, 9, 30, tzinfo=timezone(timedelta(hours=2))),
            '"2026-05-04T07:30:00.000000Z"',
            id="instant in another zone",
        ),
        pytest.param(
            datetime(2026, 5, 4, 7, 30, 0, 1, tzinfo=UTC),
            '"2026-05-04T07:30:00.000001Z"',
            id="microseconds",
        ),
        pytest.param(Decimal("79.90"), '"79.90"', id="decimal keeps its digits"),
        pytest.param(Decimal("1E+2"), '"100"', id="decimal without exponent"),
        pytest.param(
            UUID("6f3c1d0a-54f8-4f6b-9a53-1f1f6a1f7c11"),
            '"6f3c1d0a-54f8-4f6b-9a53-1f1f6a1f7c11"',
            id="uuid",
        ),
        pytest.param((1, 2), "[1,2]", id="tuple"),
    ],
)
def test_what_json_has_no_word_for_becomes_text(value, written):
    assert canonical_text(value) == written


@pytest.mark.parametrize(
    "value",
    [
        pytest.param(NAIVE, id="naive datetime"),
        pytest.param(Decimal("NaN"), id="decimal that is no number"),
        pytest.param({1: "one"}, id="key that is not text"),
        pytest.param({"stages": {"soldered"}}, id="set, which has no order"),
        pytest.param(2**53, id="integer that a double cannot tell from its neighbour"),
        pytest.param("\ud800", id="half a surrogate pair"),
        pytest.param(b"bytes", id="bytes"),
    ],
)
def test_values_without_one_form_are_refused(value):
    with pytest.raises(NotCanonical):
        canonical_text(value)


def test_naive_instants_are_refused_with_what_to_do():
    with pytest.raises(NotCanonical, match="give an aware datetime"):
        instant_text(NAIVE)


def test_hashes_are_over_utf_8():
    # FIPS 180-4 with the bytes C2 B5 (MICRO SIGN), worked out with coreutils' sha256sum.
    assert sha256_of_text("µ") == (
        "5a072f1be4c3ee04849a9ad686b287d12d6a99dc4eba13c7a2ca1844e7923a0a"
    )
