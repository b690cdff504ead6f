"""The whole register of a day as it was known at an instant: a worker's job, then a page."""

import csv
import io
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from django.db import connection
from django.utils import timezone
from kombu.exceptions import OperationalError

from audit.services import importing
from certification import tasks
from certification.models import (
    Certificate,
    CertificateEvent,
    CertificateWithdrawal,
    KnownEnd,
    KnownRegister,
    KnownSpan,
)
from certification.models.known_registers import CLAIM_LAPSES_AFTER, KEPT_FOR, MOST_ATTEMPTS
from certification.queries import standing_on_day
from certification.services import known_registers, standing
from people.models import User
from tests.assessments.together import wait_behind
from tests.factories import (
    NOW,
    make_certificate,
    make_person,
    make_revision,
    make_scope,
    make_site,
    make_user,
)
from training.models import VisionTest

pytestmark = pytest.mark.django_db

REGISTER = "/register/"
AS_KNOWN = "/register/as-known/"
CASES = Path(__file__).parent.parent / "reference" / "standing"
DAY = date(2026, 5, 3)
T = datetime(2026, 5, 10, 21, 59, 59, 999_999, tzinfo=UTC)  # The end of 10 May in Madrid.
ASKED = {"day": "2026-05-03", "known_at": "2026-05-10"}


@pytest.fixture
def quality(client):
    user = make_user("quality", person=make_person(full_name="Zz Quality", employee_number="Q1"))
    client.force_login(user)
    return user


@pytest.fixture
def woken(monkeypatch):
    """How often a worker was woken; nobody comes."""
    calls = []
    monkeypatch.setattr(tasks.work_out_known_registers, "delay", lambda: calls.append(1))
    return calls


@pytest.fixture
def terminals():
    return make_scope(code="TERM", title="Terminals, operator")


def clock():
    return NOW


def ask(day=DAY, known_at=T, at=NOW):
    somebody = User.objects.get_or_create(employee_number="somebody")[0]
    return known_registers.ask(day=day, known_at=known_at, actor=somebody, at=at)


def worked_out(day=DAY, known_at=T):
    known = ask(day, known_at)
    while not known.is_finished:
        known_registers.work_out(known, clock=clock)
        known.refresh_from_db()
    return known


def rows(known):
    found = KnownSpan.objects.filter(known=known).select_related("certificate")
    return {
        (one.person_id, one.scope_id): (
            one.first_day,
            one.last_day,
            one.standing,
            one.certificate.number,
            one.restriction,
            one.rule,
            one.changes_on,
            sorted((end.kind, end.last_day, end.source) for end in one.ends.all()),
        )
        for one in found.prefetch_related("ends")
    }


def event(certificate, kind, on, recorded_at, **fields):
    made = CertificateEvent.objects.create(
        event_id=f"E-{certificate.pk}-{kind}-{on}",
        certificate=certificate,
        kind=kind,
        effective_on=on,
        recorded_at=recorded_at,
        **fields,
    )
    standing.rebuild_spans(certificate.person, certificate.scope)
    return made


# The job


@pytest.mark.parametrize("name", ["worked", "edges"])
def test_answers_are_the_engines_on_every_day_and_instant_of_the_worked_cases(name):
    make_site("North", "NO")
    make_site("South", "SO")
    importing.import_register(path=CASES / name, zone=UTC, at=NOW, actor="test")
    pairs = {(one.person, one.scope) for one in Certificate.objects.all()}
    instants = sorted(
        {one.recorded_at for one in Certificate.objects.all()}
        | {one.recorded_at for one in CertificateEvent.objects.all()}
        | {one.withdrawn_at for one in CertificateWithdrawal.objects.all()}
    )
    telling = [instants[0], instants[len(instants) // 2], instants[-1]]
    asked = [(at.date() + timedelta(days=shift), at) for at in telling for shift in (-30, 0, 200)]

    for day, known_at in asked:
        found = rows(worked_out(day, known_at))
        for person, scope in pairs:
            facts = standing_on_day.facts_for(person, scope)
            line = standing.engine.timeline(facts, known_at)
            answer, span = line.on(day), line.span_on(day)
            if answer.standing == "never_certified":
                assert (person.pk, scope.pk) not in found
                continue
            assert found[person.pk, scope.pk] == (
                span.first_day,
                span.last_day,
                answer.standing.value,
                answer.certificate_number,
                answer.restriction,
                answer.rule.value,
                answer.changes_on,
                sorted((e.kind.value, e.last_day, e.source) for e in line.ends_after(day)),
            )


def test_only_what_had_been_recorded_by_then_counts(terminals):
    late = make_certificate(
        scope=terminals, issued_on=date(2026, 4, 1), recorded_at=datetime(2026, 5, 20, tzinfo=UTC)
    )
    stopped = make_certificate(scope=terminals, issued_on=date(2026, 1, 1))
    error = event(stopped, "suspended", date(2026, 4, 1), datetime(2026, 4, 1, tzinfo=UTC))
    event(stopped, "voided", date(2026, 5, 20), datetime(2026, 5, 20, tzinfo=UTC), voids=error)
    withdrawn = make_certificate(scope=terminals, issued_on=date(2026, 1, 1))
    CertificateWithdrawal.objects.create(
        certificate=withdrawn, withdrawn_at=datetime(2026, 5, 20, tzinfo=UTC), reason="Not theirs."
    )

    before, after = (
        {person: row[2] for (person, _scope), row in rows(worked_out(DAY, at)).items()}
        for at in (T, datetime(2026, 5, 21, tzinfo=UTC))
    )

    assert before == {stopped.person_id: "suspended", withdrawn.person_id: "certified"}
    assert after == {late.person_id: "certified", stopped.person_id: "certified"}


def test_work_goes_in_lots_whose_progress_is_kept(terminals, monkeypatch):
    monkeypatch.setattr(known_registers, "LOT_OF_PEOPLE", 2)
    for _number in range(5):
        make_certificate(scope=terminals, issued_on=date(2026, 1, 1))
    known = ask()

    progress = []
    for _round in range(5):
        known_registers.work_out(known, clock=clock, lots=1)
        known.refresh_from_db()
        progress.append((known.people_done, known.people, known.is_finished))

    assert progress == [
        (2, 5, False),
        (4, 5, False),
        (5, 5, False),
        (5, 5, True),
        (5, 5, True),
    ]
    assert KnownSpan.objects.filter(known=known).count() == 5


def test_claim_is_won_by_one_and_a_lapsed_one_is_taken_up_where_it_was_left(terminals, monkeypatch):
    monkeypatch.setattr(known_registers, "LOT_OF_PEOPLE", 2)
    for _number in range(5):
        make_certificate(scope=terminals, issued_on=date(2026, 1, 1))
    known = ask()
    known_registers.work_out(known, clock=clock, lots=1)
    assert KnownRegister.objects.claim(known.pk, NOW)  # A worker that dies.

    assert not KnownRegister.objects.claim(known.pk, NOW)
    known_registers.work_out(known, clock=clock)
    assert KnownSpan.objects.filter(known=known).count() == 2

    later = NOW + CLAIM_LAPSES_AFTER + timedelta(seconds=1)
    known_registers.work_out(known, clock=lambda: later)
    known.refresh_from_db()
    assert (known.is_finished, known.people_done) == (True, 5)
    assert len(rows(known)) == 5


def test_whoever_lost_the_claim_writes_nothing_more(terminals, monkeypatch):
    make_certificate(scope=terminals, issued_on=date(2026, 1, 1))
    known = ask()
    stood = known_registers._stood

    def while_another_takes_it_up(*args):
        KnownRegister.objects.update(claim="another")
        return stood(*args)

    monkeypatch.setattr(known_registers, "_stood", while_another_takes_it_up)
    known_registers.work_out(known, clock=clock)

    known.refresh_from_db()
    assert (known.people_done, known.is_finished, known.claim) == (0, False, "another")
    assert not KnownSpan.objects.exists()


def test_one_that_kills_its_worker_again_and_again_is_given_up_and_can_be_begun_anew(
    client, quality, woken, terminals, django_capture_on_commit_callbacks
):
    known = ask()
    at = NOW
    for _attempt in range(MOST_ATTEMPTS):
        assert KnownRegister.objects.claim(known.pk, at)
        at += CLAIM_LAPSES_AFTER + timedelta(seconds=1)

    assert not KnownRegister.objects.due(at).exists()
    page = client.get(REGISTER, ASKED).content.decode()
    assert "could not finish" in page
    assert "every 2s" not in page
    with django_capture_on_commit_callbacks(execute=True):
        client.post(AS_KNOWN, ASKED)
    [again] = KnownRegister.objects.all()
    assert (again.attempts, again.is_given_up, woken) == (0, False, [1])


def test_task_works_a_round_and_asks_for_the_next(terminals, monkeypatch, woken):
    monkeypatch.setattr(known_registers, "LOT_OF_PEOPLE", 1)
    monkeypatch.setattr(known_registers, "LOTS_A_ROUND", 1)
    monkeypatch.setattr(known_registers.work_out, "__kwdefaults__", {"lots": 1})
    make_certificate(scope=terminals, issued_on=date(2026, 1, 1))
    known = ask()

    assert [tasks.work_out_known_registers() for _time in range(3)] == [True, False, False]

    known.refresh_from_db()
    assert known.is_finished
    assert woken == [1]


def test_old_answers_are_thrown_away(terminals):
    certificate = make_certificate(scope=terminals, issued_on=date(2026, 1, 1))
    old, new = worked_out(), worked_out(DAY + timedelta(days=1))
    KnownRegister.objects.filter(pk=old.pk).update(recorded_at=timezone.now() - KEPT_FOR * 2)
    KnownRegister.objects.filter(pk=new.pk).update(recorded_at=timezone.now())

    assert tasks.throw_away_old_known_registers() == 1

    assert [one.known for one in KnownSpan.objects.all()] == [new]
    assert {one.span.person for one in KnownEnd.objects.all()} == {certificate.person}


# The page


def test_page_offers_the_work_then_shows_how_far_it_is_then_the_answer(
    client, quality, woken, terminals, monkeypatch, django_capture_on_commit_callbacks
):
    monkeypatch.setattr(known_registers, "LOT_OF_PEOPLE", 1)
    for name in ("Amaranta", "Berta"):
        make_certificate(make_person(full_name=name), terminals, issued_on=date(2026, 1, 1))

    page = client.get(REGISTER, ASKED).content.decode()
    assert "This has not been worked out yet" in page
    assert not KnownRegister.objects.exists()

    with django_capture_on_commit_callbacks(execute=True):
        response = client.post(AS_KNOWN, ASKED)
    assert response.url == f"{REGISTER}?day=2026-05-03&known_at=2026-05-10"
    assert woken == [1]
    known = KnownRegister.objects.get()
    assert (known.day, known.known_at, known.asked_by) == (DAY, T, quality)
    page = client.get(response.url).content.decode()
    assert "Waiting for a worker to begin" in page

    known_registers.work_out(known, clock=clock, lots=1)
    part = client.get(response.url, headers={"HX-Request": "true"})
    assert "1 of 2 people" in part.content.decode()
    assert "<html" not in part.content.decode()

    known_registers.work_out(known, clock=clock)
    assert client.get(response.url, headers={"HX-Request": "true"})["HX-Refresh"] == "true"
    shown = client.get(response.url)
    assert [person.full_name for person, _lines in shown.context["groups"]] == [
        "Amaranta",
        "Berta",
        "Zz Quality",
    ]
    page = shown.content.decode()
    assert "Only what had been recorded by" in page
    assert "Work it out again" in page


def test_asking_again_while_it_is_worked_on_changes_nothing_and_later_begins_anew(
    client, quality, woken, terminals
):
    make_certificate(scope=terminals, issued_on=date(2026, 1, 1))
    client.post(AS_KNOWN, ASKED)
    first = KnownRegister.objects.get()
    client.post(AS_KNOWN, ASKED)
    assert KnownRegister.objects.get() == first
    known_registers.work_out(first, clock=clock)

    # Brought over from elsewhere with its own, earlier instant.
    older = make_certificate(scope=terminals, issued_on=date(2026, 2, 1))
    client.post(AS_KNOWN, ASKED)

    again = KnownRegister.objects.get()
    assert not again.is_finished
    known_registers.work_out(again, clock=clock)
    assert (older.person_id, terminals.pk) in rows(again)


def test_message_that_cannot_be_sent_is_left_to_the_clock(
    client, quality, monkeypatch, django_capture_on_commit_callbacks
):
    def away():
        raise OperationalError("The broker is away.")

    monkeypatch.setattr(tasks.work_out_known_registers, "delay", away)
    with django_capture_on_commit_callbacks(execute=True):
        assert client.post(AS_KNOWN, ASKED).status_code == 302

    assert KnownRegister.objects.due(timezone.now()).count() == 1
    assert tasks.work_out_known_registers() is False
    assert KnownRegister.objects.get().is_finished


def test_answer_is_filtered_ordered_counted_and_paged_like_the_register_of_today(
    client, quality, terminals
):
    for number in range(60):
        person = make_person(full_name=f"Person {number:02d}")
        certificate = make_certificate(person, terminals, issued_on=date(2026, 1, 1))
        if number < 3:
            event(certificate, "suspended", date(2026, 4, 1), datetime(2026, 4, 1, tzinfo=UTC))
        if number == 5:
            event(certificate, "revoked", date(2026, 4, 1), datetime(2026, 6, 1, tzinfo=UTC))
    worked_out()

    def people(**query):
        groups = client.get(REGISTER, ASKED | query).context["groups"]
        return [person.full_name for person, _lines in groups]

    assert people(standing="suspended") == ["Person 00", "Person 01", "Person 02"]
    assert people(standing="revoked") == []
    assert people(standing="never_certified") == ["Zz Quality"]
    assert people(standing="ending") == []
    assert people(order="standing")[:4] == ["Person 00", "Person 01", "Person 02", "Person 03"]
    assert people(order="end")[0] == "Person 03"
    assert people(page="2") == [f"Person {number}" for number in range(50, 60)] + ["Zz Quality"]
    counted = {one.word: one.number for one in client.get(REGISTER, ASKED).context["counted"]}
    assert (counted["certified"], counted["suspended"]) == (57, 3)


@pytest.mark.parametrize("order", ["name", "end"])
def test_answer_takes_the_same_few_queries(
    client, quality, terminals, order, django_assert_max_num_queries
):
    found = []
    for shift, more in enumerate((3, 40)):
        for _number in range(more):
            make_certificate(make_person(), terminals, issued_on=date(2026, 1, 1))
        day = DAY + timedelta(days=shift)
        worked_out(day)
        client.get(REGISTER)
        with django_assert_max_num_queries(15) as queries:
            client.get(REGISTER, ASKED | {"day": day, "order": order})
        found.append(len(queries))

    assert found[0] == found[1]


@pytest.mark.parametrize("name", ["csv", "xlsx"])
def test_file_waits_for_the_answer_and_says_as_of_when_it_was_known(
    client, quality, terminals, name
):
    make_certificate(make_person(full_name="Amaranta"), terminals, issued_on=date(2026, 1, 1))
    path = f"/register/export.{name}"

    assert client.get(path, ASKED).url.startswith(f"{REGISTER}?day=2026-05-03")
    worked_out()
    response = client.get(path, ASKED | {"q": "Amaranta"})

    assert "register-2026-05-03-known-20260510T215959Z" in response["Content-Disposition"]
    body = b"".join(response.streaming_content)
    if name == "csv":
        [row] = csv.DictReader(io.StringIO(body.decode("utf-8-sig")))
        assert (row["as_of"], row["standing"]) == ("2026-05-03", "certified")
        assert row["as_known_at"] == "2026-05-10T21:59:59+00:00"


def test_instant_to_come_is_now_and_a_bad_one_is_refused(client, quality, woken):
    to_come = client.get(REGISTER, {"known_at": "2999-01-01"})
    assert to_come.status_code == 200
    assert to_come.context["filters"].known is None

    for known_at in ("2026-02-30", "soon", "0001-01-01"):
        query = {"day": "2026-05-03", "known_at": known_at}
        assert client.get(REGISTER, query).status_code == 422
        assert client.get("/register/export.csv", query).status_code == 302
        client.post(AS_KNOWN, query)
    assert not KnownRegister.objects.exists()
    assert not woken


# Who may


def test_answer_shows_the_people_of_the_sites_that_quality_audits(client, quality, terminals):
    there = make_site("Aldergate", "AL")
    for person in (
        make_person(full_name="Here"),
        make_person(there, full_name="There", line_lead=quality.person),
    ):
        make_certificate(person, terminals, issued_on=date(2026, 1, 1))
    quality.roles.create(site=there, role="instructor")
    quality.roles.create(site=there, role="line_lead")
    worked_out()

    page = client.get(REGISTER, ASKED).content.decode()

    assert "Here" in page
    assert "There" not in page
    files = client.get("/register/export.csv", ASKED)
    assert b"There" not in b"".join(files.streaming_content)


@pytest.mark.parametrize("role", ["instructor", "line_lead", "administrator", None])
def test_others_are_not_asked_and_get_no_answer(client, terminals, woken, role):
    user = make_user(*([role] if role else []))
    client.force_login(user)
    person = make_person(line_lead=user.person)
    revision = make_revision(terminals, vision_months=12)
    VisionTest.objects.create(test_id="V-1", person=person, tested_on=date(2024, 1, 1), passed=True)
    make_certificate(person, terminals, revision=revision, issued_on=date(2026, 1, 1))
    worked_out()

    assert client.post(AS_KNOWN, {"day": "2026-05-04", "known_at": "2026-05-10"}).status_code == 403
    assert KnownRegister.objects.count() == 1
    if role in ("instructor", "line_lead"):
        response = client.get(REGISTER, ASKED)
        assert "known_at" not in response.context["form"].fields
        assert response.context["filters"].known is None


def test_signed_in_first_and_only_sent_by_form(client, quality):
    assert client.get(AS_KNOWN).status_code == 405
    client.logout()
    assert client.post(AS_KNOWN, ASKED).url.startswith("/account/login/")


@pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only")
@pytest.mark.django_db(transaction=True)
def test_register_that_two_ask_for_anew_at_once_is_begun_once():
    finished = ask()
    KnownRegister.objects.update(finished_at=NOW)
    found = wait_behind(ask, lambda: ask(at=NOW + timedelta(minutes=1)))
    assert found == KnownRegister.objects.get()
    assert (found.recorded_at, found.is_finished) == (NOW, False)
    assert found.pk != finished.pk
