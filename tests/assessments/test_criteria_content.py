"""The criteria brought along can be judged by, and say where they come from."""

import re
from collections import Counter
from decimal import Decimal

import pytest

from assessments.content import CriterionContent
from assessments.content.criteria import ALLOYS, REVISION_1, REVISION_2, REVISIONS
from assessments.models import Criterion
from tests.assessments.drawing_files import drawing
from training.content import JOINT_TYPES, STAGES
from training.content.exercises import EXERCISES
from training.models import JointType, Stage

EVERY = [
    pytest.param(one, id=f"{one.code} of rev. {revision.revision}")
    for revision in REVISIONS
    for one in revision.criteria
]
each_criterion = pytest.mark.parametrize("criterion", EVERY)
each_revision = pytest.mark.parametrize(
    "revision", REVISIONS, ids=lambda one: f"rev. {one.revision}"
)

UNITS = {
    "wrap": {"deg"},
    "clearance": {"d", "D", "mm"},
    "length": {"d", "D", "mm"},
    "fillet": {"ratio"},
    "wetting_angle": {"deg"},
    "fill": {"percent"},
}
DEMERITS = {"critical": range(36, 101), "major": range(10, 36), "minor": range(1, 10)}
LETTERS = {"prepared": "P", "formed": "F", "soldered": "S", "cleaned": "C"}


@each_criterion
def test_says_in_words_what_is_asked_what_fails_and_what_to_try(
    criterion: CriterionContent,
) -> None:
    assert 3 < len(criterion.title) < 45
    for text in (criterion.text, criterion.reject_text, criterion.try_this):
        assert len(text) > 20
        assert text.endswith(".")
    assert len({criterion.text, criterion.reject_text, criterion.try_this}) == 3


@each_criterion
def test_figures_stand_in_the_limits_and_not_in_the_words(criterion: CriterionContent) -> None:
    if criterion.low is not None or criterion.high is not None:
        assert not re.search(r"\d", criterion.text + criterion.reject_text)


@each_criterion
def test_code_begins_with_its_stage_or_the_board(criterion: CriterionContent) -> None:
    letter = "B" if criterion.of == "board" else LETTERS[criterion.stage]
    assert re.fullmatch(rf"{letter}-\d\d", criterion.code)


@each_criterion
def test_measured_criterion_has_a_quantity_a_limit_and_a_unit(criterion: CriterionContent) -> None:
    limits = [limit for limit in (criterion.low, criterion.high) if limit is not None]
    if criterion.how == "measured":
        assert criterion.quantity
        assert limits
    assert bool(criterion.unit) == bool(limits)
    assert all(isinstance(limit, Decimal) for limit in limits)
    assert limits == sorted(limits)
    if criterion.quantity:
        assert criterion.unit in UNITS[criterion.quantity]


@each_criterion
def test_says_where_it_comes_from(criterion: CriterionContent) -> None:
    assert criterion.source_note.endswith(".")
    if criterion.document:
        assert criterion.clause
        assert re.search(r"read|from memory|as cited", criterion.source_note, re.IGNORECASE), (
            "the note says how far the document was read"
        )
    else:
        assert not criterion.clause
        assert criterion.source_note.startswith("Common practice")


@each_criterion
def test_no_limit_claims_that_a_site_confirmed_it(criterion: CriterionContent) -> None:
    assert criterion.confirmed is False


@each_criterion
def test_demerits_fit_the_severity(criterion: CriterionContent) -> None:
    assert criterion.demerits in DEMERITS[criterion.severity]


@each_criterion
def test_shows_an_acceptable_and_an_unacceptable_drawing(criterion: CriterionContent) -> None:
    accept, reject = drawing(criterion.accept_drawing), drawing(criterion.reject_drawing)
    assert "d-accept" in accept.classes
    assert "d-reject" in reject.classes


@each_criterion
def test_applies_to_known_joints_alloys_and_stages(criterion: CriterionContent) -> None:
    assert criterion.joint_types
    assert set(criterion.joint_types) <= set(JOINT_TYPES)
    assert set(criterion.alloys) <= set(ALLOYS)
    assert criterion.stage in STAGES


@each_criterion
def test_fits_the_table_it_is_kept_in(criterion: CriterionContent) -> None:
    row = Criterion(
        order=1,
        code=criterion.code,
        stage=criterion.stage,
        of=criterion.of,
        joint_types=list(criterion.joint_types),
        alloys=list(criterion.alloys),
        how=criterion.how,
        quantity=criterion.quantity,
        low=criterion.low,
        high=criterion.high,
        unit=criterion.unit,
        severity=criterion.severity,
        demerits=criterion.demerits,
        accept_drawing=criterion.accept_drawing,
        reject_drawing=criterion.reject_drawing,
        texts=criterion.texts(),
        document=criterion.document,
        clause=criterion.clause,
        source_note=criterion.source_note,
    )
    row.clean_fields(exclude=["criteria_set"])
    assert (row.title, row.text) == (criterion.title, criterion.text)
    assert (row.reject_text, row.advice) == (criterion.reject_text, criterion.try_this)


def test_joint_types_and_stages_are_those_of_the_tables() -> None:
    assert tuple(JointType.values) == JOINT_TYPES
    assert tuple(Stage.values) == STAGES


@each_revision
def test_codes_are_given_once_and_in_the_order_of_the_work(revision) -> None:
    codes = [one.code for one in revision.criteria]
    assert len(codes) == len(set(codes))
    stages = [STAGES.index(one.stage) for one in revision.criteria]
    assert stages == sorted(stages)


@each_revision
def test_each_fault_has_a_drawing_of_its_own(revision) -> None:
    shown = Counter(one.reject_drawing for one in revision.criteria)
    assert max(shown.values()) == 1


@each_revision
@pytest.mark.parametrize("exercise", EXERCISES, ids=lambda one: one.code)
def test_every_joint_of_an_exercise_is_judged_at_every_stage_asked_for(revision, exercise) -> None:
    for stage in exercise.stages:
        for joint_type in {position.joint_type for position in exercise.positions}:
            assert [
                one
                for one in revision.criteria
                if one.stage == stage and one.of == "joint" and joint_type in one.joint_types
            ], f"{joint_type} has no criterion when {stage}"


@each_revision
@pytest.mark.parametrize("joint_type", JOINT_TYPES)
def test_a_good_joint_wants_few_judgements_that_cannot_be_accepted_together(
    revision, joint_type: str
) -> None:
    alone = [
        one
        for one in revision.criteria
        if one.of == "joint"
        and joint_type in one.joint_types
        and (one.severity == "critical" or one.how == "measured")
    ]
    assert 1 <= len(alone) <= 3
    assert all(count <= 3 for count in Counter(one.stage for one in alone).values())


@each_revision
@pytest.mark.parametrize("stage", STAGES)
@pytest.mark.parametrize("joint_type", JOINT_TYPES)
def test_a_stage_has_no_more_criteria_of_a_joint_than_ten(
    revision, stage: str, joint_type: str
) -> None:
    asked = [
        one
        for one in revision.criteria
        if one.of == "joint" and one.stage == stage and joint_type in one.joint_types
    ]
    assert len(asked) <= 10


def test_lustre_is_asked_of_tin_lead_alone() -> None:
    by_alloy = [one for one in REVISION_2.criteria if one.alloys]
    assert [one.code for one in by_alloy] == ["S-10"]
    assert all("Pb" in alloy for alloy in by_alloy[0].alloys)
    assert by_alloy[0].severity == "minor"


def test_revision_2_stands_and_revision_1_is_retired() -> None:
    assert (REVISION_1.revision, REVISION_1.retired) == (1, True)
    assert (REVISION_2.revision, REVISION_2.retired) == (2, False)
    assert REVISION_1.title == REVISION_2.title


def test_revision_1_differs_where_it_says() -> None:
    first = {one.code: one for one in REVISION_1.criteria}
    second = {one.code: one for one in REVISION_2.criteria}
    assert set(second) - set(first) == {"P-04", "S-10", "S-13", "B-02"}
    assert set(first) <= set(second)
    assert {code for code in first if first[code] != second[code]} == {
        "F-01",
        "F-12",
        "S-01",
        "S-05",
    }


def test_revision_1_measured_no_wetting_angle() -> None:
    assert all(one.quantity != "wetting_angle" for one in REVISION_1.criteria)
    assert [one.code for one in REVISION_2.criteria if one.quantity == "wetting_angle"] == ["S-01"]


def test_revision_1_let_a_wrap_be_a_full_turn() -> None:
    limits = [
        (one.low, one.high)
        for revision in REVISIONS
        for one in revision.criteria
        if one.code == "F-01"
    ]
    assert limits == [(Decimal(180), Decimal(360)), (Decimal(180), Decimal(270))]


def test_clearance_is_counted_in_overall_diameters_since_revision_2() -> None:
    units = [
        (one.unit, one.high)
        for revision in REVISIONS
        for one in revision.criteria
        if one.code == "S-05"
    ]
    assert units == [("d", Decimal(2)), ("D", Decimal(2))]
