"""Work reported by whoever did it: it counts once somebody else confirmed it, and never before."""

from datetime import UTC, datetime, timedelta

import pytest
from django.db import DatabaseError, connection, transaction
from django.utils import timezone

from people.exceptions import PeopleError
from people.models import Role
from records.models import TrailEntry
from records.queries.verification import verify_records
from tests.assessments.together import at_once
from tests.factories import make_person, make_scope, make_site, make_user, unprotected, write_down
from training.access import people_confirmed_by
from training.exceptions import TrainingError
from training.models import PracticeRecord, WorkReport, WorkReportDecision
from training.services import work_reports as services
from training.services.removing import remove_uncounted_reports

pytestmark = pytest.mark.django_db

REPORTED = "/practice/reported/"


@pytest.fixture
def now():
    return timezone.now()


@pytest.fixture
def today():
    return make_site().today()


@pytest.fixture
def lead():
    return make_user(Role.LINE_LEAD)


@pytest.fixture
def operator(lead):
    make_scope(code="TERM-OP", title="Terminals, operator")
    return make_user(person=make_person(line_lead=lead.person))


def report(client, user, day, **said):
    client.force_login(user)
    fields = {"scope_code": "TERM-OP", "performed_on": day.isoformat(), "reference": "WO-1"}
    return client.post("/my-work/", fields | said)


def decide(client, user, act, **said):
    client.force_login(user)
    keys = list(WorkReport.objects.values_list("pk", flat=True))
    return client.post(REPORTED, {"report": keys, "act": act, **said})


def faults():
    return [str(fault) for fault in verify_records().faults]


def test_reported_work_counts_once_the_line_lead_confirms_it(client, operator, lead, today):
    write_down()
    assert report(client, operator, today).status_code == 302
    report(client, operator, today, reference="wo-1")  # Pressed twice.
    assert (WorkReport.objects.count(), PracticeRecord.objects.count()) == (1, 0)
    client.force_login(lead)
    assert "1 report of work waits" in " ".join(client.get("/practice/").content.decode().split())
    assert decide(client, lead, "confirm").status_code == 302
    practice = PracticeRecord.objects.get()
    assert (practice.person, practice.confirmed_by) == (operator.person, lead)
    acts = TrailEntry.objects.filter(about_type="work-report").order_by("number")
    assert list(acts.values_list("act", flat=True)) == ["work reported", "work report confirmed"]
    answer = decide(client, lead, "refuse", reason="Another’s.")
    assert answer.status_code == 422
    assert f"{lead} confirmed it on" in answer.content.decode()
    report(client, operator, today)  # Recorded so already.
    assert WorkReport.objects.count() == 1
    assert faults() == []
    with pytest.raises(DatabaseError), transaction.atomic():
        WorkReportDecision.objects.update(reason="x")
    with unprotected():
        WorkReport.objects.update(reference="WO-9")
    assert any("training_workreport" in fault for fault in faults())


def test_who_comes_second_reads_the_day_at_the_site(lead):
    person = make_person(make_site("Hakone", "HA", time_zone="Asia/Tokyo"), line_lead=lead.person)
    make_scope(code="TERM-OP")
    evening = datetime(2026, 11, 25, 20, tzinfo=UTC)
    made = services.report_work(
        person=person, scope_code="TERM-OP", performed_on=evening.date(), reference="WO-1",
        actor=make_user(person=person), at=evening,
    )  # fmt: skip
    people = people_confirmed_by(lead)
    decide = {"report": made, "confirmed": True, "people": people, "actor": lead, "at": evening}
    services.decide_report(**decide)
    with pytest.raises(TrainingError, match="confirmed it on 26 Nov 2026"):
        services.decide_report(**decide)


def test_refused_work_never_counts_and_its_doer_reads_why(client, operator, lead, today):
    report(client, operator, today)
    assert decide(client, lead, "refuse").status_code == 422
    assert decide(client, lead, "refuse", reason="Not on that order.").status_code == 302
    assert not PracticeRecord.objects.exists()
    client.force_login(operator)
    assert "Not on that order." in client.get("/my-work/").content.decode()


def test_nobody_confirms_their_own_nor_others_people(client, operator, lead, now, today):
    report(client, lead, today)
    own = WorkReport.objects.get()
    with pytest.raises(PeopleError, match="Somebody else has to confirm your work"):
        services.decide_report(
            report=own, confirmed=True, people=people_confirmed_by(lead), actor=lead, at=now
        )
    report(client, operator, today)
    other = make_user(Role.LINE_LEAD)
    decide(client, other, "confirm")
    assert not WorkReportDecision.objects.exists()
    mine = WorkReport.objects.get(person=operator.person)
    operator.person.line_lead = other.person
    operator.person.save()
    with pytest.raises(TrainingError, match="not among the people whose work you confirm"):
        services.decide_report(
            report=mine, confirmed=True, people=people_confirmed_by(lead), actor=lead, at=now
        )
    assert not PracticeRecord.objects.exists()


@pytest.mark.parametrize(
    "said",
    [
        {"reference": ""},
        {"reference": "9" * 5000},
        {"scope_code": "NONE"},
        {"performed_on": "soon"},
        {"performed_on": "2999-01-01"},
    ],
)
def test_what_makes_no_sense_is_not_reported(client, operator, today, said):
    assert report(client, operator, today, **said).status_code == 422
    assert not WorkReport.objects.exists()


@pytest.mark.django_db(transaction=True)
@pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only")
def test_of_two_who_decide_at_once_one_does(client, operator, lead, now, today):
    second = make_user(Role.INSTRUCTOR)
    write_down()
    made = services.report_work(
        person=operator.person,
        scope_code="TERM-OP",
        performed_on=today - timedelta(days=1),
        reference="WO-1",
        actor=operator,
        at=now,
    )

    def act(user, *, confirmed):
        try:
            return services.decide_report(
                report=made,
                confirmed=confirmed,
                people=people_confirmed_by(user),
                actor=user,
                at=now,
                reason="No.",
            )
        except TrainingError as error:
            return error

    at_once(lambda: act(lead, confirmed=True), lambda: act(second, confirmed=False))
    decision = WorkReportDecision.objects.get()
    assert PracticeRecord.objects.count() == int(decision.confirmed)


def test_report_that_a_night_removed_since_the_page_was_shown_is_named(
    client, operator, lead, now, today
):
    report(client, operator, today, reference="WO-1")
    report(client, operator, today, reference="WO-2")
    gone, kept = WorkReport.objects.order_by("pk")
    remove_uncounted_reports(reports=[gone], reason="Old.", actor=None, at=now)
    client.force_login(lead)

    sent = {"report": [gone.pk, kept.pk], "act": "confirm"}
    answer = client.post(REPORTED, sent, follow=True)

    said = [str(message) for message in answer.context["messages"]][-2:]
    assert said[0] == "1 report is confirmed and counts."
    assert said[1].startswith("1 report of those ticked is not there any more")
    assert WorkReportDecision.objects.get().report == kept
    # Removed between the look at it and its lock.
    with pytest.raises(TrainingError, match="kept no longer"):
        services.decide_report(
            report=gone, confirmed=True, people=people_confirmed_by(lead), actor=lead, at=now
        )
