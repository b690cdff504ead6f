"""What changed limits would have made of joints that were measured under the revision before."""

from decimal import Decimal

import pytest

from assessments.domain.limit_effect import MeasuredJoint, heaps, limit_effect
from assessments.domain.scoring import Outcome
from assessments.presenters.limit_picture import boards_said, limit_picture, said
from assessments.queries.limit_effect import effect_of
from assessments.services import criteria as services
from assessments.services import judgements
from tests import factories
from tests.assessments.several import begin, outcome_of, sign
from tests.factories import NOW
from training.models import Position

ACCEPT, REJECT = Outcome.ACCEPT, Outcome.REJECT


@pytest.mark.parametrize(
    ("value", "outcome", "kind"),
    [
        ("0.39", ACCEPT, "now_rejected"),
        ("0.40", ACCEPT, "unclear"),
        ("0.59", ACCEPT, "unclear"),
        ("0.60", ACCEPT, None),
        ("1.90", REJECT, "now_accepted"),
        ("1.91", REJECT, "unclear"),
        ("2.10", REJECT, "unclear"),
        ("2.11", REJECT, None),
    ],
)
def test_a_joint_turns_only_where_its_uncertainty_leaves_no_doubt(value, outcome, kind):
    joint = MeasuredJoint(7, Decimal(value), Decimal("0.1"), outcome)

    found = limit_effect([joint], Decimal("0.5"), Decimal(2))

    for name in ("now_rejected", "now_accepted", "unclear"):
        assert getattr(found, name) == ((7,) if name == kind else ())


def test_every_value_is_in_one_heap():
    values = [(number / 7, number % 2 == 0) for number in range(71)]

    counted = heaps(values, 0.0, 10.0, 12)

    assert sum(heap.joints for heap in counted) == 71
    assert sum(heap.turned for heap in counted) == 36


@pytest.fixture
def measured(everybody_has_standing):
    """Two boards of three joints, with clearances that were measured and signed."""
    made = factories.make_criteria_set(
        {
            "code": "S-5",
            "how": "measured",
            "quantity": "clearance",
            "low": 0,
            "high": 2,
            "unit": "D",
            "severity": "major",
            "demerits": 20,
        },
        {"code": "S-1"},
    )
    exercise = factories.make_exercise()
    with factories.unprotected():
        exercise.positions.update(conductor_mm=Decimal("0.80"), overall_mm=Decimal("1.60"))
    for values in (("0.2", "1.0", "1.2"), ("1.5", "1.1", "0.9")):
        _judged(factories.make_board(exercise=exercise), values)
    return made


def _judged(board, values):
    grading = begin(board, factories.make_user("instructor"))
    for joint, value in zip(board.joints.order_by("position__order"), values, strict=False):
        for criterion in grading.criteria_set.criteria.all():
            seen = judgements.Circumstances()
            if criterion.is_measured:
                seen = judgements.Circumstances(
                    how="instrument",
                    tool=factories.make_tool(board.site),
                    value=Decimal(value),
                    uncertainty=Decimal("0.1"),
                )
            judgements.judge(
                grading=grading,
                criterion=criterion,
                joint=joint,
                outcome="accept",
                seen=seen,
                at=NOW,
            )
    sign(grading)
    assert outcome_of(board)[1]


def draft_with(made, **limits):
    draft = services.draft_next_revision(
        criteria_set=made, actor=factories.make_user("quality"), at=NOW
    )
    draft.criteria.filter(code="S-5").update(**limits)
    return draft.criteria.get(code="S-5"), made.criteria.get(code="S-5")


@pytest.mark.django_db
def test_a_least_clearance_turns_one_joint_and_fails_its_board(measured):
    criterion, earlier = draft_with(measured, low=Decimal("0.5"))

    found = effect_of(criterion, earlier)

    n = len(found.values)
    assert len(found.effect.now_rejected) == 1
    assert (found.effect.now_accepted, found.boards, len(found.would_fail)) == ((), 1, 1)
    assert found.would_pass == ()
    assert f"{n} joints were measured" in said(found)
    assert "1 accepted one would now be rejected" in said(found)
    assert "1 would have failed" in boards_said(found)
    assert str(limit_picture(criterion, earlier, found)).count('class="turns"') == 1


@pytest.mark.django_db
def test_limits_as_they_were_turn_nothing(measured):
    found = effect_of(*draft_with(measured))

    assert found.effect.judged_otherwise == {}
    assert "None would be judged otherwise" in said(found)
    assert boards_said(found) == ""


@pytest.mark.django_db
def test_values_in_another_unit_go_by_the_wire(measured):
    criterion, earlier = draft_with(measured, unit="d")

    found = effect_of(criterion, earlier)

    # 1.2 D of 1.60 mm are 2.4 d of 0.80 mm, beyond 2 d; 1.0 D is 2 d, too close to call.
    assert {value for value, _key in found.values} >= {Decimal("2.4"), Decimal("0.4")}
    assert len(found.effect.now_rejected) >= 2
    assert found.not_converted == 0


@pytest.mark.django_db
def test_a_joint_whose_wire_is_not_known_is_left_out_and_said(measured):
    criterion, earlier = draft_with(measured, unit="d", high=Decimal("0.1"))
    with factories.unprotected():
        Position.objects.filter(order=1).update(conductor_mm=None)

    found = effect_of(criterion, earlier)

    assert found.not_converted == 2
    assert "2 joints of unknown diameter" in boards_said(found)
