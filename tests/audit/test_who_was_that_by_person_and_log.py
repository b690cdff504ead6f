"""Who was that, by an employee number or a name and a day, and by rows of checked work logs."""

from datetime import UTC, date, datetime, timedelta
from io import BytesIO
from zoneinfo import ZoneInfo

import pytest
from django.urls import reverse

from audit.domain import work_log
from audit.models import WorkLogCheck
from audit.queries import logged_rows
from audit.queries.logged_rows import Wanted, rows_naming
from audit.services import work_log_checks
from people.models import FormerEmployeeNumber, SiteMembership, Stamp
from people.services.particulars import change_from_day
from tests.factories import (
    NOW,
    TODAY,
    make_certificate,
    make_person,
    make_scope,
    make_site,
    make_user,
)
from training.models import PracticeRecord

pytestmark = [pytest.mark.django_db, pytest.mark.each_database]

ASK = "/register/who-was-that/"
DAY = date(2026, 5, 3)
COLUMNS = "employee_number,scope,worked_on,unit,Work order"


@pytest.fixture
def quality(client):
    user = make_user("quality")
    client.force_login(user)
    return user


@pytest.fixture
def terminals():
    return make_scope(code="TERM", title="Terminals, operator")


@pytest.fixture
def signe(terminals):
    """Certified from 10 January 2025 through 2027; holds stamp 47."""
    person = make_person(full_name="Signe Aldous", employee_number="20891")
    make_certificate(person, terminals, number="CA-C-00012", issued_on=date(2025, 1, 10))
    Stamp.objects.create(mark="47", person=person, issued_on=date(2025, 2, 1))
    return person


def ask(client, question, **query):
    response = client.get(ASK, {"q": question, **query})
    assert response.status_code == 200
    return response.context["reply"]


def page(client, question):
    return " ".join(client.get(ASK, {"q": question}).content.decode().replace("\xa0", " ").split())


def stood(match):
    return {
        standing.scope.code if standing.scope else None: standing.answer.standing.value
        for standing in match.stood
    }


def check_log(actor, *rows, heading=COLUMNS, name="june.csv", at=NOW):
    check = work_log_checks.request_check(
        actor=actor,
        file=BytesIO("\n".join([heading, *rows]).encode()),
        name=name,
        at=at,
        zone=ZoneInfo("Europe/Madrid"),
    )
    assert work_log_checks.run_check(check_id=check.pk, clock=lambda: at)
    done = WorkLogCheck.objects.get(pk=check.pk)
    assert done.state == WorkLogCheck.State.FINISHED, done.failure
    return done


# By employee number or name


@pytest.mark.parametrize(
    "question",
    [
        "20891 on 3 May 2026",
        "operator 20891 2026-05-03",
        "employee number: 20891, 3 May",
        "Signe Aldous 2026-05-03",
        "aldous signe on 3 May 2026",
        "who was Signé Ald on 3 May 2026?",
        "OLD-7 2026-05-03",
    ],
)
def test_number_or_name_with_a_day_says_how_they_stood_that_day(client, quality, signe, question):
    FormerEmployeeNumber.objects.create(person=signe, employee_number="OLD-7", until_on=TODAY)

    [match] = ask(client, question).matches

    assert (match.person, match.day) == (signe, DAY)
    assert stood(match) == {"TERM": "certified"}
    shown = page(client, question)
    assert "20891 Castelmar" in shown
    assert "CA-C-00012" in shown


def test_day_before_the_certificate_is_answered_too(client, quality, signe):
    [match] = ask(client, "Signe Aldous 2025-01-09").matches

    assert stood(match) == {None: "never_certified"}


def test_several_of_the_name_are_all_named_each_with_their_number(client, quality, signe):
    make_person(full_name="Signe Aldous-Brandt", employee_number="20897")
    make_person(full_name="Designe Aldous", employee_number="20888")

    reply = ask(client, "Signe Aldous 2026-05-03")

    assert [match.person.employee_number for match in reply.matches] == ["20891", "20897"]
    shown = page(client, "Signe Aldous 2026-05-03")
    assert "20891" in shown
    assert "20897" in shown


def test_a_name_from_before_a_change_finds_who_has_another_by_now(client, quality, signe):
    change_from_day(
        person=signe,
        changes={"full_name": "Signe Holt"},
        from_day=TODAY,
        reason="Marriage.",
        actor=make_user("administrator"),
        at=NOW,
    )

    [match] = ask(client, "Signe Aldous 2026-05-03").matches

    assert match.person == signe
    shown = page(client, "Signe Aldous 2026-05-03")
    assert "Signe Holt" in shown
    assert "Was called Signe Aldous." in shown


def test_many_of_a_name_are_cut_and_it_is_said(client, quality):
    for n in range(25):
        make_person(full_name=f"Signe Number {n}")

    reply = ask(client, "Signe 2026-05-03")

    assert (len(reply.matches), reply.more) == (20, True)


def test_number_that_is_also_a_stamp_answers_as_both(client, quality, signe):
    other = make_person(full_name="Number Fortyseven", employee_number="47")

    assert {match.person for match in ask(client, "47 2026-05-03").matches} == {signe, other}
    assert [match.person for match in ask(client, "stamp 47 2026-05-03").matches] == [signe]
    assert [match.person for match in ask(client, "person 47 2026-05-03").matches] == [other]


def test_letters_of_a_stamp_are_not_taken_for_a_name(client, quality, signe):
    holder = make_person(full_name="Holder")
    Stamp.objects.create(mark="Al", person=holder, issued_on=date(2025, 1, 1))

    assert [match.person for match in ask(client, "al 2026-05-03").matches] == [holder]


def test_without_a_day_it_is_asked_for(client, quality, signe):
    for question in ("Signe Aldous", "20891", "operator 20891"):
        reply = ask(client, question)
        assert not reply.matches
        assert reply.people == [signe]
        assert "Add the day to see how they stood then." in page(client, question)
    assert ask(client, "operator 99").says == "Nobody at your sites has the number or name 99."


def test_people_of_other_sites_answer_like_nobody(client, quality, terminals):
    elsewhere = make_person(make_site("Aldergate", "AL"), full_name="Rhoswen Carrick")

    for question in (elsewhere.employee_number, "Rhoswen Carrick"):
        for day in ("", " 2026-05-03"):
            reply = ask(client, question + day)
            assert not reply.matches
            assert not reply.people
            shown = page(client, question + day).split("answer-sheet")[-1]
            assert "Carrick</a>" not in shown


def test_who_moved_away_is_named_for_a_day_they_were_here(client, quality, signe):
    _moves_away(signe, quality)

    assert [match.person for match in ask(client, "Signe 2026-05-03").matches] == [signe]
    assert not ask(client, "Signe 2026-07-03").matches


def _moves_away(person, actor, on=date(2026, 7, 1)):
    here, there = person.site, make_site("Aldergate", "AL")
    for site, day in ((here, date(2020, 1, 1)), (there, on)):
        SiteMembership.objects.create(
            person=person, site=site, from_day=day, entered_by=actor, reason="Line 4 moves."
        )
    person.site = there
    person.save(update_fields=["site"])


# By rows of checked work logs


@pytest.mark.parametrize("question", ["SN-9", "unit sn-9", "SN-9 on 3 May 2026", "WO 12", "wo 12"])
def test_row_of_a_checked_log_names_who_it_was(client, quality, signe, question):
    check = check_log(quality, "20891,TERM,2026-05-03,SN-9,12", "20891,TERM,2026-05-04,SN-8,13")

    reply = ask(client, question)

    [match] = reply.matches
    assert (match.person, match.day, stood(match)) == (signe, DAY, {"TERM": "certified"})
    shown = page(client, question)
    assert "In the log june.csv, checked on 25 Nov 2026:" in shown
    assert "line 2." in shown
    address = reverse("audit:work_log_check", args=[check.pk])
    address += "?q=20891&amp;first=2026-05-03&amp;last=2026-05-03"
    assert address in shown
    [row] = client.get(address.replace("&amp;", "&")).context["rows"]
    assert row["line"] == 2


def test_rows_of_one_person_and_day_are_one_answer_that_counts_them(client, quality, signe):
    check_log(quality, *["20891,TERM,2026-05-03,SN-9,12"] * 5)

    [match] = ask(client, "SN-9").matches

    assert match.by.endswith("unit SN-9, lines 2, 3, 4, 2 more.")


def test_stamp_in_a_log_names_its_holder_of_that_day(client, quality, signe):
    heading = "stamp,scope,worked_on,unit"
    check_log(quality, "47,TERM,2026-05-03,SN-9", "47,TERM,2026-05-04,SN-8", heading=heading)

    reply = ask(client, "stamp 47 2026-05-03")

    assert [match.person for match in reply.matches] == [signe, signe]
    assert [match.logged is not None for match in reply.matches] == [False, True]
    assert "stamp 47, line 2" in reply.matches[1].by


def test_unit_logged_for_another_day_says_for_which(client, quality, signe):
    check_log(quality, "20891,TERM,2026-05-03,SN-9,12")

    reply = ask(client, "SN-9 on 4 May 2026")

    assert not reply.matches
    assert [match.day for match in reply.other_days] == [DAY]


def test_recorded_work_comes_before_rows_of_logs(client, quality, signe):
    check_log(quality, "20891,TERM,2026-05-03,SN-9,12")
    PracticeRecord.objects.create(
        person=signe, scope_code="TERM", performed_on=DAY, reference="SN-9"
    )

    assert [match.logged is None for match in ask(client, "SN-9").matches] == [True, False]


def test_number_in_a_log_that_is_nobodys_here_is_said(client, quality, signe):
    check_log(quality, "99999,TERM,2026-05-03,SN-9,12")

    reply = ask(client, "SN-9")

    assert not reply.matches
    assert "99999 is nobody’s number at your sites." in page(client, "SN-9")


def test_former_number_in_a_log_names_who_has_another_by_now(client, quality, signe):
    check_log(quality, "20891,TERM,2026-05-03,SN-9,12")
    FormerEmployeeNumber.objects.create(person=signe, employee_number="20891", until_on=TODAY)
    signe.employee_number = "30891"
    signe.save()

    [match] = ask(client, "SN-9").matches

    assert match.person == signe


def test_log_checked_against_other_sites_too_is_not_read_by_who_audits_one(client, quality, signe):
    there = make_site("Aldergate", "AL")
    of_both = make_user("quality")
    of_both.roles.create(site=there, role="quality")
    elsewhere = make_person(there, full_name="Rhoswen Carrick", employee_number="60431")
    check_log(of_both, "60431,TERM,2026-05-03,SN-9,12", "20891,TERM,2026-05-03,SN-8,12")

    for question in ("SN-9", "SN-8"):
        assert not ask(client, question).matches
        assert "Carrick" not in page(client, question)
    client.force_login(of_both)
    assert [match.person for match in ask(client, "SN-9").matches] == [elsewhere]


def test_who_moved_away_is_named_for_rows_of_days_they_were_here(client, quality, signe):
    check_log(quality, "20891,TERM,2026-05-03,SN-9,12", "20891,TERM,2026-07-03,SN-8,12", at=NOW)
    _moves_away(signe, quality)

    assert [match.person for match in ask(client, "SN-9").matches] == [signe]
    reply = ask(client, "SN-8")
    assert not reply.matches
    assert len(reply.nobody) == 1
    assert "Signe" not in page(client, "SN-8")


def test_as_known_uses_the_logs_checked_by_then(client, quality, signe):
    check_log(quality, "20891,TERM,2026-05-03,SN-9,12", at=datetime(2026, 6, 1, 9, tzinfo=UTC))

    assert not ask(client, "SN-9", known_at="2026-05-31").matches
    assert ask(client, "SN-9", known_at="2026-06-01").matches


def test_failed_and_unfinished_checks_answer_nothing(client, quality, signe):
    work_log_checks.request_check(
        actor=quality,
        file=BytesIO(f"{COLUMNS}\n20891,TERM,2026-05-03,SN-9,12".encode()),
        name="waits.csv",
        at=NOW,
        zone=ZoneInfo("Europe/Madrid"),
    )

    reply = ask(client, "SN-9")
    assert (reply.matches, reply.logs_left) == ([], 0)


# Limits


def _log(quality, n):
    return check_log(
        quality, f"20891,TERM,2026-05-03,SN-9,{n}", at=NOW + timedelta(minutes=n), name=f"{n}.csv"
    )


def test_latest_logs_are_looked_through_first_and_it_is_said_how_many_were_not(
    client, quality, signe, monkeypatch
):
    monkeypatch.setattr(logged_rows, "MOST_LOGS", 2)
    for n in range(5):
        _log(quality, n)

    reply = ask(client, "SN-9")

    assert [match.logged.check.file_name for match in reply.matches] == ["4.csv", "3.csv"]
    assert reply.logs_left == 3
    assert "3 earlier work logs were not looked through." in page(client, "SN-9")


def test_time_and_rows_are_bounded_and_one_log_is_always_looked_through(
    quality, signe, monkeypatch
):
    for n in range(3):
        _log(quality, n)
    checks = WorkLogCheck.objects.all()
    wanted = Wanted({"SN-9"})

    ticking = iter(range(0, 100, 3))
    answer = rows_naming(checks, wanted, clock=lambda: next(ticking))
    assert (answer.logs, answer.left) == (1, 2)

    monkeypatch.setattr(logged_rows, "MOST_ROWS", 2)
    answer = rows_naming(checks, wanted)
    assert (answer.logs, answer.left) == (2, 1)

    monkeypatch.setattr(logged_rows, "CANDIDATES", 2)
    answer = rows_naming(checks, wanted)
    assert (answer.logs, answer.left) == (2, 1)


def test_log_checked_twice_answers_once(client, quality, signe):
    for minutes in (0, 1):
        check_log(quality, "20891,TERM,2026-05-03,SN-9,12", at=NOW + timedelta(minutes=minutes))

    assert len(ask(client, "SN-9").matches) == 1


def test_findings_that_are_gone_count_as_not_looked_through(client, quality, signe):
    check = _log(quality, 1)
    check.findings.storage.delete(check.findings.name)

    assert ask(client, "SN-9").logs_left == 1


@pytest.mark.parametrize(
    ("heading", "names"),
    [
        ("unit", True),
        ("Unit No.", True),
        ("WORK_ORDER", True),
        ("work-order number", True),
        ("S/N", True),
        ("serial", True),
        ("Traveller", True),
        ("Auftragsnummer", True),
        ("Seriennummer", True),
        ("quantity", False),
        ("units", False),
        ("ordered_by", False),
        ("note", False),
        ("", False),
    ],
)
def test_heading_says_whether_it_numbers_a_unit(heading, names):
    assert work_log.names_a_unit(heading) is names
