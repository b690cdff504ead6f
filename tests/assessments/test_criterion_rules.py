"""What of a criterion fits together, and what its note says of the source."""

from decimal import Decimal

import pytest

from assessments.content.criteria import REVISION_2
from assessments.domain.criterion_rules import (
    QUANTITIES,
    UNITS,
    UNITS_OF,
    fault_of_limits,
    next_code,
)
from assessments.domain.source_notes import without_doubts
from assessments.models import Measurement


@pytest.mark.parametrize(
    ("fields", "fault"),
    [
        ({}, ""),
        ({"how": "measured"}, "no_limit"),
        ({"how": "measured", "high": "2"}, "no_unit"),
        ({"how": "measured", "quantity": "clearance", "high": "2", "unit": "deg"}, "wrong_unit"),
        (
            {"how": "measured", "quantity": "clearance", "high": "2", "unit": "percent"},
            "wrong_unit",
        ),
        ({"how": "measured", "quantity": "clearance", "low": "-1", "unit": "D"}, ""),
        ({"how": "measured", "quantity": "wrap", "low": "-1", "unit": "deg"}, "negative"),
        ({"how": "measured", "quantity": "wrap", "high": "720", "unit": "deg"}, ""),
        ({"how": "measured", "quantity": "wrap", "high": "720.1", "unit": "deg"}, "beyond_scale"),
        ({"how": "measured", "quantity": "fill", "low": "75", "unit": "mm"}, "wrong_unit"),
        ({"low": "2", "high": "2", "unit": "mm"}, ""),
        ({"low": "2.1", "high": "2", "unit": "mm"}, "crossed"),
        ({"unit": "mm"}, "unit_alone"),
        ({"quantity": "torque"}, "unknown"),
        ({"high": "2", "unit": "inch"}, "unknown"),
    ],
)
def test_limits_quantity_and_unit_fit_each_other(fields, fault):
    given = {"how": "eye", "quantity": "", "low": None, "high": None, "unit": ""} | fields
    for side in ("low", "high"):
        given[side] = None if given[side] is None else Decimal(given[side])

    assert fault_of_limits(**given) == fault


@pytest.mark.parametrize("criterion", REVISION_2.criteria, ids=lambda one: one.code)
def test_what_comes_along_fits(criterion):
    fault = fault_of_limits(
        how=criterion.how,
        quantity=criterion.quantity,
        low=criterion.low,
        high=criterion.high,
        unit=criterion.unit,
    )
    assert fault == ""


def test_every_quantity_that_is_measured_on_photographs_has_its_units():
    assert set(QUANTITIES) == set(Measurement.Quantity.values) - {"scale"}
    assert all(set(units) <= set(UNITS) for units in UNITS_OF.values())


@pytest.mark.parametrize(
    ("stage", "of", "code"),
    [
        ("soldered", "joint", "S-18"),
        ("formed", "joint", "F-01"),
        ("cleaned", "board", "B-06"),
    ],
)
def test_the_next_code_was_never_used(stage, of, code):
    assert next_code(stage, of, ["S-02", "S-17", "B-05", "S-x", "SX-99"]) == code


@pytest.mark.parametrize(
    ("note", "left"),
    [
        ("", ""),
        ("Common practice.", "Common practice."),
        ("From memory: check in the document.", ""),
        ("The value is that of class 3. From memory.", "The value is that of class 3."),
        ("Read in an excerpt: check against the revision you bought. Table 2.", "Table 2."),
        ("Aus dem Gedächtnis: im Dokument prüfen. Tabelle 2.", "Tabelle 2."),
    ],
)
def test_a_note_loses_its_doubts_and_nothing_else(note, left):
    assert without_doubts(note) == left
