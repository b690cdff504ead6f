"""What a drawn fault costs: each is charged to a criterion that speaks of it."""

import pytest

from assessments.content.criteria import REVISION_3, TIN_LEAD
from demo.drawn import FAULTS
from demo.scenario.boards import criterion_failed
from demo.scenario.faults import CRITERIA_BY_FAULT, NOTES, WEIGHTS
from training.content.exercises import EXERCISES

JOINT_TYPE = {"turret_two": "turret"}
PAIRS = [(kind, fault) for kind, faults in FAULTS.items() for fault in faults]

# A word that the criterion's own words for what fails have to hold.
SPEAKS_OF = {
    "wrap_short": "enough|too short|too little|too small",
    "wrap_long": "goes",
    "wire_not_on_base": "gap",
    "clearance_none": "insulation touches",
    "clearance_wide": "bare wire",
    "insufficient": "thread of solder|thin collar",
    "excess": "bulges|hides",
    "nonwetted": "stands off|turns away",
    "dewetted": "drawn back",
    "cold": "lumpy",
    "disturbed": "ripple",
    "icicle": "icicle|spike",
    "bridge": "joins this joint",
    "strand_nicked": "nicked",
    "strand_out": "strand|one stands off by itself",
    "birdcage": "cage",
    "insulation_burnt": "burnt|charred",
    "insulation_cut": "cut",
    "flux_residue": "Flux",
    "cup_underfilled": "not filled",
    "cup_overflow": "run over",
    "cup_not_seated": "short of the bottom",
    "hole_underfilled": "no solder",
    "hole_no_wetting": "no fillet",
    "lead_too_long": "long",
    "tinning_gap_none": "reaches the insulation",
    "tinning_uneven": "thick",
}


def asked_of(kind: str) -> dict:
    """What is asked of a drawn kind of joint, by code, at the stages where it is practised."""
    joint_type = JOINT_TYPE.get(kind, kind)
    stages = {
        stage
        for exercise in EXERCISES
        if joint_type in {position.joint_type for position in exercise.positions}
        for stage in exercise.stages
    }
    return {
        one.code: one
        for one in REVISION_3.criteria
        if one.of == "joint"
        and joint_type in one.joint_types
        and one.stage in stages
        and (not one.alloys or TIN_LEAD[0] in one.alloys)
    }


@pytest.mark.parametrize(("kind", "fault"), PAIRS)
def test_a_fault_is_charged_to_a_criterion_that_speaks_of_it(kind, fault):
    asked = asked_of(kind)
    criterion = asked[criterion_failed(fault, asked)]
    assert any(words in criterion.reject_text for words in SPEAKS_OF[fault].split("|"))


@pytest.mark.parametrize(("kind", "fault"), PAIRS)
def test_only_too_little_heat_is_charged_to_a_surface_that_has_not_flowed(kind, fault):
    assert (criterion_failed(fault, asked_of(kind)) == "S-08") == (
        fault == "cold" and kind != "wire"
    )


# Words that name one fault of the solder, whoever reads them.
NAMES_OF_FAULTS = ("lumpy", "void", "spike", "ripple", "bulges", "drawn back into beads")


@pytest.mark.parametrize("word", NAMES_OF_FAULTS)
@pytest.mark.parametrize("kind", FAULTS)
def test_no_two_criteria_of_a_joint_name_the_same_fault_of_its_solder(kind, word):
    solder = [one for one in asked_of(kind).values() if one.stage == "soldered" or kind == "wire"]
    naming = [one.code for one in solder if word in one.reject_text]
    assert len(naming) <= 1


def test_nothing_is_charged_that_cannot_be_drawn():
    drawn = {fault for faults in FAULTS.values() for fault in faults}
    assert set(CRITERIA_BY_FAULT) == drawn
    assert set(NOTES) | set(WEIGHTS) <= drawn
