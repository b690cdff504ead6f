"""Tools and their calibrations are kept by instructors and read by quality."""

from datetime import timedelta

import pytest
from django.urls import reverse

from records.models import TrailEntry
from tests.factories import make_person, make_site, make_user
from training.models import Calibration, Tool

pytestmark = pytest.mark.django_db

LIST = reverse("training:tool_list")
NEW = reverse("training:tool_new")


@pytest.fixture
def instructor(client):
    user = make_user("instructor")
    client.force_login(user)
    return user


@pytest.fixture
def iron():
    return Tool.objects.create(code="IRON-07", kind=Tool.Kind.IRON, site=make_site())


def url(name):
    return reverse(f"training:{name}", args=["IRON-07"])


def typed(**fields):
    return {"code": "IRON-07", "kind": "iron", "site": make_site().pk, **fields}


def calibrated(tool, ends_in, passed=True):
    today = make_site().today()
    return Calibration.objects.create(
        tool=tool,
        calibrated_on=today - timedelta(days=400),
        valid_through=today + timedelta(days=ends_in),
        passed=passed,
    )


def test_a_tool_is_entered(client, instructor):
    make_person(employee_number="10220", full_name="Signe Rask")

    answer = client.post(NEW, typed(name="80 W station", answers_for="signe"))

    assert answer.url == url("tool_detail")
    assert Tool.objects.get().answers_for.full_name == "Signe Rask"
    assert "never calibrated" in client.get(answer.url).content.decode()


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"code": "iron-07"}, "There is a tool iron-07 already"),
        ({"code": "A/1"}, "Use letters, digits"),
        ({"code": "new"}, "cannot be a code"),
        ({"answers_for": "Nobody Known"}, "number or name Nobody Known"),
    ],
    ids=["taken", "slash", "reserved", "unknown person"],
)
def test_what_cannot_be_is_said_and_no_tool_entered(client, instructor, iron, fields, message):
    answer = client.post(NEW, typed(**fields))

    assert answer.status_code == 422
    assert message in answer.content.decode()
    assert Tool.objects.get() == iron


def test_a_calibration_is_recorded(client, instructor, iron):
    today = make_site().today()

    client.post(
        url("calibration_new"),
        {
            "calibrated_on": today.isoformat(),
            "valid_through": (today + timedelta(days=365)).isoformat(),
            "passed": "yes",
            "reference": "R-2291",
        },
    )

    assert iron.calibrations.get().reference == "R-2291"
    assert TrailEntry.objects.latest("pk").act == "tool calibrated"
    assert "in\u00a0365" in client.get(LIST).content.decode()


@pytest.mark.parametrize(
    ("calibrated_on", "valid_through", "message"),
    [
        ("2999-01-01", "2999-02-01", "still to come"),
        ("2026-01-02", "2026-01-01", "good through the day it was done"),
        ("", "2026-01-01", "This field is required"),
    ],
    ids=["to come", "ends first", "no day"],
)
def test_a_calibration_that_cannot_be_is_refused(
    client, instructor, iron, calibrated_on, valid_through, message
):
    answer = client.post(
        url("calibration_new"),
        {"calibrated_on": calibrated_on, "valid_through": valid_through, "passed": "yes"},
    )

    assert answer.status_code == 422
    assert message in answer.content.decode()
    assert not Calibration.objects.exists()


def test_calibration_sent_twice_is_recorded_once(client, instructor, iron):
    said = {"calibrated_on": "2026-01-20", "valid_through": "2027-01-20", "passed": "yes"}
    for _again in range(2):
        answer = client.post(url("calibration_new"), said, follow=True)

    assert "was recorded so already, and is not recorded twice." in answer.content.decode()
    assert iron.calibrations.count() == 1
    client.post(url("calibration_new"), said | {"passed": "no"})
    assert iron.calibrations.count() == 2


def test_the_latest_calibration_counts(client, instructor, iron):
    calibrated(iron, -30)
    assert "ended" in client.get(LIST).content.decode()
    calibrated(iron, 60, passed=False)
    assert "did not pass" in client.get(LIST).content.decode()
    calibrated(iron, 90)
    assert "in\u00a090" in client.get(LIST).content.decode()


def test_a_tool_is_changed_and_taken_out_of_use(client, instructor, iron):
    assert client.get(url("tool_edit")).status_code == 200
    client.post(url("tool_edit"), {"name": "Old station", "answers_for": ""})
    client.post(url("tool_retire"))

    iron.refresh_from_db()
    assert (iron.name, iron.retired_on) == ("Old station", iron.site.today())
    assert "Out of use" in client.get(LIST).content.decode()
    again = client.post(url("tool_retire"), follow=True).content.decode()
    assert "out of use already" in again


def test_what_somebody_else_said_of_a_tool_meanwhile_is_not_undone_unseen(client, instructor, iron):
    """A tool that has to be calibrated since would else be relied on without, for good."""
    Tool.objects.filter(pk=iron.pk).update(without_calibration=True)
    sent = {"name": "Old station", "answers_for": "", "without_calibration": "on"}
    sent["seen"] = client.get(url("tool_edit")).context["form"]["seen"].value()
    Tool.objects.filter(pk=iron.pk).update(without_calibration=False)

    refused = client.post(url("tool_edit"), sent)

    assert refused.status_code == 422
    assert "Somebody else changed this tool since you opened it." in refused.content.decode()
    iron.refresh_from_db()
    assert (iron.name, iron.without_calibration) == ("", False)
    assert refused.context["form"]["name"].value() == "Old station"
    sent["seen"] = refused.context["form"]["seen"].value()
    assert client.post(url("tool_edit"), sent).status_code == 302
    iron.refresh_from_db()
    assert (iron.name, iron.without_calibration) == ("Old station", True)


@pytest.mark.parametrize(
    ("role", "listed", "enters", "read"),
    [
        ("instructor", 200, 200, 200),
        ("quality", 200, 403, 200),
        ("line_lead", 403, 403, 404),
        ("administrator", 403, 403, 404),
        (None, 403, 403, 404),
    ],
)
def test_tools_are_for_roles(client, iron, role, listed, enters, read):
    client.force_login(make_user(*([role] if role else [])))

    assert client.get(LIST).status_code == listed
    assert client.get(NEW).status_code == enters
    assert client.get(url("tool_detail")).status_code == read
    if role != "instructor":
        assert client.get(url("tool_edit")).status_code == 404
        assert client.post(url("calibration_new")).status_code == 404
        assert client.post(url("tool_retire")).status_code == 404


def test_tools_of_another_site_are_unknown(client, iron):
    elsewhere = make_site("Aldergate", "AL", time_zone="Europe/London")
    client.force_login(make_user("instructor", site=elsewhere))

    assert "IRON-07" not in client.get(LIST).content.decode()
    assert client.get(url("tool_detail")).status_code == 404


def test_acts_take_post_alone_and_sign_in_is_asked_for(client, instructor, iron):
    assert client.get(url("tool_out")).status_code == 405
    assert client.get(url("tool_retire")).status_code == 405
    client.logout()
    assert client.get(LIST).url.startswith(reverse("account_login"))
