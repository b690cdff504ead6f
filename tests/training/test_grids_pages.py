"""Grids as pages: whom they list and in which order, what they say, and what they keep."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from certification.models import StandingEnd
from certification.services import standing
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
from training.models import Calibration, PracticeRecord, VisionTest
from training.queries import grids as queries

pytestmark = pytest.mark.django_db

VISION, WORK, SHELF = "/vision-tests/", "/practice/", "/calibrations/"


@pytest.fixture
def today():
    return make_site().today()


@pytest.fixture
def scope():
    return make_scope(code="TERM", title="Terminals")


@pytest.fixture
def quality(client):
    user = make_user("quality")
    client.force_login(user)
    return user


def vision_test_of(person, days_ago, *, passed=True, **fields):
    day = person.site.today() - timedelta(days=days_ago)
    return VisionTest.objects.create(
        test_id=f"V-{person.pk}-{days_ago}", person=person, tested_on=day, passed=passed, **fields
    )


def certified(person, scope, revision):
    today = person.site.today()
    make_certificate(person, scope, revision=revision, issued_on=today - timedelta(days=30))
    standing.rebuild_person(person)


def names(answer):
    return [row.of.full_name for row in answer.context["rows"]]


def rows(answer):
    return {row.of: row for row in answer.context["rows"]}


def test_whose_vision_test_runs_out_soonest_stands_first(client, quality, scope):
    revision = make_revision(scope, vision_months=12)
    for name, days_ago in (("Later", 100), ("Over", 400), ("Sooner", 300)):
        person = make_person(full_name=name)
        vision_test_of(person, days_ago)
        certified(person, scope, revision)
    vision_test_of(make_person(full_name="Trainee"), 350)
    make_person(full_name="Newcomer")

    answer = client.get(VISION)

    assert names(answer) == ["Over", "Sooner", "Later", "Trainee", "Newcomer"]
    page = answer.content.decode()
    assert page.count("not current since") == 1
    assert "none yet" in page


def test_the_list_is_narrowed_by_class_line_and_name(client, quality):
    lead, other = make_person(full_name="Goran"), make_person(full_name="Mira")
    in_class = make_person(full_name="In class", line_lead=other)
    make_person(full_name="In line", line_lead=lead)
    make_person(full_name="Left", line_lead=lead, left_on=make_site().today() - timedelta(days=1))
    elsewhere = make_site("Aldergate", "AL", time_zone="Europe/London")
    make_person(elsewhere, full_name="Elsewhere")
    today = make_site().today()
    session = make_session(people=(in_class,), starts_on=today, ends_on=today)

    assert "Elsewhere" not in names(client.get(VISION))
    assert names(client.get(VISION, {"session": session.number})) == ["In class"]
    assert names(client.get(VISION, {"lead": lead.employee_number})) == ["In line"]
    assert names(client.get(VISION, {"q": "in li"})) == ["In line"]
    nobody = client.get(VISION, {"q": "Left"}).content.decode()
    assert "Nobody matches" in nobody


def test_of_a_long_list_the_first_are_shown_and_the_others_said(client, quality, monkeypatch):
    monkeypatch.setattr(queries, "ROWS_AT_MOST", 3)
    for _ in range(5):
        make_person()

    page = client.get(VISION)

    assert len(page.context["rows"]) == 3
    assert "The first 3 of 5: narrow the list" in page.content.decode()


@pytest.mark.parametrize("address", [VISION, WORK, SHELF])
def test_a_longer_list_takes_no_more_queries(client, address, scope, today):
    user = make_user("instructor")
    client.force_login(user)

    def more(count):
        for _ in range(count):
            person = make_person()
            vision_test_of(person, 3, recorded_by=user)
            PracticeRecord.objects.create(person=person, scope_code="TERM", performed_on=today)
            Calibration.objects.create(tool=make_tool(), calibrated_on=today, valid_through=today)
        with CaptureQueriesContext(connection) as found:
            client.get(address)
        return len(found)

    client.get(address)
    few = more(2)
    assert more(12) == few


def test_what_is_said_once_is_missing_and_nothing_is_recorded_or_lost(client, quality):
    first, second = make_person(), make_person()
    sent = {
        "tested_on": "31 Nov",
        "examiner": "",
        "method": "card",
        f"result-{first.pk}": "pass",
        f"result-{second.pk}": "fail",
        f"lenses-{first.pk}": "on",
    }

    answer = client.post(VISION, sent)

    assert answer.status_code == 422
    page = answer.content.decode()
    assert "Enter a valid date" in page
    assert "This field is required" in page
    assert 'value="card"' in page
    said = rows(answer)
    assert (said[first].chosen, said[first].extra, said[second].chosen) == ("pass", "on", "fail")
    assert not VisionTest.objects.exists()


@pytest.mark.parametrize("wrong", ["", "perhaps", "PASS"])
def test_a_round_without_any_result_says_to_choose_one(client, quality, today, wrong):
    sent = {"tested_on": today, "examiner": "R. Hale", f"result-{make_person().pk}": wrong}

    answer = client.post(VISION, {**sent, "result-x": "pass", "result-": "pass"})

    assert answer.status_code == 422
    assert "Choose pass or fail of somebody first." in answer.content.decode()
    assert not VisionTest.objects.exists()


def test_rows_that_fit_leave_and_the_others_stay_as_chosen_whatever_the_filter(
    client, quality, today
):
    fits = make_person(full_name="Ada Holm")
    stays, other = make_person(full_name="Bo Lind"), make_person(full_name="Cy Rask")
    vision_test_of(stays, 0, passed=False, recorded_by=quality)
    sent = {"tested_on": today, "examiner": "R. Hale"}
    sent |= {f"result-{one.pk}": "pass" for one in (fits, stays)}

    answer = client.post(f"{VISION}?q=Cy", sent)

    assert answer.status_code == 422
    assert names(answer) == ["Bo Lind", "Cy Rask"]
    assert rows(answer)[stays].chosen == "pass"
    assert rows(answer)[other].chosen == ""
    page = answer.content.decode()
    assert "Recorded: 1 pass of" in page
    assert "1 row is not recorded" in page
    assert "already: not passed, entered" in page
    assert VisionTest.objects.filter(person=fits).count() == 1


def test_whoever_is_not_in_ones_list_any_more_is_counted_and_not_named(client, quality, today):
    gone = make_person(
        make_site("Aldergate", "AL", time_zone="Europe/London"), full_name="Gone Now"
    )
    make_person()
    sent = {"tested_on": today, "examiner": "R. Hale", f"result-{gone.pk}": "pass"}

    page = client.post(VISION, sent).content.decode()

    assert "1 of them is not in your list any more" in page
    assert "Gone Now" not in page
    assert not VisionTest.objects.exists()


def test_a_row_says_what_is_recorded_of_the_day_before_it_is_chosen(client, quality, today):
    person = make_person()
    vision_test_of(person, 0, recorded_by=quality)
    vision_test_of(person, 5, recorded_by=quality)

    notes = rows(client.get(VISION))[person].notes

    assert [note.day for note in notes] == [today, today - timedelta(days=5)]
    assert "recorded already: passed" in notes[0].text
    assert client.get(VISION).content.decode().count("data-note-of") == 2


def test_a_lead_finds_their_own_people_with_the_longest_without_work_first(client, scope, today):
    lead = make_user("line_lead")
    client.force_login(lead)
    for name, days_ago in (("Lately", 2), ("Long ago", 150)):
        person = make_person(full_name=name, line_lead=lead.person)
        PracticeRecord.objects.create(
            person=person, scope_code="TERM", performed_on=today - timedelta(days=days_ago)
        )
    make_person(full_name="Never", line_lead=lead.person)
    make_person(full_name="Not theirs")

    assert names(client.get(WORK)) == ["Long ago", "Lately", "Never"]


def test_when_practice_ends_is_told_to_who_reads_in_full_and_not_to_a_lead(client, scope, today):
    lead, instructor = make_user("line_lead"), make_user("instructor")
    person = make_person(line_lead=lead.person)
    revision = make_revision(scope, max_absence_months=6)
    make_certificate(person, scope, revision=revision, issued_on=today - timedelta(days=40))
    other = make_scope(code="A-FIRST", level="inspector")

    told = {}
    for user in (lead, instructor):
        client.force_login(user)
        # Nothing was asked for: the scope in which most are certified.
        answer = client.get(WORK)
        assert answer.context["scope_code"] == "TERM" != other.code
        told[user] = rows(answer)[person]

    assert told[lead].is_certified
    assert told[lead].practice_ends_on is None
    end = StandingEnd.objects.get(span__person=person, kind="practice", last_day__gte=today)
    assert told[instructor].practice_ends_on == end.last_day


def test_work_is_confirmed_within_the_scope_that_was_shown_or_not_at_all(client, quality, scope):
    person, day = make_person(), make_site().today()
    make_scope(code="CUPS", title="Cups")
    sent = {"who": [person.pk], "reference": "WO-1", "performed_on": day}

    for code in ("GONE", ""):
        answer = client.post(WORK, {**sent, "scope_code": code})
        assert answer.status_code == 422
        assert "not in use any more" in answer.content.decode()
        assert rows(answer)[person].chosen == "on"
    assert not PracticeRecord.objects.exists()

    answer = client.post(WORK, {**sent, "scope_code": "CUPS"}, follow=True)
    assert "Recorded: practice of 1 person on WO-1 of" in answer.content.decode()
    assert PracticeRecord.objects.get().scope_code == "CUPS"
    # The next round begins with the scope of this one.
    assert client.get(WORK).context["scope_code"] == "CUPS"
    assert client.get(WORK, {"scope": "TERM"}).context["scope_code"] == "TERM"


def test_a_unit_or_work_order_is_asked_for(client, quality, scope, today):
    person = make_person()
    sent = {"who": [person.pk], "performed_on": today, "scope_code": "TERM", "reference": " "}

    answer = client.post(WORK, sent)

    assert "This field is required" in answer.content.decode()
    assert rows(answer)[person].chosen == "on"


def test_where_no_scope_is_in_use_the_page_says_so(client, quality):
    make_person()

    assert "No scope is in use" in client.get(WORK).content.decode()


def test_calibrations_take_the_report_of_all_or_their_own(client, today):
    client.force_login(make_user("instructor"))
    first, second, third = make_tool(kind="iron"), make_tool(kind="iron"), make_tool(kind="tip")
    sent = {
        "calibrated_on": today,
        "valid_through": today + timedelta(days=365),
        "reference": "LAB-1",
        f"result-{first.pk}": "pass",
        f"result-{second.pk}": "fail",
        f"report-{second.pk}": " LAB-2 ",
        f"report-{third.pk}": "LAB-3",
    }
    assert [row.of for row in client.get(SHELF, {"kind": "tip"}).context["rows"]] == [third]

    answer = client.post(SHELF, sent, follow=True)

    assert "Recorded: 1 pass and 1 fail of" in answer.content.decode()
    found = Calibration.objects.order_by("pk").values_list("tool", "passed", "reference")
    assert list(found) == [(first.pk, True, "LAB-1"), (second.pk, False, "LAB-2")]


def test_calibrations_that_end_before_they_were_done_are_refused_once_for_all(client, today):
    client.force_login(make_user("instructor"))
    tool = make_tool()
    sent = {"calibrated_on": today, "valid_through": today - timedelta(days=1)}

    answer = client.post(SHELF, {**sent, f"result-{tool.pk}": "pass"})

    assert "good through the day it was done, or later" in answer.content.decode()
    assert rows(answer)[tool].chosen == "pass"
    assert not Calibration.objects.exists()


def test_the_next_calibrations_are_as_long_as_the_last(client, today):
    client.force_login(make_user("instructor"))
    make_tool()
    assert client.get(SHELF).context["once"].initial["valid_through"] is None
    Calibration.objects.create(
        tool=make_tool(),
        calibrated_on=today - timedelta(days=200),
        valid_through=today - timedelta(days=20),
    )

    proposed = client.get(SHELF).context["once"].initial["valid_through"]
    assert proposed == today + timedelta(days=180)


def test_attendance_of_a_page_opened_before_somebody_else_answered(client, today):
    session = make_session(people=(make_person(), make_person()), starts_on=today, ends_on=today)
    client.force_login(session.instructor)
    first, second = session.enrolments.order_by("pk")
    address = f"/classes/{session.number}/attendance/{today.isoformat()}/"
    page = client.get(address).content.decode()
    assert f'value="{first.pk}:open"' in page
    shown = [f"{first.pk}:open", f"{second.pk}:open"]
    client.post(address, {"shown": shown[:1], "present": [first.pk]})

    answer = client.post(address, {"shown": shown, "present": [second.pk]})

    assert answer.status_code == 422
    page = answer.content.decode()
    assert "Recorded as there by somebody else meanwhile" in page
    assert "is recorded: 1 there." in page
    # Seen now, the same answer holds.
    assert f'value="{first.pk}:there"' in page
    shown = [f"{first.pk}:there", f"{second.pk}:there"]
    client.post(address, {"shown": shown, "present": [second.pk]})
    first_now, second_now = session.enrolments.order_by("pk")
    assert [one.attendances.get().present for one in (first_now, second_now)] == [False, True]


def test_attendance_of_a_day_to_come_says_to_wait_for_it(client, today):
    tomorrow = today + timedelta(days=1)
    session = make_session(
        people=(make_person(), make_person()), starts_on=tomorrow, ends_on=tomorrow
    )
    client.force_login(session.instructor)
    first, second = session.enrolments.order_by("pk")
    sent = {"shown": [f"{first.pk}:open", f"{second.pk}:open"], "present": [second.pk]}

    answer = client.post(f"/classes/{session.number}/attendance/{tomorrow.isoformat()}/", sent)

    assert answer.status_code == 422
    assert "Take attendance on the day" in answer.content.decode()
    kept = {row.of: row.chosen for row in answer.context["rows"]}
    assert kept == {first: "", second: "on"}
