"""Codes of an app, against the numbers that the standards print."""

import pytest

from people.domain.totp import code_of_step, matching_step

SECRET = "GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ"  # "12345678901234567890", as in both standards
OF_RFC_4226 = [
    *("755224", "287082", "359152", "969429", "338314"),
    *("254676", "287922", "162583", "399871", "520489"),
]


@pytest.mark.parametrize(
    ("step", "code"),
    list(enumerate(OF_RFC_4226)),
)
def test_codes_are_those_of_rfc_4226_appendix_d(step, code):
    assert code_of_step(SECRET, step) == code


@pytest.mark.parametrize(
    ("at_s", "code"),
    [
        (59, "94287082"),
        (1111111109, "07081804"),
        (1111111111, "14050471"),
        (1234567890, "89005924"),
        (2000000000, "69279037"),
        (20000000000, "65353130"),
    ],
)
def test_codes_are_those_of_rfc_6238_appendix_b(at_s, code):
    assert code_of_step(SECRET, at_s // 30, digits=8) == code


@pytest.mark.parametrize(
    ("late_s", "matches"),
    [(-31, False), (-30, True), (0, True), (29, True), (59, True), (60, False)],
    ids=lambda value: str(value),
)
def test_code_is_good_for_a_step_each_way(late_s, matches):
    at_s = 1_700_000_010  # Where a step begins.
    code = code_of_step(SECRET, at_s // 30)
    assert (matching_step(SECRET, code, at_s + late_s) is not None) == matches


def test_no_code_is_good_twice_nor_an_earlier_one():
    now = 1_700_000_010 // 30
    used = matching_step(SECRET, code_of_step(SECRET, now), now * 30)
    assert used == now
    for step in (now - 1, now):
        assert matching_step(SECRET, code_of_step(SECRET, step), now * 30, after=used) is None
    assert matching_step(SECRET, code_of_step(SECRET, now + 1), now * 30, after=used) == now + 1


@pytest.mark.parametrize("typed", ["", "12345", "1234567", "abcdef", "é23456", "²³¹²³¹"])
def test_what_is_no_code_matches_nothing(typed):
    assert matching_step(SECRET, typed, 1_700_000_000) is None


def test_code_may_be_typed_with_a_space():
    assert matching_step(SECRET, "287 082", 30) == 1
