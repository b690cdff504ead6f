"""Somebody moves to another site from a day on: each site reads its own period."""

from datetime import UTC, date, datetime, timedelta

import pytest
import time_machine
from django.db import DatabaseError, connection, transaction
from django.urls import reverse

from audit.domain.work_log_check import CheckOptions, check_log
from audit.queries.work_log_register import StoredRegister
from audit.register_files import work_log
from people.exceptions import PeopleError
from people.models import Person, Role, SiteMembership, SiteRole, Stamp
from people.services import memberships, moves
from people.services.people import change_person
from records.models import TrailEntry, append_only
from records.queries.verification import verify_records
from reminders.services.sweep import sweep
from tests.factories import (
    NOW,
    TODAY,
    make_certificate,
    make_person,
    make_revision,
    make_scope,
    make_site,
    make_user,
    write_down,
)

pytestmark = [pytest.mark.django_db, pytest.mark.each_database]

REGISTER = reverse("certification:register")
BEFORE, MOVES_ON, AFTER = date(2026, 11, 2), date(2026, 11, 10), date(2026, 11, 20)


@pytest.fixture(autouse=True)
def _now():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def sites():
    return make_site(), make_site("Aldergate", "AL", time_zone="Europe/London")


@pytest.fixture
def mover(sites):
    """Certified since January at the former site."""
    person = make_person(full_name="Mo Mover", employee_number="M-1")
    scope = make_scope(code="TERM-OP", title="Terminals, operator")
    revision = make_revision(scope, validity_months=24)
    make_certificate(person, scope, revision=revision, issued_on=date(2026, 1, 10))
    return person


@pytest.fixture
def keeper(sites):
    """An administrator of both sites."""
    user = make_user("administrator")
    SiteRole.objects.create(user=user, site=sites[1], role=Role.ADMINISTRATOR, recorded_at=NOW)
    return user


@pytest.fixture
def moved(mover, sites, keeper):
    move(mover, sites[1], MOVES_ON, keeper)
    mover.refresh_from_db()
    return mover


def move(person, site, day, actor, at=NOW, reason="Line 4 moves there."):
    return moves.move_person(
        person=person, site=site, from_day=day, reason=reason, actor=actor, at=at
    )


def of_site(site, role="quality"):
    return make_user(role, site=site)


def listed(client, user, day=None, **query):
    """Names and sites as the register has them for a user."""
    client.force_login(user)
    if day is not None:
        query["day"] = day.isoformat()
    groups = client.get(REGISTER, query).context["groups"]
    return {
        person.full_name: (lines[0].site.name, lines[0].said)
        for person, lines in groups
        if person.full_name == "Mo Mover"
    }


HERE, THERE = {"Mo Mover": ("Castelmar", "certified")}, {"Mo Mover": ("Aldergate", "certified")}


def test_former_site_reads_the_register_of_a_day_before_the_move(client, moved, sites):
    former = of_site(sites[0])

    assert listed(client, former, BEFORE) == HERE
    assert listed(client, former, MOVES_ON - timedelta(days=1)) == HERE
    assert listed(client, former, MOVES_ON) == {}
    assert listed(client, former, AFTER) == {}
    assert listed(client, former) == {}


@pytest.mark.parametrize("order", ["name", "scope", "end", "standing", "site", "lead"])
def test_in_every_order_and_narrowed_and_as_a_file(client, moved, sites, order):
    former = of_site(sites[0])
    assert listed(client, former, BEFORE, order=order) == HERE
    assert listed(client, former, BEFORE, order=order, standing="certified") == HERE
    assert listed(client, former, BEFORE, order=order, standing="suspended") == {}
    query = {"day": BEFORE.isoformat(), "order": order}
    text = b"".join(client.get(reverse("certification:register_csv"), query).streaming_content)
    (line,) = [line for line in text.decode().splitlines() if "Mo Mover" in line]
    assert ",Castelmar," in line


def test_new_site_reads_everything_as_of_its_own(client, moved, sites):
    new = of_site(sites[1])

    assert listed(client, new) == THERE
    assert listed(client, new, AFTER) == THERE
    assert listed(client, new, BEFORE) == HERE  # And says where that was.


def test_former_site_is_told_in_full_how_they_stood_and_led_nowhere_else(client, moved, sites):
    scope = moved.certificates.get().scope
    short = make_revision(scope, validity_months=1)
    person = make_person(full_name="Ex Pired", employee_number="E-1")
    make_certificate(person, scope, revision=short, issued_on=date(2026, 9, 1))
    move(person, sites[1], MOVES_ON, _administers_both(sites))
    client.force_login(of_site(sites[0]))

    response = client.get(REGISTER, {"day": BEFORE.isoformat(), "standing": "expired"})

    ((_person, (line,)),) = response.context["groups"]
    assert line.said == "expired"
    said = response.content.decode()
    assert "now at" in said
    assert reverse("people:person_detail", args=["E-1"]) not in said


def _administers_both(sites):
    user = make_user("administrator", site=sites[0])
    SiteRole.objects.create(user=user, site=sites[1], role=Role.ADMINISTRATOR, recorded_at=NOW)
    return user


def test_whoever_moved_away_is_out_of_the_former_sites_reach(client, moved, sites):
    instructor = of_site(sites[0], "instructor")
    client.force_login(instructor)
    for name in ("person_detail", "person_edit", "person_move"):
        assert client.get(reverse(f"people:{name}", args=["M-1"])).status_code == 404
    with pytest.raises(PeopleError, match="changed by administrators"):
        change_person(person=moved, full_name="Other", actor=instructor, at=NOW)
    client.force_login(of_site(sites[1], "instructor"))
    assert client.get(reverse("people:person_detail", args=["M-1"])).status_code == 200


def test_certificates_are_read_by_the_site_that_issued_them(client, moved, sites):
    scope = moved.certificates.get().scope
    earlier = moved.certificates.get()
    later = make_certificate(
        moved, scope, revision=earlier.scheme_revision, issued_on=AFTER, number="AL-C-1"
    )
    by_site = {site: of_site(site) for site in sites}

    def status(site, certificate):
        client.force_login(by_site[site])
        address = reverse("certification:certificate_detail", args=[certificate.number])
        return client.get(address).status_code

    assert status(sites[0], earlier) == 200
    assert status(sites[0], later) == 404
    assert status(sites[1], earlier) == 200
    assert status(sites[1], later) == 200
    client.force_login(by_site[sites[0]])
    act = reverse("certification:certificate_act", args=[earlier.number, "suspend"])
    assert client.get(act).status_code == 404


def check(sites, *rows, columns="employee_number,scope,worked_on"):
    log = work_log.read_log("log.csv", "\n".join([columns, *rows]).encode())
    register = StoredRegister(sites)
    findings = check_log(log, register, CheckOptions(zone=UTC))
    return findings.frame["standing"].to_list()


def test_work_log_of_each_site_knows_them_in_its_period(moved, sites):
    Stamp.objects.create(mark="47", person=moved, issued_on=date(2026, 1, 1), recorded_at=NOW)
    rows = [f"M-1,TERM-OP,{day}" for day in (BEFORE, MOVES_ON, AFTER)]

    assert check([sites[0]], *rows) == ["certified", "unknown_person", "unknown_person"]
    assert check([sites[1]], *rows) == ["certified"] * 3
    assert check(None, *rows) == ["certified"] * 3
    assert check(list(sites), *rows) == ["certified"] * 3
    stamped = [f"47,TERM-OP,{day}" for day in (BEFORE, AFTER)]
    assert check([sites[0]], *stamped, columns="stamp,scope,worked_on") == [
        "certified", "unknown_person",
    ]  # fmt: skip


def test_who_was_that_is_answered_of_a_day_at_the_former_site(client, moved, sites):
    Stamp.objects.create(mark="47", person=moved, issued_on=date(2026, 1, 1), recorded_at=NOW)
    client.force_login(of_site(sites[0]))
    address = reverse("audit:who_was_that")
    assert "Mo Mover" in client.get(address, {"q": f"47 {BEFORE}"}).content.decode()
    assert "Mo Mover" not in client.get(address, {"q": f"47 {AFTER}"}).content.decode()


# From the day on


def test_move_to_come_takes_effect_on_its_day_without_any_job(client, mover, sites, keeper):
    """The day begins where they move to: at midnight in London, an hour after Madrid's."""
    day = TODAY + timedelta(days=5)
    move(mover, sites[1], day, keeper)
    former, new = of_site(sites[0]), of_site(sites[1])
    assert listed(client, former) == HERE
    assert listed(client, new) == {}

    with time_machine.travel(datetime(2026, 11, 29, 23, 59, tzinfo=UTC), tick=False):
        assert listed(client, former) == HERE
        assert listed(client, new) == {}
    with time_machine.travel(datetime(2026, 11, 30, 0, 0, tzinfo=UTC), tick=False):
        assert listed(client, new) == THERE
        assert listed(client, former) == {}
        assert listed(client, former, TODAY) == HERE
        assert Person.objects.get(pk=mover.pk).site == sites[1]
    assert TrailEntry.objects.filter(act="site changed").count() == 1


def test_move_is_seen_though_another_process_entered_it(client, mover, sites, keeper, monkeypatch):
    new = of_site(sites[1])
    assert listed(client, new) == {}
    day = TODAY + timedelta(days=1)
    move(mover, sites[1], day, keeper)
    # As in a process that looked before it was entered, and looks once a minute.
    monkeypatch.setattr(memberships, "LOOK_EVERY", timedelta(minutes=1))
    memberships.next_look.at, memberships.next_look.looked_at = None, NOW
    with time_machine.travel(NOW + timedelta(days=1), tick=False):
        assert listed(client, new) == THERE


def test_a_job_carries_out_what_has_begun(mover, sites, keeper):
    move(mover, sites[1], TODAY + timedelta(days=1), keeper)
    sweep(now=NOW + timedelta(hours=12))
    assert Person.objects.get(pk=mover.pk).site == sites[1]


def test_line_lead_of_the_former_site_leads_no_longer(mover, sites, keeper):
    mover.line_lead = make_person(full_name="Lia Lead")
    mover.save()
    move(mover, sites[1], MOVES_ON, keeper)
    mover.refresh_from_db()
    assert mover.line_lead is None


# Withdrawn, and refused


def test_withdrawn_move_counts_as_never_entered(client, moved, sites, keeper):
    former, row = of_site(sites[0]), SiteMembership.objects.get(site=sites[1])
    assert listed(client, former, AFTER) == {}

    moves.withdraw_move(membership=row, reason="The wrong Mover.", actor=keeper, at=NOW)

    assert listed(client, former, AFTER) == HERE
    assert listed(client, former) == HERE
    assert listed(client, of_site(sites[1])) == {}
    assert check([sites[0]], f"M-1,TERM-OP,{AFTER}") == ["certified"]
    with pytest.raises(PeopleError, match="withdrawn already"):
        moves.withdraw_move(membership=row, reason="Twice.", actor=keeper, at=NOW)
    first = SiteMembership.objects.get(site=sites[0])
    with pytest.raises(PeopleError, match="is no move"):
        moves.withdraw_move(membership=first, reason="Never.", actor=keeper, at=NOW)


def test_there_and_back_again(client, moved, sites, keeper):
    move(moved, sites[0], date(2026, 11, 18), keeper)
    former, new = of_site(sites[0]), of_site(sites[1])

    assert listed(client, former) == HERE
    assert listed(client, former, date(2026, 11, 12)) == THERE
    assert listed(client, new, date(2026, 11, 12)) == THERE
    assert listed(client, new, AFTER) == {}
    days = (BEFORE, date(2026, 11, 12), AFTER)
    rows = [f"M-1,TERM-OP,{day}" for day in days]
    assert check([sites[1]], *rows) == ["unknown_person", "certified", "unknown_person"]


@pytest.mark.parametrize(
    ("day", "says"),
    [
        (MOVES_ON, "moves on 2026-11-10 already"),
        (MOVES_ON + timedelta(days=1), "is at Aldergate already"),
        (date(1900, 1, 1), "is no day to move on"),
        (TODAY + timedelta(days=500), "is no day to move on"),
    ],
)
def test_move_that_makes_no_sense_is_refused(moved, sites, keeper, day, says):
    with pytest.raises(PeopleError, match=says):
        move(moved, sites[1], day, keeper)
    assert SiteMembership.objects.count() == 2


def test_only_who_keeps_people_at_both_sites_moves_them(mover, sites):
    for actor in (of_site(sites[0], "administrator"), of_site(sites[1], "administrator")):
        with pytest.raises(PeopleError, match="at both sites"):
            move(mover, sites[1], MOVES_ON, actor)
    instructor = of_site(sites[0], "instructor")
    SiteRole.objects.create(user=instructor, site=sites[1], role=Role.INSTRUCTOR, recorded_at=NOW)
    make_user("operator", person=mover)
    with pytest.raises(PeopleError, match="signs in, so an administrator"):
        move(mover, sites[1], MOVES_ON, instructor)


def test_site_that_is_changed_in_the_particulars_is_a_move_of_today(client, mover, sites, keeper):
    """Whatever writes another site, the former one's past stays."""
    change_person(person=mover, site=sites[1], actor=keeper, at=NOW)
    former = of_site(sites[0])
    assert listed(client, former, BEFORE) == HERE
    assert listed(client, former) == {}
    assert check([sites[0]], f"M-1,TERM-OP,{BEFORE}") == ["certified"]


# Written down


def test_every_row_is_written_down_and_altered_ones_are_named(moved, keeper):
    row = SiteMembership.objects.get(from_day=MOVES_ON)
    moves.withdraw_move(membership=row, reason="The wrong Mover.", actor=keeper, at=NOW)
    write_down()
    assert [str(fault) for fault in verify_records().faults] == []

    with append_only.lifted(connection), connection.cursor() as cursor:
        cursor.execute(
            "UPDATE people_sitemembership SET from_day = %s WHERE id = %s",
            [date(2026, 11, 1), row.pk],
        )

    faults = [str(fault) for fault in verify_records().faults]
    assert any(fault.startswith(f"people_sitemembership {row.pk} is not what") for fault in faults)


def test_database_refuses_to_alter_where_somebody_was(moved):
    with pytest.raises(DatabaseError, match="withdraw it"), transaction.atomic():
        SiteMembership.objects.update(from_day=TODAY)
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
        SiteMembership.objects.all().delete()


# Pages


def test_page_moves_somebody_and_withdraws_it(client, mover, sites, keeper):
    client.force_login(keeper)
    page = client.get(reverse("people:person_detail", args=["M-1"])).content.decode()
    address = reverse("people:person_move", args=["M-1"])
    assert f'href="{address}"' in page
    assert (
        'name="site"'
        not in client.get(reverse("people:person_edit", args=["M-1"])).content.decode()
    )
    data = {"site": sites[1].pk, "from_day": "2026-11-10", "reason": "Line 4 moves there."}
    assert client.post(address, {**data, "reason": ""}).status_code == 422
    assert client.post(address, {**data, "from_day": "never"}).status_code == 422

    response = client.post(address, data, follow=True)

    said = response.content.decode()
    assert "The move is entered." in said
    assert "Line 4 moves there." in said
    again = client.post(address, data)
    assert again.status_code == 422
    assert "already" in again.content.decode()
    row = SiteMembership.objects.get(from_day=MOVES_ON)
    withdraw = reverse("people:move_withdraw", args=["M-1", row.pk])
    assert f'href="{withdraw}"' in said
    assert (
        "withdrawn" in client.post(withdraw, {"reason": "Not them."}, follow=True).content.decode()
    )
    assert client.get(withdraw).status_code == 404
    mover.refresh_from_db()
    assert mover.site == sites[0]
