"""What differs between two revisions of a criterion, and whether it is stricter by that."""

import pytest

from assessments.domain.criteria_differences import (
    Effect,
    differences,
    overall,
    word_differences,
)

PLAIN = {
    "stage": "soldered",
    "joint_types": ["turret"],
    "alloys": [],
    "how": "measured",
    "low": "0",
    "high": "2",
    "unit": "D",
    "severity": "major",
    "demerits": 15,
    "document": "WI-204",
    "title_en": "Clearance",
    "advice_en": "Slide it.",
}


def change(**fields):
    found = differences(PLAIN, PLAIN | fields)
    return {one.name: one.effect.value for one in found}


def test_by_eye_allowed_again_is_milder():
    [one] = differences(PLAIN | {"by_eye": "never"}, PLAIN | {"by_eye": ""})
    assert (one.name, one.effect.value) == ("by_eye", "milder")


@pytest.mark.parametrize(
    ("fields", "effects"),
    [
        ({}, {}),
        ({"low": "0.5"}, {"low": "stricter"}),
        ({"low": "-1"}, {"low": "milder"}),
        ({"low": ""}, {"low": "milder"}),
        ({"high": "1.5"}, {"high": "stricter"}),
        ({"by_eye": "never"}, {"by_eye": "stricter"}),
        ({"high": "10"}, {"high": "milder"}),
        ({"high": ""}, {"high": "milder"}),
        ({"severity": "critical"}, {"severity": "stricter"}),
        ({"severity": "minor"}, {"severity": "milder"}),
        ({"demerits": 16}, {"demerits": "stricter"}),
        ({"joint_types": ["turret", "hook"]}, {"joint_types": "stricter"}),
        ({"joint_types": ["hook"]}, {"joint_types": "both"}),
        ({"alloys": ["Sn63Pb37"]}, {"alloys": "milder"}),
        ({"document": "WI-205"}, {"document": "alike"}),
        ({"advice_en": "Slide it on."}, {"advice_en": "alike"}),
        ({"title_en": "Gap"}, {"title_en": "untold"}),
        ({"how": "eye"}, {"how": "untold"}),
        # In d, 2 is less than in D: the joint may be no longer than twice the thinner.
        ({"unit": "d"}, {"unit": "stricter"}),
        ({"unit": "mm"}, {"unit": "untold"}),
    ],
)
def test_each_difference_says_what_follows(fields, effects):
    assert change(**fields) == effects


def test_counting_overall_instead_of_conductor_diameters_lets_the_gap_be_longer():
    before = PLAIN | {"unit": "d"}

    [one] = differences(before, PLAIN)

    assert (one.name, one.effect) == ("unit", Effect.MILDER)


@pytest.mark.parametrize(
    ("effects", "together"),
    [
        ([], "alike"),
        (["alike", "alike"], "alike"),
        (["stricter", "alike"], "stricter"),
        (["milder", "stricter"], "both"),
        (["stricter", "untold"], "untold"),
        (["both", "untold"], "both"),
    ],
)
def test_several_differences_come_to_one(effects, together):
    assert overall([Effect(each) for each in effects]).value == together


@pytest.mark.parametrize(
    ("before", "after"),
    [
        ("The end lies close to the terminal.", "The end lies against the terminal and no pin."),
        ("", "New."),
        ("Gone.", ""),
        ("Gleich, hier.", "Gleich hier."),
    ],
)
def test_segments_put_together_are_both_texts(before, after):
    segments = word_differences(before, after)

    assert "".join(one.text for one in segments if one.kind != "new") == before
    assert "".join(one.text for one in segments if one.kind != "gone") == after
