"""Polling for what has changed: everything whose answer may differ, each once, on pages."""

from datetime import datetime, timedelta

import pytest
from django.core.cache import cache
from django.utils import timezone

from certification.models import CertificateEvent, StandingChange
from certification.presenters import bench_check
from certification.services import standing
from interfaces.services import api_tokens
from people.services import people
from tests.factories import (
    NOW,
    make_certificate,
    make_person,
    make_revision,
    make_scope,
    make_site,
    make_user,
)
from training.models import PracticeRecord, VisionTest

pytestmark = pytest.mark.django_db

AT = NOW + timedelta(days=40)


@pytest.fixture(autouse=True)
def _nobody_has_asked_yet():
    cache.clear()


class Clock:
    """The clock of the site's programs, moved by hand."""

    def __init__(self, monkeypatch):
        self.now = AT
        monkeypatch.setattr(timezone, "now", lambda: self.now)

    def passes(self, **time):
        self.now += timedelta(**time)
        return self.now


@pytest.fixture
def clock(monkeypatch):
    return Clock(monkeypatch)


@pytest.fixture
def site():
    return make_site()


@pytest.fixture
def administrator(site):
    return make_user("administrator", site=site)


@pytest.fixture
def poll(client, administrator, clock):
    tokens = {}

    def get(since, *, at=None, **query):
        where = at or administrator.person.site
        if where not in tokens:
            chief = make_user("administrator", site=where)
            tokens[where] = api_tokens.make_token(site=where, name="MES", actor=chief, at=NOW)[1]
        response = client.get(
            "/api/v1/changes",
            {"since": since.isoformat(), **query},
            headers={"Authorization": f"Bearer {tokens[where]}"},
        )
        assert response.status_code == 200, response.content
        return response.json()

    return get


def told(answer):
    return {(change["employee_number"], change["scope"]) for change in answer["changes"]}


@pytest.fixture
def scope():
    return make_scope(code="TERM-OP")


@pytest.fixture
def person(site, scope, clock):
    """Somebody certified for two years on the clock's day, some hours before polling begins."""
    made = make_person(site, employee_number="7")
    make_certificate(made, scope, issued_on=clock.now.date())
    clock.passes(hours=3)
    return made


def test_what_is_written_down_is_told_with_todays_answer(poll, clock, person, scope):
    since = clock.now
    assert poll(since)["changes"] == []
    clock.passes(minutes=5)
    certificate = person.certificates.get()
    CertificateEvent.objects.create(
        event_id="E-1",
        certificate=certificate,
        kind="suspended",
        effective_on=clock.now.date(),
        recorded_at=clock.now - timedelta(days=30),
    )
    standing.rebuild_person(person)

    (change,) = poll(since)["changes"]

    assert change == {
        "employee_number": "7",
        "scope": "TERM-OP",
        "day": clock.now.date().isoformat(),
        "may_work": False,
        "standing": "suspended",
        "only": None,
        "through": None,
        "certificate_number": None,
        "former_employee_numbers": [],
    }
    assert poll(clock.passes(seconds=1))["changes"] == []


def test_what_changes_no_answer_is_not_told(poll, clock, person, scope):
    since = clock.now
    VisionTest.objects.create(test_id="V-1", person=person, tested_on=clock.now, passed=True)
    PracticeRecord.objects.create(person=person, scope_code="TERM-OP", performed_on=clock.now)
    standing.rebuild_person(person)
    standing.rebuild_all()

    assert poll(since)["changes"] == []


def test_what_lets_a_yes_hold_longer_is_told(poll, clock, site, scope):
    person = make_person(site, employee_number="9")
    revision = make_revision(scope, max_absence_months=3)
    make_certificate(person, scope, revision=revision, issued_on=clock.now.date())
    since = clock.passes(days=20)
    (before,) = poll(since - timedelta(days=30))["changes"]
    PracticeRecord.objects.create(person=person, scope_code="TERM-OP", performed_on=clock.now)
    standing.rebuild_person(person)

    (change,) = poll(since)["changes"]

    assert change["through"] > before["through"]


def test_certificate_withdrawn_as_entered_in_error_is_told(poll, clock, person, scope):
    """No span is left of it, and still it is told."""
    since = clock.now
    person.certificates.get()
    before = standing.standing_changes.spans_said(person.spans.all())
    person.spans.all().delete()
    standing.standing_changes.note([person.pk], before, {})

    (change,) = poll(since)["changes"]

    assert change["standing"] == "never_certified"


def test_what_changes_by_itself_is_told_once_its_day_has_come(poll, clock, person):
    last_day = person.certificates.get().valid_through
    clock.now = datetime.combine(last_day, clock.now.time(), clock.now.tzinfo)
    since = clock.now
    assert poll(since)["changes"] == []

    clock.passes(days=1)

    (change,) = poll(since)["changes"]
    assert (change["employee_number"], change["standing"]) == ("7", "not_current")
    assert poll(clock.now)["changes"] == []


@pytest.mark.parametrize(("field", "gone"), [("left_on", 0), ("started_on", 1)])
def test_first_and_last_days_of_people_are_told_when_they_come(poll, clock, person, field, gone):
    setattr(person, field, clock.now.date() + timedelta(days=gone))
    person.save(update_fields=[field])
    since = clock.now
    assert poll(since)["changes"] == []

    clock.passes(days=1)

    assert told(poll(since)) == {("7", "TERM-OP")}


def test_somebody_who_moves_is_told_at_both_sites(poll, clock, person, administrator):
    other_site = make_site("Aldergate", "AL", time_zone="Europe/London")
    since = clock.now
    people.change_person(person=person, site=other_site, actor=administrator, at=clock.now)

    (here,) = poll(since)["changes"]
    (at_new,) = poll(since, at=other_site)["changes"]

    assert here["standing"] == "unknown_person"
    assert at_new["standing"] == "certified"


def test_another_number_is_told_with_the_former_one(poll, clock, person, administrator):
    since = clock.now
    people.change_person(person=person, employee_number="70", actor=administrator, at=clock.now)

    (change,) = poll(since)["changes"]

    assert (change["employee_number"], change["former_employee_numbers"]) == ("70", ["7"])
    assert change["may_work"]


def test_last_day_entered_afterwards_is_told(poll, clock, person, administrator):
    since = clock.now
    yesterday = clock.now.date() - timedelta(days=1)
    people.change_person(person=person, left_on=yesterday, actor=administrator, at=clock.now)

    assert [change["standing"] for change in poll(since)["changes"]] == ["unknown_person"]


def test_people_of_other_sites_are_not_told(poll, clock, scope):
    since = clock.now
    make_certificate(make_person(make_site("Aldergate", "AL")), scope, issued_on=clock.now.date())

    assert poll(since)["changes"] == []


def test_since_the_beginning_everybody_is_told_page_by_page(poll, clock, site, scope):
    others = [make_scope(code=f"W-{number}") for number in range(3)]
    for number in range(4):
        person = make_person(site, employee_number=str(number))
        for other_scope in others:
            make_certificate(person, other_scope, issued_on=clock.now.date())
    began = clock.passes(minutes=1)
    since = began - timedelta(days=3650)
    changes, page, pages = [], {"next_cursor": ""}, 0
    while page["next_cursor"] is not None:
        more = {"cursor": page["next_cursor"]} if page["next_cursor"] else {}
        page = poll(since, limit=5, **more)
        changes += page["changes"]
        pages += 1
        clock.passes(minutes=1)

    assert (len(changes), pages) == (12, 3)
    assert len(told({"changes": changes})) == 12
    next_since = datetime.fromisoformat(page["ask_next_since"])
    assert timedelta(minutes=10) <= began - next_since < timedelta(minutes=10, seconds=1)


def test_cursor_with_an_instant_to_come_puts_off_no_round(poll, clock, person):
    answer = poll(clock.now - timedelta(days=1), cursor="0-0-99999999999999")

    assert told(answer) == {("7", "TERM-OP")}
    assert datetime.fromisoformat(answer["ask_next_since"]) <= clock.now


@pytest.mark.parametrize(
    "since", ["0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-12:00", "1970-01-01T00:00:00Z"]
)
def test_instant_at_the_end_of_the_calendar_is_understood(poll, person, since):
    answer = poll(datetime.fromisoformat(since))

    assert told(answer) == (set() if since.startswith("9") else {("7", "TERM-OP")})


@pytest.mark.parametrize(
    "query",
    [
        {},
        {"since": "2026-11-25"},
        {"since": "2026-11-25T10:00:00"},
        {"since": "0"},
        {"since": "2026-11-25T10:00:00Z", "limit": "501"},
        {"since": "2026-11-25T10:00:00Z", "limit": "0"},
        {"since": "2026-11-25T10:00:00Z", "cursor": "somewhere"},
    ],
)
def test_question_that_does_not_fit_is_refused(client, site, administrator, query):
    _made, token = api_tokens.make_token(site=site, name="MES", actor=administrator, at=NOW)

    response = client.get("/api/v1/changes", query, headers={"Authorization": f"Bearer {token}"})

    assert response.status_code == 422


def test_every_answer_that_differs_is_among_the_changes(poll, clock, site):
    """A program that asks about everybody once and then polls knows what the register says."""
    scopes = [make_scope(code=f"W-{number}") for number in range(2)]
    pairs = []
    for number in range(3):
        person = make_person(site, employee_number=str(number))
        for place, scope in enumerate(scopes):
            revision = make_revision(scope, validity_months=1 + number, max_absence_months=place)
            make_certificate(person, scope, revision=revision, issued_on=clock.now.date())
            pairs.append((person.employee_number, scope.code))

    def everybody():
        day = site.today(clock.now)
        answers = bench_check.answers(pairs, sites=[site.pk], day=day)
        return {
            (answer.employee_number, answer.scope): (answer.standing, str(answer.through))
            for answer in answers
        }

    known, since = everybody(), clock.now
    for day in range(1, 110, 7):
        clock.passes(days=7, hours=5)
        if day % 2:
            person = make_person(site).__class__.objects.get(employee_number=str(day % 3))
            PracticeRecord.objects.create(
                person=person, scope_code=scopes[1].code, performed_on=clock.now.date()
            )
            standing.rebuild_person(person)
        answer = poll(since)
        for change in answer["changes"]:
            known[change["employee_number"], change["scope"]] = (
                change["standing"],
                str(change["through"]),
            )
        assert known == everybody(), day
        since = datetime.fromisoformat(answer["ask_next_since"])
    assert StandingChange.objects.count() == len(pairs)


def test_number_of_queries_of_a_page(poll, clock, site, scope, django_assert_num_queries):
    since = clock.now
    for number in range(20):
        make_certificate(
            make_person(site, employee_number=str(number)), scope, issued_on=clock.now.date()
        )
    poll(since)

    with django_assert_num_queries(7):
        assert len(poll(since)["changes"]) == 20
