"""A long list is taken in and undone some people at a time: whole, in order, and once."""

from datetime import timedelta

import pytest
from django.urls import reverse

from audit.exceptions import ListTakenIn
from audit.models import PeopleList
from audit.queries import list_plan, list_undoing
from audit.services import list_steps, people_lists
from certification.models import Certificate
from people.exceptions import PeopleError
from people.models import Person, Role, SiteRole, User
from people.services.people import change_person
from records.models import TrailEntry
from records.queries.verification import verify_records
from tests.audit.test_people_lists import bring, take_in
from tests.audit.test_people_lists_undone import undo
from tests.factories import NOW, make_person, make_revision, make_scope, make_site, make_user

pytestmark = pytest.mark.django_db

LATER = NOW + timedelta(hours=2)
TEXT = (
    "Number;Name;E-mail;Line lead;Scope;Cert. No.;Issued;Scheme;Start date\n"
    "7001;Ada;two@example.org;7004;TERM-OP;X-1;2026-03-01;HS rev. 1;3.4.2020\n"
    "7002;Bo;two@example.org;7001;;;;;25.4.2020\n"
    "7003;Cy;cy@example.org;7004;TERM-OP;X-3;2026-03-01;HS rev. 1;3.4.2020\n"
    "7004;Di;;7005;;;;;3.4.2020\n"
    "7005;Eve;;;;;;;3.4.2020\n"
)


@pytest.fixture(autouse=True)
def short(monkeypatch):
    """Two people are many."""
    monkeypatch.setattr(list_plan, "MOST_AT_ONCE", 2)
    monkeypatch.setattr(list_undoing, "MOST_AT_ONCE", 2)
    monkeypatch.setattr(list_steps, "PEOPLE_A_STEP", 2)
    monkeypatch.setattr(list_steps, "UNDONE_A_STEP", 2)


@pytest.fixture
def both():
    make_revision(make_scope(code="TERM-OP"), name="HS rev. 1", vision_months=0)
    return make_user(Role.ADMINISTRATOR, Role.QUALITY, site=make_site())


def work_on(kept, at=NOW):
    ended = list_steps.work_on(kept.pk, clock=lambda: at, pause=lambda _s: None)
    kept.refresh_from_db()
    return ended


def numbers():
    people = Person.objects.filter(employee_number__startswith="700")
    return sorted(people.values_list("employee_number", flat=True))


def test_long_list_does_what_a_short_one_does_and_is_undone(both, mailoutbox):
    kept = take_in(bring(both, TEXT, recorded="now"), both, sign_ins=True)
    assert (kept.is_open, kept.taken_in_at, numbers()) == (False, None, [])
    assert people_lists.forget_expired(NOW + timedelta(days=30)) == 0
    with pytest.raises(ListTakenIn):
        people_lists.throw_away(people_list=kept)

    assert work_on(kept)
    assert not work_on(kept)
    assert numbers() == ["7001", "7002", "7003", "7004", "7005"]
    leads = Person.objects.exclude(line_lead=None).order_by("employee_number")
    assert list(leads.values_list("employee_number", "line_lead__employee_number")) == [
        ("7001", "7004"), ("7002", "7001"), ("7003", "7004"), ("7004", "7005"),
    ]  # fmt: skip
    # 25.4. says of the whole list which number is the day.
    assert str(Person.objects.get(employee_number="7001").started_on) == "2020-04-03"
    assert set(Certificate.objects.values_list("number", flat=True)) == {"X-1", "X-3"}
    # An address that two have opens a sign-in for neither, also where a step sees one of them.
    opened = User.objects.filter(employee_number__startswith="700")
    assert set(opened.values_list("employee_number", flat=True)) == {"7003", "7004", "7005"}
    assert (kept.rows, kept.work, kept.result["not_done"]) == ([], {}, [])
    assert kept.result["counts"]["enrolled"] == 5
    assert people_lists.send_links(kept.pk) == 1
    assert [mail.to for mail in mailoutbox] == [["cy@example.org"]]

    undoing = undo(kept, both)
    assert undoing.undone_at is None
    with pytest.raises(ListTakenIn):
        list_steps.stop(people_list=undoing, at=LATER)
    assert work_on(kept, LATER)
    assert kept.undone_at == LATER
    assert kept.undoing["stays"] == []
    assert not Person.objects.filter(employee_number__in=numbers(), left_on=None).exists()
    assert Certificate.objects.filter(withdrawal__isnull=True).count() == 0
    faults = [str(fault) for fault in verify_records().faults]
    assert [fault for fault in faults if "schemerevision" not in fault] == []


def test_known_people_are_changed_moved_and_changed_back(both):
    site = make_site("Other", "OT")
    SiteRole.objects.create(user=both, site=site, role=Role.ADMINISTRATOR, recorded_at=NOW)
    both = User.objects.get(pk=both.pk)
    people = [make_person(both.person.site, full_name=f"Person {n}") for n in range(5)]
    rows = "".join(f"{one.employee_number};New {one.full_name};OT\n" for one in people)
    kept = take_in(bring(both, f"Number;Name;Site\n{rows}"), both)
    assert work_on(kept, NOW + timedelta(minutes=1))
    assert kept.result["counts"]["changed"] == 5
    assert Person.objects.filter(site=site, full_name__startswith="New").count() == 5
    undo(kept, both)
    assert work_on(kept, LATER)
    assert (kept.undoing["count"], kept.undoing["stays"]) == (10, [])
    assert not Person.objects.filter(full_name__startswith="New").exists()
    assert not Person.objects.filter(site=site).exists()


def test_whoever_changed_meanwhile_stays_out_and_is_named(both, client):
    people = [make_person(both.person.site) for _each in range(4)]
    rows = "".join(f"{one.employee_number};New Name\n" for one in people)
    kept = take_in(bring(both, f"Number;Name\n{rows}"), both)
    change_person(person=people[3], full_name="Married Name", actor=both, at=NOW)
    assert work_on(kept)
    [[number, why, _fault]] = kept.result["not_done"]
    assert (number, why) == (people[3].employee_number, "something about them has changed since")
    assert Person.objects.filter(full_name="New Name").count() == 3
    client.force_login(both)
    page = client.get(reverse("audit:people_list", args=[kept.pk])).text
    assert "Not taken in, and why" in page
    assert number in page


def test_worker_that_dies_is_followed_and_nobody_is_written_twice(both, monkeypatch):
    kept = take_in(bring(both, TEXT, recorded="now"), both, sign_ins=True)
    joined, steps = list_steps._joined, []

    def die_in_the_second(result, made):
        steps.append(1)
        if len(steps) == 2:
            raise RuntimeError("the worker is killed")
        return joined(result, made)

    monkeypatch.setattr(list_steps, "_joined", die_in_the_second)
    with pytest.raises(RuntimeError):
        work_on(kept)
    kept.refresh_from_db()
    assert (numbers(), len(kept.work["pending"])) == (["7004", "7005"], 3)
    assert list_steps.work_on_due(clock=lambda: NOW, pause=lambda _s: None) == 1
    assert TrailEntry.objects.filter(act="person enrolled").count() == 5


def test_whom_a_service_refuses_stays_out_alone(both, monkeypatch):
    kept = take_in(bring(both, TEXT, recorded="now"), both)
    write_plan = list_steps.write_plan

    def refuse_one(people_list, plan, *args, **more):
        if any(one.number == "7003" for one in plan.people):
            raise PeopleError("Not this one.")
        return write_plan(people_list, plan, *args, **more)

    monkeypatch.setattr(list_steps, "write_plan", refuse_one)
    assert work_on(kept)
    assert kept.result["not_done"] == [["7003", "Not this one.", None]]
    assert numbers() == ["7001", "7002", "7004", "7005"]


def test_whoever_is_no_longer_allowed_to_brings_nobody_more(both):
    kept = take_in(bring(both, TEXT, recorded="now"), both)
    SiteRole.objects.filter(user=both, role=Role.ADMINISTRATOR).delete()
    assert work_on(kept)
    assert numbers() == []
    assert len(kept.result["not_done"]) == 5

    other = make_user(Role.ADMINISTRATOR, site=both.person.site)
    kept = take_in(bring(other, "Number;Name\n7001;A\n7002;B\n7003;C\n"), other)
    User.objects.filter(pk=other.pk).update(is_active=False)
    assert work_on(kept)
    assert {why for _number, why, _fault in kept.result["not_done"]} == {
        "whoever brought the list signs in no more"
    }


def test_page_says_how_far_it_is_and_stops_it(both, client):
    kept = take_in(bring(both, TEXT, recorded="now"), both)
    list_steps._step(kept.pk, 0, NOW)
    client.force_login(both)
    url = reverse("audit:people_list", args=[kept.pk])
    polled = {"HX-Request": "true", "HX-Target": "progress"}
    assert "2 of 5 people" in " ".join(client.get(url).text.split())
    assert "<html" not in client.get(url, headers=polled).text
    again = client.post(reverse("audit:people_list_take_in", args=[kept.pk]), follow=True)
    assert "is being taken in" in again.text
    assert "being taken in" in client.get(reverse("audit:people_list_new")).text
    client.post(reverse("audit:people_list_stop", args=[kept.pk]))
    kept = PeopleList.objects.get(pk=kept.pk)
    assert [number for number, _why, _fault in kept.result["not_done"]] == ["7001", "7002", "7003"]
    assert numbers() == ["7004", "7005"]
    assert client.get(url, headers=polled).headers["HX-Refresh"] == "true"
    assert not work_on(kept)
