"""Today is each person's own: where it is tomorrow already, the register says so of them alone."""

import csv
import io
from datetime import UTC, date, datetime, timedelta

import pytest
import time_machine
from django.urls import reverse

from people.models import Role, SiteRole
from people.queries.site_days import days_at
from tests.factories import (
    make_certificate,
    make_person,
    make_revision,
    make_scope,
    make_session,
    make_site,
    make_tool,
    make_user,
)
from training.models import Calibration

pytestmark = pytest.mark.django_db

# 30 November in Los Angeles, 1 December in Madrid and in Auckland.
NOW = datetime(2026, 12, 1, 5, 0, tzinfo=UTC)
THERE, HERE = date(2026, 11, 30), date(2026, 12, 1)
REGISTER, MONTHS = reverse("certification:register"), reverse("certification:months_ahead")


@pytest.fixture(autouse=True)
def _now():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def sites():
    return {
        "Auckland": make_site("Auckland", "AK", time_zone="Pacific/Auckland"),
        "Los Angeles": make_site("Los Angeles", "LA", time_zone="America/Los_Angeles"),
        "Madrid": make_site("Madrid", "MA"),
    }


@pytest.fixture
def people(sites):
    """Somebody at each site whose certificate is good through 30 November."""
    scope = make_scope(title="Terminals, operator")
    revision = make_revision(scope, validity_months=12)
    found = {}
    for name, site in sites.items():
        found[name] = make_person(site, full_name=f"Ann {name}")
        make_certificate(
            found[name], scope, revision=revision, issued_on=THERE - timedelta(days=365)
        )
    return found


def reader(sites, role, home="Auckland"):
    """Somebody who holds a role at all three."""
    user = make_user(role, site=sites[home])
    for site in sites.values():
        SiteRole.objects.get_or_create(
            user=user, site=site, role=role, defaults={"recorded_at": NOW}
        )
    return user


def stands(response):
    return {
        person.full_name.removeprefix("Ann "): lines[0].said
        for person, lines in response.context["groups"]
        if person.full_name.startswith("Ann ")
    }


@pytest.mark.parametrize("home", ["Auckland", "Los Angeles", "Madrid"])
@pytest.mark.parametrize("order", ["name", "scope", "end", "standing"])
@pytest.mark.usefixtures("people")
def test_register_of_today_is_of_each_persons_own_day(client, sites, home, order):
    client.force_login(reader(sites, Role.QUALITY, home))
    want = {"Auckland": "expired", "Los Angeles": "certified", "Madrid": "expired"}

    response = client.get(REGISTER, {"order": order})

    assert stands(response) == want
    counted = {str(one.word): one.number for one in response.context["counted"]}
    assert counted["certified"] == 1
    assert counted["expired"] == 2
    listed = client.get(REGISTER, {"order": order, "standing": "certified"})
    assert stands(listed) == {"Los Angeles": "certified"}
    said = response.content.decode()
    assert "<dt>Los Angeles</dt>" in said if home != "Los Angeles" else "<dt>Auckland" in said
    assert "day=2026-11-30" in said  # The way to the life of who stands in Los Angeles.


@pytest.mark.usefixtures("people")
def test_file_of_the_register_says_of_which_day_each_line_is(client, sites):
    client.force_login(reader(sites, Role.QUALITY))

    response = client.get(reverse("certification:register_csv"))

    text = b"".join(response.streaming_content).decode("utf-8-sig")
    rows = {row["full_name"]: row for row in csv.DictReader(io.StringIO(text))}
    assert rows["Ann Los Angeles"]["as_of"] == "2026-11-30"
    assert rows["Ann Los Angeles"]["standing"] == "certified"
    assert rows["Ann Auckland"]["as_of"] == "2026-12-01"
    assert rows["Ann Auckland"]["standing"] == "expired"


@pytest.mark.usefixtures("people")
def test_day_that_is_asked_for_is_one_for_everybody(client, sites):
    client.force_login(reader(sites, Role.QUALITY))

    response = client.get(REGISTER, {"day": "2026-12-01"})

    assert set(stands(response).values()) == {"expired"}
    assert "<dt>Los Angeles</dt>" not in response.content.decode()


def test_who_left_yesterday_there_is_still_here_where_it_is_that_day(client, sites, people):
    for person in people.values():
        person.left_on = THERE
        person.save()
    client.force_login(reader(sites, Role.QUALITY))

    assert stands(client.get(REGISTER)) == {"Los Angeles": "certified"}


@pytest.mark.parametrize("home", ["Auckland", "Los Angeles"])
@pytest.mark.usefixtures("people")
def test_months_ahead_begin_on_each_persons_own_day(client, sites, home):
    client.force_login(reader(sites, Role.QUALITY, home))

    response = client.get(MONTHS)

    ends = [
        (line.person.full_name, line.last_day)
        for _month, lines in response.context["months"]
        for line in lines
    ]
    assert ends == [("Ann Los Angeles", THERE)]
    # What is counted is in a month that is shown, though the reader is in the next.
    overview = response.context["overview"]
    assert overview.months[0] == date(2026, 11, 1)
    assert overview.scopes[0].ends == {date(2026, 11, 1): 1}
    text = b"".join(client.get(reverse("certification:months_ahead_csv")).streaming_content)
    assert text.decode().count("Ann ") == 1


@pytest.mark.usefixtures("people")
def test_bench_says_what_ends_and_what_stopped_by_each_persons_own_day(client, sites):
    client.force_login(reader(sites, Role.INSTRUCTOR))

    bench = client.get(reverse("certification:bench")).context["bench"]

    assert [line.person.full_name for line in bench.due] == ["Ann Los Angeles"]
    assert {span.person.full_name for span in bench.stopped} == {"Ann Auckland", "Ann Madrid"}


def test_line_lead_is_told_of_own_people_by_their_day(client, sites, people):
    lead = make_user("line_lead", site=sites["Auckland"])
    for person in people.values():
        person.line_lead = lead.person
        person.save()
    client.force_login(lead)

    response = client.get(REGISTER)

    assert stands(response) == {
        "Auckland": "not_current", "Los Angeles": "certified", "Madrid": "not_current",
    }  # fmt: skip
    (month,) = client.get(MONTHS).context["months"]
    assert [line.person.full_name for line in month[1]] == ["Ann Los Angeles"]


@pytest.mark.usefixtures("people")
def test_sites_on_one_day_are_asked_for_in_one_condition(sites):
    zones = [(site.pk, site.time_zone) for site in sites.values()]
    days = days_at(NOW, HERE, zones)
    assert days.elsewhere == ((THERE, frozenset({sites["Los Angeles"].pk})),)
    assert days_at(NOW + timedelta(hours=4), HERE, zones).elsewhere == ()
    assert (days.first, days.last) == (THERE, HERE)


@pytest.mark.parametrize("home", ["Auckland", "Los Angeles"])
def test_people_are_listed_by_the_day_at_their_own_site(client, sites, home):
    """All left after 30 November, and in Los Angeles it still is that day."""
    for name, site in sites.items():
        make_person(site, full_name=f"Ann {name}", left_on=THERE)
    client.force_login(reader(sites, "quality", home))
    address = reverse("people:person_list")

    def listed(**asked):
        page = client.get(address, {"q": "Ann", **asked}).context["page"]
        return {person.full_name.removeprefix("Ann ") for person in page}

    assert listed() == {"Los Angeles"}
    assert listed(state="left") == {"Auckland", "Madrid"}


@pytest.mark.parametrize("home", ["Auckland", "Los Angeles"])
def test_classes_run_and_are_over_by_the_day_at_their_own_site(client, sites, home):
    classes = {
        name: make_session(site, starts_on=THERE, ends_on=THERE) for name, site in sites.items()
    }
    client.force_login(reader(sites, "instructor", home))
    address = reverse("training:class_list")

    def listed(**asked):
        numbers = {session.number for session in client.get(address, asked).context["page"]}
        return {name for name, session in classes.items() if session.number in numbers}

    assert listed() == {"Los Angeles"}
    assert listed(when="past") == {"Auckland", "Madrid"}
    assert ">running<" in client.get(address).text
    assert ">running<" not in client.get(address, {"when": "past"}).text
    to_class = client.get(reverse("assessments:class_day_today"))
    assert to_class.url == reverse("assessments:class_day", args=[classes["Los Angeles"].number])


def test_tool_is_due_by_the_day_at_its_own_site(client, sites):
    for site in sites.values():
        tool = make_tool(site)
        Calibration.objects.create(
            tool=tool,
            calibrated_on=THERE - timedelta(days=100),
            valid_through=THERE,
            passed=True,
            recorded_at=NOW,
        )
    client.force_login(reader(sites, "quality"))
    told = client.get(reverse("training:tool_list")).text
    assert told.count("<span>ended") == 2
