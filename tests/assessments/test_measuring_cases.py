"""One table of measurements holds the server and the browser to the same results."""

import pytest

from assessments.domain.marks import is_by_scale
from tests.assessments.measuring_cases import load, measured

CLOSE = 1e-6
CASES = load()


@pytest.mark.parametrize("case", CASES, ids=lambda case: case["name"])
def test_the_server_measures_what_the_table_says(case):
    assert_same(measured(case), case["expected"])


def test_what_is_by_the_scale_is_what_has_a_term_of_it():
    for case in CASES:
        said = case["expected"]
        if "terms" in said:
            by_scale = is_by_scale(case["input"]["quantity"], said["unit"])
            assert by_scale == ("scale" in said["terms"]), case["name"]


def test_the_table_has_every_quantity_measured_and_every_refusal():
    from assessments.domain.geometry import MarksRefused, Quantity

    quantities = {one["input"]["quantity"] for one in CASES if "value" in one["expected"]}
    assert quantities == {one.value for one in Quantity}
    refused = {one["expected"].get("refused") for one in CASES} - {None}
    every = {one.code for one in MarksRefused.__subclasses__()}
    assert every - refused == {"too_many_marks"}  # The browser takes no more than there are.


def assert_same(found, expected):
    assert found.get("refused") == expected.get("refused")
    if "refused" in expected:
        return
    assert found["unit"] == expected["unit"]
    assert found["remarks"] == expected["remarks"]
    for name in ("value", "u"):
        assert found[name] == pytest.approx(expected[name], rel=CLOSE, abs=CLOSE), name
    assert found["terms"] == pytest.approx(expected["terms"], rel=CLOSE, abs=CLOSE)
    assert found["also"] == pytest.approx(expected["also"], rel=CLOSE, abs=CLOSE)
