"""Work of a checked log recorded as practice: shown before, in one act, and nothing twice."""

from datetime import date
from io import BytesIO
from zoneinfo import ZoneInfo

import pytest
from django.db import connection
from django.urls import reverse

from audit.exceptions import LogChanged
from audit.models import WorkLogCheck
from audit.services import log_practice, work_log_checks
from people.models import Role
from records.models import TrailEntry
from records.queries.verification import verify_records
from tests.assessments.together import at_once
from tests.factories import NOW, make_person, make_scope, make_site, make_user, write_down
from training.models import PracticeRecord
from training.services.facts import record_practice, withdraw_practice

pytestmark = pytest.mark.django_db


@pytest.fixture
def quality(client):
    user = make_user(Role.QUALITY)
    client.force_login(user)
    return user


@pytest.fixture
def scope():
    return make_scope(code="TERM-OP")


def checked(quality, *rows):
    lines = ["employee_number,scope,worked_on,work_order", *rows]
    check = work_log_checks.request_check(
        actor=quality,
        file=BytesIO("\n".join(lines).encode()),
        name="travellers.csv",
        at=NOW,
        zone=ZoneInfo("UTC"),
    )
    work_log_checks.run_check(check_id=check.pk, clock=lambda: NOW)
    return WorkLogCheck.objects.get(pk=check.pk)


def address(check):
    return reverse("audit:work_log_practice", args=[check.pk])


def recorded():
    rows = PracticeRecord.objects.values_list(
        "person__employee_number", "performed_on", "reference", "confirmed_by"
    )
    return sorted((number, day.isoformat(), ref, by) for number, day, ref, by in rows)


def test_what_is_shown_is_recorded_in_one_act_and_nothing_twice(client, quality, scope):
    person, other = make_person(), make_person()
    there = make_person(make_site("Other", "OT"))
    a, b = person.employee_number, other.employee_number
    record_practice(
        person=other, scope_code="TERM-OP", performed_on=NOW.date(), actor=quality, at=NOW
    )
    write_down()
    check = checked(
        quality,
        f"{a},TERM-OP,2026-11-02,WO-1",
        f"{a},TERM-OP,2026-11-02,WO-2",
        f"{a},TERM-OP,2026-11-03,WO-3",
        f"{b},TERM-OP,2026-11-25,WO-4",
        f"{there.employee_number},TERM-OP,2026-11-03,WO-5",
        f"{quality.person.employee_number},TERM-OP,2026-11-03,WO-6",
    )
    page = client.get(address(check))
    plan = page.context["plan"]
    assert [(line.person, line.days) for line in page.context["lines"]] == [(person, 2)]
    assert (plan.already, dict(plan.left_out)) == (
        1,
        {"Somebody else has to confirm your work.": 1},
    )
    before = recorded()
    answer = client.post(address(check), {"seen": plan.digest()})
    assert answer["Location"] == reverse("audit:work_log_check", args=[check.pk])
    mine = [
        (a, "2026-11-02", "WO-1", quality.pk),
        (a, "2026-11-03", "WO-3", quality.pk),
    ]
    assert recorded() == sorted([*before, *mine])
    assert TrailEntry.objects.filter(act="work of a log recorded").count() == 1
    # Pressed twice, and from a page that shows what is no longer so.
    assert client.post(address(check), {"seen": plan.digest()}).status_code == 422
    assert recorded() == sorted([*before, *mine])
    assert [str(fault) for fault in verify_records().faults] == []


def test_a_page_that_shows_something_else_by_now_records_nothing(client, quality, scope):
    person = make_person()
    check = checked(
        quality,
        f"{person.employee_number},TERM-OP,2026-11-02,WO-1",
        f"{person.employee_number},TERM-OP,2026-11-03,WO-1",
    )
    url = f"{address(check)}?first=2026-11-03"
    plan = client.get(url).context["plan"]
    assert len(plan.works) == 1
    answer = client.post(address(check), {"seen": plan.digest()})
    assert answer.status_code == 422
    assert "Since you opened this page" in answer.content.decode()
    assert not PracticeRecord.objects.exists()
    assert client.get(f"{address(check)}?first=soon").status_code == 422
    assert client.post(url, {"seen": plan.digest()}).status_code == 302
    assert PracticeRecord.objects.count() == 1


def test_work_that_was_withdrawn_is_told_before_it_counts_again(client, quality, scope):
    person, other = make_person(), make_person()
    a, b = person.employee_number, other.employee_number
    work = record_practice(
        person=person, scope_code="TERM-OP", performed_on=date(2026, 11, 2), actor=quality, at=NOW
    )
    rows = [f"{a},TERM-OP,2026-11-02,WO-1", f"{a},TERM-OP,2026-11-03,WO-2"]
    check = checked(quality, *rows, f"{b},TERM-OP,2026-11-02,WO-3")
    told = "1 of these days has work that was withdrawn."
    assert told not in client.get(address(check)).content.decode()

    withdraw_practice(
        practice=work, reason="It was somebody else.", actor=quality, at=NOW, proof="password"
    )
    page = client.get(address(check))
    assert told in page.content.decode()
    lines = {line.person: (line.days, line.withdrawn) for line in page.context["lines"]}
    assert lines == {person: (2, 1), other: (1, 0)}
    later = client.get(f"{address(check)}?first=2026-11-03")
    assert told not in later.content.decode()

    assert client.post(address(check), {"seen": page.context["plan"].digest()}).status_code == 302
    assert person.practice.not_withdrawn().count() == 2


def test_work_withdrawn_since_the_page_was_shown_is_looked_at_again(client, quality, scope):
    person = make_person()
    check = checked(quality, f"{person.employee_number},TERM-OP,2026-11-02,WO-1")
    seen = client.get(address(check)).context["plan"].digest()
    work = record_practice(
        person=person, scope_code="TERM-OP", performed_on=date(2026, 11, 2), actor=quality, at=NOW
    )
    withdraw_practice(
        practice=work, reason="It was somebody else.", actor=quality, at=NOW, proof="password"
    )
    answer = client.post(address(check), {"seen": seen})
    assert answer.status_code == 422
    assert "Since you opened this page" in answer.content.decode()
    assert not person.practice.not_withdrawn().exists()


@pytest.mark.django_db(transaction=True)
@pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only")
def test_two_who_record_the_same_log_at_once_record_it_once(client, quality, scope):
    person, second = make_person(), make_user(Role.QUALITY)
    write_down()
    check = checked(quality, f"{person.employee_number},TERM-OP,2026-11-02,WO-1")
    seen = log_practice.plan_of(check, quality, NOW, None, None).digest()

    def record(user):
        try:
            return log_practice.record_practice_of(check=check, actor=user, at=NOW, seen=seen)
        except LogChanged as error:
            return error

    done = at_once(lambda: record(quality), lambda: record(second))
    assert PracticeRecord.objects.count() == 1
    assert sum(isinstance(one, LogChanged) for one in done) == 1
