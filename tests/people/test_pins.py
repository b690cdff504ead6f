"""Which PINs are too easily guessed, and how long wrong tries wait."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from people.domain.pins import MAX_WAIT_S, PinFault, pin_fault, wait_after_s

PINS = st.text("0123456789", min_size=4, max_size=8)


@pytest.mark.parametrize(
    ("pin", "fault"),
    [
        ("123", "length"), ("123456789", "length"), ("12a4", "length"), ("", "length"),
        ("١٢٨٣", "length"), ("0000", "repeated"), ("1212", "repeated"), ("471471", "repeated"),
        ("1234", "run"), ("4321", "run"), ("7890", "run"), ("0987", "run"), ("345678", "run"),
        ("1984", "year"), ("2026", "year"), ("1010", "repeated"),
        ("2047", "year"), ("3071", "known"), ("903071", "known"), ("2580", None), ("4471", None),
        ("12345679", None), ("198427", None),
    ],
)  # fmt: skip
def test_pin_is_taken_or_not(pin, fault):
    assert pin_fault(pin, ("3071", "CARD-3071")) == (fault and PinFault(fault))


@given(PINS, st.lists(st.text("0123456789-ABC", max_size=10), max_size=3))
def test_what_is_taken_is_no_run_no_block_and_nobodys_number(pin, known):
    if pin_fault(pin, known) is not None:
        return
    assert len(set(pin)) > 1
    assert pin not in "01234567890123456789"
    assert pin[::-1] not in "01234567890123456789"
    assert not any(pin in identifier for identifier in known)


def test_few_of_the_pins_are_refused():
    refused = [f"{n:04d}" for n in range(10_000) if pin_fault(f"{n:04d}")]
    # 100 of two repeated digits, 10 runs up and 10 down, 200 years, two of them 1919 and 2020.
    assert len(refused) == 100 + 20 + 200 - 2


@given(st.integers(0, 500))
def test_waits_never_shorten_and_end_at_an_hour(failures):
    assert wait_after_s(failures) <= wait_after_s(failures + 1) <= MAX_WAIT_S
    assert (wait_after_s(failures) == 0) == (failures < 3)
