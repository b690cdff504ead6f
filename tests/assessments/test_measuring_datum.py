"""A clearance is measured from what its criterion says; what no photograph shows is not read."""

import pytest
from django.urls import reverse

from assessments.content.criteria import NEWEST
from assessments.domain.verdict import Verdict, verdict
from assessments.exceptions import CannotMeasure
from assessments.models import Measurement
from assessments.presenters.judgement_words import criterion_limits
from assessments.presenters.measuring_page import kind_words
from assessments.queries import written_down
from assessments.services import measuring
from tests import factories
from tests.assessments.marks_placed import clearance
from tests.factories import NOW
from training.models import JointType

FILL = {"bottom": [[10, 110]], "top": [[10, 10]], "level": [[10, 40]]}
CLEARANCE = {"how": "measured", "quantity": "clearance", "high": 2, "unit": "D"}


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("datum", "asks", "limits"),
    [
        ("terminal", "first touches the terminal", "at most 2\u00a0D from the terminal"),
        ("solder", "solder ends on the wire", "at most 2\u00a0D from the solder"),
        ("", "does not say otherwise", "at most 2\u00a0D"),
    ],
)
def test_marks_and_words_follow_what_the_criterion_measures_from(client, datum, asks, limits):
    criteria = factories.make_criteria_set({"code": "G", "datum": datum, **CLEARANCE})
    board = factories.make_board()
    photo = factories.make_photo(board, board.joints.first())
    user = factories.make_user("instructor", site=board.site)
    client.force_login(user)
    assert criterion_limits(criteria.criteria.get()) == limits
    page = client.get(
        reverse("assessments:photo_measure", args=[photo.key]), {"criterion": "G", "joint": "E01"}
    ).content.decode()
    assert asks in page
    kept = measuring.keep_measurement(
        photo=photo, quantity="clearance", marks=clearance(1.3).marks,
        options=measuring.options_for(joint=photo.joint, criterion=criteria.criteria.get()),
        mark_uncertainty_px=None, actor=user, at=NOW, joint=photo.joint,
        criterion=criteria.criteria.get(),
    )  # fmt: skip
    assert kept.options.get("datum", "") == datum


def test_every_datum_has_its_own_word_for_the_mark():
    titles = {kind_words(datum)["clearance", "joint"] for datum in ("terminal", "solder", "")}
    assert len(titles) == 3


@pytest.mark.django_db
def test_a_published_set_without_a_datum_is_written_down_as_it_was():
    old = factories.make_criteria_set({"code": "G", **CLEARANCE})
    new = factories.make_criteria_set({"code": "G", "datum": "solder", **CLEARANCE})
    [without], [with_it] = (written_down.published_content(each)["criteria"] for each in (old, new))
    assert "datum" not in without
    assert with_it["datum"] == "solder"


def test_insulation_in_the_joint_counts_once():
    """A gap below 0 is rejected as insulation in the solder, and by nothing that measures it."""
    [gap] = [one for one in NEWEST.criteria if one.quantity == "clearance"]
    assert gap.datum == "terminal"
    assert verdict(-1, 0, gap.low, gap.high) == Verdict.WITHIN
    embedded = [one for one in NEWEST.criteria if "embedded" in one.reject_drawing]
    assert [one.code for one in embedded] == ["S-06"]


@pytest.fixture
def holes(db):
    factories.make_criteria_set(
        {"code": "V", "how": "measured", "quantity": "fill", "low": 75, "unit": "percent",
         "joint_types": ["hole"]},
        {"code": "C", "how": "measured", "quantity": "fill", "low": 75, "unit": "percent",
         "joint_types": ["cup"]},
    )  # fmt: skip
    return factories.make_board(exercise=factories.make_exercise((JointType.HOLE, JointType.CUP)))


def keep(photo):
    return measuring.keep_measurement(
        photo=photo,
        quantity="fill",
        marks=FILL,
        options=measuring.options_for(joint=photo.joint, criterion=None),
        mark_uncertainty_px=None,
        actor=factories.make_user("instructor"),
        at=NOW,
        joint=photo.joint,
    )


def test_the_fill_of_a_plated_hole_is_not_read_from_a_photograph(client, holes):
    hole, cup = holes.joints.order_by("position__order")
    photo = factories.make_photo(holes, hole)
    with pytest.raises(CannotMeasure, match="by eye from both sides"):
        keep(photo)
    keep(factories.make_photo(holes, cup))
    assert Measurement.objects.count() == 1
    client.force_login(factories.make_user("instructor", site=holes.site))
    address = reverse("assessments:photo_measure", args=[photo.key])
    assert client.get(address, {"criterion": "V", "joint": "E01"}).status_code == 404
    assert client.get(address, {"criterion": "C", "joint": "E02"}).status_code == 200


def test_the_grading_screen_offers_no_marks_for_it(client, holes):
    factories.make_photo(holes, None)
    client.force_login(factories.make_user("instructor", site=holes.site))
    grade = reverse("assessments:board_grade", args=[holes])
    for joint, code, quantity in (("E01", "V", ""), ("E02", "C", "fill")):
        answer = client.get(grade, {"joint": joint, "criterion": code})
        assert answer.context["grading_state"]["criteria"][code]["quantity"] == quantity
