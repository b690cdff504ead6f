"""Months ahead: what ends for whom and when, counted by month and scope, beside the classes."""

import csv
import io
import re
from datetime import timedelta

import pytest
from django.urls import reverse

from certification.domain.months import add_months
from certification.models import Certificate, CertificateEvent, StandingEnd
from certification.services import standing
from people.models import Person
from tests.factories import (
    NOW,
    make_certificate,
    make_exercise,
    make_person,
    make_revision,
    make_scope,
    make_session,
    make_site,
    make_user,
    unprotected,
)
from training.models import Lesson, Position, VisionTest

pytestmark = pytest.mark.django_db

PAGE = "/months-ahead/"


@pytest.fixture
def today():
    return make_site().today()


@pytest.fixture
def terminals():
    return make_scope(code="TERM", title="Terminals, operator")


@pytest.fixture
def quality(client):
    user = make_user("quality", person=make_person(full_name="Zz Quality"))
    client.force_login(user)
    return user


def certify(scope, ends_on, name="Bruno Castellane", months=12, **fields):
    """Somebody whose certificate of so many months ends on a day."""
    revision = make_revision(scope, validity_months=months, **fields.pop("figures", {}))
    person = fields.pop("person", None) or make_person(full_name=name, **fields)
    issued_on = add_months(ends_on, -months)
    return make_certificate(person, scope, revision=revision, issued_on=issued_on)


def passed_vision(person, on, number):
    VisionTest.objects.create(
        test_id=f"CA-V-{number}", person=person, tested_on=on, passed=True, recorded_at=NOW
    )
    standing.rebuild_person(person)


def lines(response):
    return [
        (line.person.full_name, line.kind, line.last_day)
        for _month, found in response.context["months"]
        for line in found
    ]


def month_of(day):
    return day.replace(day=1)


def day_in(today, months):
    """A day some months ahead that every month has."""
    return add_months(today.replace(day=15), months)


def test_end_stands_in_its_month_in_list_and_chart(client, quality, terminals, today):
    end = day_in(today, 3)
    certificate = certify(terminals, end)

    response = client.get(PAGE)

    assert lines(response) == [("Bruno Castellane", "certificate", end)]
    [row] = response.context["overview"].scopes
    assert (row.scope, row.ends) == (terminals, {month_of(end): 1})
    for _name, picture in response.context["pictures"]:
        assert len(re.findall('class="due"', picture)) == 1
        assert "Terminals," in picture
    page = response.content.decode()
    assert "renew: <a" in page
    assert reverse("certification:standing_detail", args=[certificate.person_id, terminals.pk]) in (
        page
    )


def test_twelve_months_are_shown_unless_others_are_asked_for(client, quality, terminals, today):
    near, far = day_in(today, 2), day_in(today, 11)
    certify(terminals, near, name="Ann Near")
    certify(terminals, far, name="Ben Far")
    beyond = make_revision(terminals, validity_months=60)
    make_certificate(
        make_person(full_name="Cay Beyond"),
        terminals,
        revision=beyond,
        issued_on=add_months(day_in(today, 14), -60),
    )

    assert [name for name, _kind, _day in lines(client.get(PAGE))] == ["Ann Near", "Ben Far"]
    months = client.get(PAGE).context["overview"].months
    assert (months[0], months[-1]) == (month_of(today), month_of(add_months(today, 12)))
    assert len(months) == 13
    assert [one[0] for one in lines(client.get(PAGE + "?months=3"))] == ["Ann Near"]
    assert [one[0] for one in lines(client.get(PAGE + "?months=18"))][-1] == "Cay Beyond"
    assert client.get(PAGE + "?months=nonsense").context["overview"].months == months


@pytest.mark.parametrize("months", [3, 12])
def test_months_are_counted_from_today_and_their_last_day_is_in(
    client, quality, terminals, today, months
):
    last = add_months(today, months)
    for name, ends_on in (("Ann In", last), ("Ben Out", last + timedelta(days=1))):
        made = certify(terminals, add_months(today, 24), name=name, months=24)
        CertificateEvent.objects.create(
            event_id=f"E-{name}",
            certificate=made,
            kind="ended",
            effective_on=ends_on,
            recorded_at=NOW,
        )
        standing.rebuild_person(made.person)

    response = client.get(f"{PAGE}?months={months}")

    assert lines(response) == [("Ann In", "certificate", last)]
    assert f'<time datetime="{last}">' in response.content.decode()


def test_what_has_ended_or_was_stopped_is_not_ahead(client, quality, terminals, today):
    certify(terminals, today - timedelta(days=1), name="Ann Over")
    certify(terminals, day_in(today, 2), name="Ben Left", left_on=today - timedelta(days=1))

    response = client.get(PAGE)

    assert lines(response) == []
    assert "Nothing ends in these months" in response.content.decode()
    assert response.context["pictures"] == []


def test_vision_test_stands_once_however_many_scopes_ask_for_it(client, quality, today):
    person = make_person(full_name="Bruno Castellane")
    for _scope in range(3):
        certify(make_scope(), day_in(today, 9), person=person, figures={"vision_months": 12})
    end = day_in(today, 4)
    passed_vision(person, add_months(end, -12), 1)

    response = client.get(PAGE)

    assert lines(response)[0] == ("Bruno Castellane", "vision", end)
    assert [kind for _name, kind, _day in lines(response)].count("vision") == 1
    [row] = response.context["overview"].kinds
    assert row.ends == {month_of(end): 1}
    assert sum(row.total for row in response.context["overview"].scopes) == 3


def test_every_end_says_what_is_to_be_done_and_which_comes_first(client, quality, terminals, today):
    figures = {"vision_months": 12, "max_absence_months": 6, "renewal_window_days": 60}
    person = make_person(full_name="Bruno Castellane")
    end = day_in(today, 2)
    certify(terminals, end, person=person, figures=figures)
    passed_vision(person, add_months(day_in(today, 5), -12), 1)
    for months in (-5, -1):
        person.practice.create(
            scope_code=terminals.code, performed_on=day_in(today, months), recorded_at=NOW
        )
    standing.rebuild_person(person)

    found = [
        (line.kind, str(line.to_do), line.is_first)
        for _month, inside in client.get(PAGE).context["months"]
        for line in inside
    ]

    assert sorted(found) == [
        ("certificate", "renew", True),
        ("practice", "do such work and have it recorded", False),
        ("vision", "have a vision test", False),
    ]
    assert "without losing a day" in client.get(PAGE).content.decode()


def test_filters_narrow_list_and_chart_alike(client, quality, terminals, today):
    other = make_scope(code="CUPS")
    lead = make_person(full_name="Lia Lead")
    certify(terminals, day_in(today, 2), name="Ann", line_lead=lead)
    certify(other, day_in(today, 3), name="Ben", line_lead=make_person())

    for asked in ("scope=TERM", f"lead={lead.employee_number}"):
        response = client.get(f"{PAGE}?{asked}")
        assert [one[0] for one in lines(response)] == ["Ann"], asked
        assert [row.scope for row in response.context["overview"].scopes] == [terminals], asked
    assert lines(client.get(PAGE + "?kind=vision")) == []
    assert len(lines(client.get(PAGE + "?kind=certificate"))) == 2


def test_site_filters_people_and_classes(client, terminals, today):
    there = make_site("Aldergate", "AL")
    user = make_user("quality", person=make_person(full_name="Zz Quality"))
    user.roles.create(site=there, role="quality")
    client.force_login(user)
    certify(terminals, day_in(today, 2), name="Ann Here")
    certify(terminals, day_in(today, 2), name="Ben There", site=there)
    make_session(there, number="AL-K-00001", starts_on=today, ends_on=today)

    here = client.get(PAGE + "?site=CA")

    assert [one[0] for one in lines(here)] == ["Ann Here"]
    assert here.context["overview"].sessions == []
    assert len(client.get(PAGE).context["overview"].sessions) == 1


def test_places_of_a_class_stand_once_however_many_scopes_it_teaches(
    client, quality, terminals, today
):
    end = day_in(today, 2)
    person = certify(terminals, end).person
    cups = certify(make_scope(code="CUPS", title="Solder cups, operator"), end).scope
    other = certify(make_scope(), end).scope
    exercise = make_exercise(("turret", "cup"))
    for order, code in ((1, "TERM"), (2, "CUPS")):
        with unprotected():
            Position.objects.filter(exercise=exercise, order=order).update(scope_code=code)
    session = make_session(
        people=(person, make_person()), places=8, starts_on=day_in(today, 1), ends_on=end
    )
    Lesson.objects.create(
        course_revision=session.course_revision, order=1, title="Turrets", minutes=60,
        exercise=exercise,
    )  # fmt: skip

    response = client.get(PAGE)

    overview = response.context["overview"]
    [row] = overview.courses
    places = row.places[month_of(session.starts_on)]
    assert (places.planned, places.taken, places.free) == (8, 2, 6)
    [planned] = overview.classes
    assert planned.teaches == [cups, terminals]
    [name, *_others] = [label.label for label in response.context["table"] if label.is_places]
    assert session.course_revision.course.title in name
    for _name, picture in response.context["pictures"]:
        assert len(re.findall('class="planned"', picture)) == 1
    page = response.content.decode()
    assert page.count("6 of 8") == 2  # Of the months asked for, and of the one month.
    assert page.count(f"/classes/{session.number}/") == 2  # Among the classes, and at the person.
    [(_month, found)] = response.context["months"]
    assert [one.number for line in found for one in line.sessions] == [session.number]
    assert client.get(PAGE + "?scope=CUPS").context["overview"].courses == overview.courses
    assert client.get(f"{PAGE}?scope={other.code}").context["overview"].courses == []


def test_operators_come_before_those_who_teach_them(client, quality, terminals, today):
    certify(make_scope(title="A, instructor", level="instructor"), day_in(today, 2))
    certify(make_scope(title="B, inspector", level="inspector"), day_in(today, 2))
    certify(terminals, day_in(today, 2))

    rows = client.get(PAGE).context["overview"].scopes

    assert [row.scope.level for row in rows] == ["operator", "inspector", "instructor"]


def test_list_comes_from_the_ends_that_reminders_use(client, quality, terminals, today):
    for months in range(1, 9):
        certify(terminals, day_in(today, months), name=f"Person {months}")

    shown = sorted(day for _name, _kind, day in lines(client.get(PAGE)))

    assert shown == sorted(StandingEnd.objects.values_list("last_day", flat=True))
    assert shown == sorted(Certificate.objects.values_list("valid_through", flat=True))


def test_line_lead_sees_own_people_and_nothing_of_health(client, terminals, today):
    lead = make_user("line_lead")
    certificate = certify(
        terminals, day_in(today, 6), figures={"vision_months": 12}, line_lead=lead.person
    )
    passed_vision(certificate.person, add_months(day_in(today, 2), -12), 1)
    certify(terminals, day_in(today, 2), name="Somebody Else")
    make_session(number="CA-K-00001", starts_on=today, ends_on=today)
    client.force_login(lead)

    response = client.get(PAGE)

    assert [(name, kind) for name, kind, _day in lines(response)] == [
        ("Bruno Castellane", "see_instructor"),
    ]  # The first day alone: were the certificate's told too, the first would not be its.
    page = response.content.decode()
    text = re.sub(r"<symbol.*?</symbol>", "", page)
    for secret in ("ision", "Somebody Else", "CA-K-00001"):
        assert secret not in text, secret
    assert [one[1] for one in lines(client.get(PAGE + "?kind=see_instructor"))] == [
        "see_instructor"
    ]
    for kind in ("vision", "certificate", "practice"):  # No choice of theirs: left open.
        assert len(lines(client.get(PAGE + f"?kind={kind}"))) == 1
    sheet = client.get(PAGE + "export.csv").getvalue().decode()
    assert "see the instructor" in sheet
    assert "ision" not in sheet


def register_says(client, name):
    """The last day that the register tells of somebody."""
    groups = client.get("/register/").context["groups"]
    [line] = next(found for person, found in groups if person.full_name == name)
    return line.next_end.last_day


@pytest.mark.parametrize(
    ("restriction", "expected"),
    [
        pytest.param("", "of the second", id="carried on"),
        pytest.param("turrets", "nothing ends", id="carried on with a restriction"),
    ],
)
def test_line_lead_is_told_the_day_of_the_register(client, terminals, today, restriction, expected):
    lead = make_user("line_lead")
    first = certify(terminals, day_in(today, 2), line_lead=lead.person)
    second = make_certificate(
        first.person,
        terminals,
        revision=make_revision(terminals, validity_months=9),
        issued_on=day_in(today, 1),
        restriction=restriction,
    )
    client.force_login(lead)
    told = [day for _name, _kind, day in lines(client.get(PAGE))]

    if expected == "of the second":
        assert told == [second.valid_through] == [register_says(client, "Bruno Castellane")]
        assert [
            day for _name, _kind, day in lines(client.get(PAGE + "?kind=see_instructor"))
        ] == told
    else:
        assert told == []
        assert register_says(client, "Bruno Castellane") == second.issued_on - timedelta(days=1)


@pytest.mark.parametrize("role", ["operator", "administrator"])
def test_page_is_closed_to_other_roles(client, role):
    client.force_login(make_user(role))

    assert client.get(PAGE).status_code == 403
    assert client.get(PAGE + "export.csv").status_code == 403


def test_export_holds_every_line_of_the_view(client, quality, terminals, today):
    for number in range(5):
        certify(terminals, day_in(today, 2), name=f"=Person {number}")
    certify(make_scope(code="CUPS"), day_in(today, 2))

    response = client.get(PAGE + "export.csv?scope=TERM")

    rows = list(csv.DictReader(io.StringIO(response.getvalue().decode("utf-8-sig"))))
    assert len(rows) == 5
    assert {row["scope"] for row in rows} == {"TERM"}
    assert all(row["full_name"].startswith("'=Person") for row in rows)
    assert rows[0]["last_good_day"] == day_in(today, 2).isoformat()
    assert rows[0]["to_do"] == "renew"


def test_number_of_queries_does_not_grow_with_the_people(
    client, quality, terminals, today, django_assert_num_queries
):
    def fill(count):
        for number in range(count):
            certify(
                terminals, day_in(today, 1 + number % 6), line_lead=make_person(),
                name=f"P {number}",
            )  # fmt: skip
        make_session(starts_on=today, ends_on=today, people=tuple(Person.objects.all()[:2]))

    fill(2)
    client.get(PAGE)
    with django_assert_num_queries(15):
        client.get(PAGE)
    fill(12)
    with django_assert_num_queries(15):
        client.get(PAGE)
