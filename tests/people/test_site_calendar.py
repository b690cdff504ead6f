"""Closed days of a site: pasted, named, opened again, and what goes by them."""

from datetime import date

import pytest
from django.urls import reverse

from people.domain.closed_days import closed_days_in
from people.domain.working_days import working_days
from people.exceptions import PeopleError
from people.models import ClosedDay
from people.presenters.calendar_page import year_of
from people.queries.calendars import working_days_at, working_days_of
from people.services import calendars
from records.models import TrailEntry
from reminders.domain.reminders import list_through, planned_on, reach, week_of_list
from tests.factories import NOW, make_session, make_site, make_user
from training.domain.class_days import days_held
from training.queries.classes import class_days, weekdays_chosen
from training.services import courses

CALENDAR = reverse("people:site_calendar")
EVE, CHRISTMAS, BOXING = date(2026, 12, 24), date(2026, 12, 25), date(2026, 12, 28)
WEEKDAYS = [1, 2, 3, 4, 5]


@pytest.mark.parametrize(
    ("text", "days"),
    [
        pytest.param("2026-12-25 Christmas", {CHRISTMAS: "Christmas"}, id="as ISO has it"),
        pytest.param("25.12.2026;Weihnachten", {CHRISTMAS: "Weihnachten"}, id="with dots"),
        pytest.param("2026-12-25\tChristmas", {CHRISTMAS: "Christmas"}, id="from a spreadsheet"),
        pytest.param("2026-12-25", {CHRISTMAS: ""}, id="without a name"),
        pytest.param(
            "24.12.2026 – 25.12.2026 shut",
            {EVE: "shut", CHRISTMAS: "shut"},
            id="from one to another",
        ),
        pytest.param(
            "\n2026-12-24 to 2026-12-25, shut\n", {EVE: "shut", CHRISTMAS: "shut"}, id="in words"
        ),
        pytest.param("2026-12-24 - half", {EVE: "- half"}, id="a dash before a name"),
    ],
)
def test_days_are_read_as_they_are_written(text, days):
    assert closed_days_in(text) == (days, [])


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("Christmas", "day"),
        ("2026-02-30 never", "day"),
        ("2026-12-25Christmas", "day"),
        ("12/25/2026", "day"),
        ("2026-12-25 – 2026-12-24", "backwards"),
        ("2026-01-01 – 2027-12-31", "many"),
        ("1999-12-31", "years"),
        ("2201-01-01", "years"),
        ("9" * 5000, "day"),
    ],
)
def test_a_line_that_says_no_day_is_told_by_its_number(text, fault):
    days, faults = closed_days_in(f"2026-12-25 Christmas\n{text}")
    assert days == {CHRISTMAS: "Christmas"}
    assert [(one.line, one.fault) for one in faults] == [(2, fault)]
    assert len(faults[0].text) <= 60


def test_reminders_go_by_closed_days():
    days = working_days(WEEKDAYS, [CHRISTMAS])
    assert planned_on(CHRISTMAS, 0, days) == EVE
    assert reach(EVE, days) == date(2026, 12, 27)
    assert list_through("daily", CHRISTMAS, days) is None
    week_off = working_days(WEEKDAYS, [date(2026, 12, day) for day in range(21, 26)])
    assert week_of_list(date(2026, 12, 25), week_off) is None
    assert week_of_list(BOXING, week_off) == BOXING


def test_classes_leave_closed_days_out_between_their_first_and_last():
    held = days_held(date(2026, 12, 23), BOXING, WEEKDAYS, (), [EVE, CHRISTMAS])
    assert held == [date(2026, 12, 23), BOXING]
    assert days_held(EVE, CHRISTMAS, WEEKDAYS, (), [EVE, CHRISTMAS]) == [EVE, CHRISTMAS]


def test_a_year_says_of_each_day_what_it_is():
    months = year_of(2026, working_days(WEEKDAYS, [CHRISTMAS]), {CHRISTMAS: "Christmas"})
    december = months[11]
    cells = {cell.day: cell for week in december.weeks for cell in week if cell}
    assert (cells[EVE].kind, cells[CHRISTMAS].kind) == ("works", "closed")
    assert cells[date(2026, 12, 26)].kind == "off"
    assert december.working == 22
    assert all(len(week) == 7 for month in months for week in month.weeks)


@pytest.mark.django_db
def test_closed_days_are_written_once_and_take_the_name_that_comes_later():
    site = make_site()
    actor = make_user("instructor", site=site)
    close = {"site": site, "actor": actor, "at": NOW}
    first = calendars.close_days(days={CHRISTMAS: "", EVE: "Eve"}, **close)
    again = calendars.close_days(days={CHRISTMAS: "Christmas", EVE: ""}, **close)
    assert (first, again) == (calendars.Closed(2, 0), calendars.Closed(0, 1))
    assert dict(ClosedDay.objects.values_list("day", "name")) == {
        EVE: "Eve",
        CHRISTMAS: "Christmas",
    }
    assert calendars.close_days(days={EVE: "Eve"}, **close) == calendars.Closed(0, 0)
    assert TrailEntry.objects.filter(act="site days closed").count() == 2
    assert CHRISTMAS not in working_days_at(site)
    assert CHRISTMAS in working_days_at(make_site("Elsewhere", "EL"))
    assert CHRISTMAS not in working_days_of([site])[site.pk]

    calendars.open_day(site=site, day=CHRISTMAS, actor=actor, at=NOW)

    assert CHRISTMAS in working_days_at(site)
    with pytest.raises(PeopleError, match="opened it meanwhile"):
        calendars.open_day(site=site, day=CHRISTMAS, actor=actor, at=NOW)
    with pytest.raises(PeopleError, match="is kept by"):
        calendars.close_days(
            site=site, days={EVE: ""}, actor=make_user("quality", site=site), at=NOW
        )


@pytest.mark.django_db
def test_a_class_is_planned_without_closed_days_and_keeps_them_as_planned():
    site = make_site(working_days=WEEKDAYS)
    instructor = make_user("instructor", site=site)
    at = {"actor": instructor, "at": NOW}
    calendars.close_days(site=site, days={EVE: "", CHRISTMAS: ""}, **at)
    revision = make_session(site).course_revision
    session = courses.plan_class(
        course_revision=revision,
        site=site,
        instructor=instructor,
        starts_on=date(2026, 12, 23),
        ends_on=BOXING,
        places=4,
        **at,
    )
    assert class_days(session) == [date(2026, 12, 23), BOXING]
    assert weekdays_chosen(session) == []
    calendars.open_day(site=site, day=EVE, **at)
    assert class_days(session) == [date(2026, 12, 23), BOXING]


@pytest.mark.django_db
def test_a_list_of_days_is_pasted_and_one_of_them_opened_again(client):
    site = make_site()
    client.force_login(make_user("administrator", site=site))
    page = client.get(CALENDAR, {"year": "2026"}).content.decode()
    assert "None in this year." in page

    wrong = client.post(CALENDAR, {"days": "2026-12-25 Christmas\nsoon"})
    assert wrong.status_code == 422
    assert "Line 2: “soon” begins with no day" in wrong.content.decode()
    assert not ClosedDay.objects.exists()
    answer = client.post(CALENDAR, {"days": "2026-12-25 Christmas\n2026-12-24"})
    assert answer.url == f"{CALENDAR}?site={site.prefix}&year=2026"
    assert "Christmas" in client.get(answer.url).content.decode()

    client.post(CALENDAR, {"opened": "2026-12-25"})
    client.post(CALENDAR, {"opened": "2026-12-25"})
    client.post(CALENDAR, {"opened": "x"})
    assert [row.day for row in ClosedDay.objects.all()] == [EVE]


@pytest.mark.django_db
@pytest.mark.parametrize("year", ["0", "99999", "9" * 4400, "x", "1066"])
def test_any_year_is_answered(client, year):
    client.force_login(make_user("instructor"))
    assert client.get(CALENDAR, {"year": year}).status_code == 200


@pytest.mark.django_db
def test_another_site_s_calendar_is_not_there(client):
    there = make_site("Elsewhere", "EL")
    client.force_login(make_user("instructor", site=make_site()))
    assert client.get(CALENDAR, {"site": there.prefix}).status_code == 404
    assert client.post(f"{CALENDAR}?site=EL", {"days": "2026-12-25"}).status_code == 404
    assert not ClosedDay.objects.exists()
