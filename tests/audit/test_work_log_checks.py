"""A work-log check is asked for once, run once, and its findings are kept."""

from datetime import UTC, date, datetime, timedelta
from io import BytesIO
from zoneinfo import ZoneInfo

import polars as pl
import pytest
from celery.exceptions import SoftTimeLimitExceeded
from django.core.files.base import ContentFile

from audit.exceptions import CannotCheck
from audit.models import WorkLogCheck
from audit.models.work_log import CLAIM_LAPSES_AFTER, MOST_ATTEMPTS
from audit.services import work_log_checks as services
from records.models import TrailEntry
from records.queries.verification import verify_records
from tests.factories import (
    NOW,
    make_certificate,
    make_person,
    make_revision,
    make_scope,
    make_site,
    make_user,
)
from training.models import PracticeRecord

pytestmark = pytest.mark.django_db

ZONE = ZoneInfo("Europe/Madrid")


class Clock:
    """An instant that goes on by a second whenever somebody asks."""

    def __init__(self, at=NOW):
        self.at = at

    def __call__(self):
        self.at += timedelta(seconds=1)
        return self.at


@pytest.fixture
def quality():
    return make_user("quality")


@pytest.fixture
def scope():
    return make_scope(code="TERM-OP")


@pytest.fixture
def ask(quality):
    def ask_for(*rows, heading="employee_number,scope,worked_on", name="log.csv", **options):
        content = options.pop("content", "\n".join([heading, *rows]).encode())
        options = {"actor": quality, "at": NOW, "zone": ZONE, **options}
        return services.request_check(file=BytesIO(content), name=name, **options)

    return ask_for


def run(check, clock=None):
    services.run_check(check_id=check.pk, clock=clock or Clock())
    return WorkLogCheck.objects.get(pk=check.pk)


def findings(check):
    with check.findings.open() as file:
        frame = pl.read_parquet(BytesIO(file.read()))
    return [
        dict(zip(check.headings, row, strict=True)) for row in frame.select(check.columns).rows()
    ]


def test_check_is_kept_with_its_log_its_findings_and_two_entries_in_the_trail(ask, scope, quality):
    certificate = make_certificate(scope=scope, issued_on=date(2026, 1, 10))
    number = certificate.person.employee_number
    check = ask(
        f"{number},TERM-OP,2026-01-09,W-1",
        f"{number},TERM-OP,2026-01-10,W-2",
        "99999,TERM-OP,2026-01-10,W-3",
        f"{number},NO-SUCH,2026-01-10,W-4",
        heading="employee_number,scope,worked_on,order",
    )
    assert check.state == WorkLogCheck.State.WAITING

    check = run(check)

    assert check.state == WorkLogCheck.State.FINISHED
    assert [
        (finding["order"], finding["standing"], finding["certificate_number"])
        for finding in findings(check)
    ] == [
        ("W-1", "never_certified", ""),
        ("W-2", "certified", certificate.number),
        ("W-3", "unknown_person", ""),
    ]
    assert check.counts == {"certified": 1, "never_certified": 1, "unknown_person": 1}
    assert (check.rows, check.bad_rows, check.not_certified) == (3, 1, 2)
    assert (check.people_concerned, check.days_concerned) == (1, 2)
    assert check.people == [[number, 1, 1, "2026-01-09", "2026-01-09"]]
    assert check.problems == [[5, "scope", "There is no scope NO-SUCH in the register."]]
    asked_for, checked = TrailEntry.objects.filter(about_type="work-log-check")
    assert (asked_for.act, asked_for.actor_id) == ("work-log check asked for", quality.pk)
    assert checked.act == "work log checked"
    with check.file.open() as file:
        assert file.read().startswith(b"employee_number,scope")


def test_people_elsewhere_answer_like_nobody(ask, scope):
    other_person = make_person(make_site("Aldergate", "AL"))
    make_certificate(other_person, scope, issued_on=date(2026, 1, 10))

    check = run(ask(f"{other_person.employee_number},TERM-OP,2026-02-01"))

    assert check.counts == {"unknown_person": 1}
    assert check.people == []


@pytest.mark.parametrize(
    ("options", "expected"),
    [
        ({}, "certified"),
        ({"known_at": datetime(2026, 3, 1, tzinfo=UTC)}, "never_certified"),
        ({"known_at": datetime(2026, 3, 1, 1, tzinfo=UTC)}, "certified"),
        ({"as_known_then": True}, "never_certified"),
    ],
    ids=["now", "before", "after", "then"],
)
def test_rows_are_judged_by_what_was_known(options, expected, ask, scope):
    certificate = make_certificate(
        scope=scope,
        issued_on=date(2026, 1, 10),
        recorded_at=datetime(2026, 3, 1, 1, tzinfo=UTC),
    )

    check = run(ask(f"{certificate.person.employee_number},TERM-OP,2026-02-01", **options))

    assert list(check.counts) == [expected]


def test_end_of_a_day_is_told_by_the_clock_that_was_asked_with(ask, scope):
    certificate = make_certificate(
        scope=scope,
        issued_on=date(2026, 1, 10),
        recorded_at=datetime(2026, 2, 1, 23, 30, tzinfo=UTC),  # the next day in Madrid
    )
    row = f"{certificate.person.employee_number},TERM-OP,2026-02-01"

    assert list(run(ask(row, as_known_then=True)).counts) == ["never_certified"]
    assert list(run(ask(row, as_known_then=True, zone=ZoneInfo("UTC"))).counts) == ["certified"]


@pytest.mark.parametrize(
    ("worked_on", "zone", "standing"),
    [
        ("2026-02-01T00:30:00", "Europe/Madrid", "certified"),
        ("2026-01-31T23:30:00", "Europe/Madrid", "never_certified"),
        ("2026-01-31T23:30:00Z", "Europe/Madrid", "certified"),
        ("2026-01-31T23:30:00Z", "UTC", "never_certified"),
        ("2026-01-31 23:30+00:00", "Europe/Madrid", "certified"),
        ("2026-02-01T03:00:00Z", "America/New_York", "never_certified"),
    ],
)
def test_work_with_a_time_of_day_is_of_its_day_on_the_clock_asked_for(
    worked_on, zone, standing, ask, scope
):
    certificate = make_certificate(scope=scope, issued_on=date(2026, 2, 1))
    row = f"{certificate.person.employee_number},TERM-OP,{worked_on}"

    check = run(ask(row, zone=ZoneInfo(zone)))

    assert list(check.counts) == [standing]
    day = findings(check)[0]["worked_on"]
    assert day == ("2026-02-01" if standing == "certified" else "2026-01-31")


@pytest.mark.parametrize(
    "worked_on", ["2026-02-01T24:00:00", "2026-02-01T8:00", "08:00", "2026-02-30T08:00:00"]
)
def test_time_of_day_that_cannot_be_is_not_judged(worked_on, ask, scope):
    check = run(ask(f"99999,TERM-OP,{worked_on}"))
    assert (check.rows, check.bad_rows) == (0, 1)


def test_rows_of_the_log_can_count_as_practice(ask, scope):
    revision = make_revision(scope, max_absence_months=2)
    certificate = make_certificate(scope=scope, revision=revision, issued_on=date(2026, 1, 10))
    number = certificate.person.employee_number
    rows = [f"{number},TERM-OP,2026-03-05", f"{number},TERM-OP,2026-04-30"]

    assert run(ask(*rows)).counts == {"certified": 1, "practice_lapsed": 1}
    assert run(ask(*rows, counts_as_practice=True)).counts == {"certified": 2}
    assert not PracticeRecord.objects.exists()


@pytest.mark.parametrize(
    ("name", "content", "reason"),
    [
        ("log.pdf", b"%PDF", "CSV or XLSX"),
        ("log.csv", b"", "is empty"),
        ("log.csv", b"x" * 101, "more than 0 MB"),
    ],
    ids=["kind", "empty", "large"],
)
def test_file_that_can_be_no_log_is_not_taken(name, content, reason, ask, monkeypatch):
    monkeypatch.setattr(services, "MOST_BYTES", 100)

    with pytest.raises(CannotCheck, match=reason):
        ask(name=name, content=content)

    assert not WorkLogCheck.objects.exists()


def test_quality_alone_asks(ask):
    with pytest.raises(CannotCheck):
        ask("1,TERM-OP,2026-01-01", actor=make_user("instructor"))


def test_log_of_which_nothing_can_be_judged_is_told_why(ask):
    check = run(ask("1,TERM-OP", heading="employee_number,scope"))

    assert check.state == WorkLogCheck.State.FAILED
    assert "no column named worked_on" in check.failure
    assert TrailEntry.objects.filter(act="work log could not be checked").exists()


def test_workbook_that_is_none_is_told_so(ask):
    check = run(ask(name="log.xlsx", content=b"no workbook"))

    assert check.state == WorkLogCheck.State.FAILED
    assert "cannot be read as an XLSX workbook" in check.failure


@pytest.mark.parametrize("which", ["file", "findings"])
def test_verifying_the_records_finds_a_log_or_findings_that_were_changed(which, ask, scope):
    check = run(ask("99999,TERM-OP,2026-01-01"))
    before = verify_records()
    assert before.faults == []

    stored = getattr(check, which)
    stored.storage.delete(stored.name)
    stored.storage.save(stored.name, ContentFile(b"something else"))

    [fault] = verify_records().faults
    assert f"work log {check.pk} (log.csv)" in fault.where


# Time


def test_check_that_gets_no_further_in_its_time_is_closed_and_says_so(ask, scope, monkeypatch):
    check = ask("99999,TERM-OP,2026-01-01")
    clock = Clock()
    read_log = services.read_log

    def slow(*arguments):
        clock.at += services.LONGEST_CHECK + timedelta(seconds=1)
        return read_log(*arguments)

    monkeypatch.setattr(services, "read_log", slow)

    assert services.run_check(check_id=check.pk, clock=clock)
    check = WorkLogCheck.objects.get(pk=check.pk)
    assert check.state == WorkLogCheck.State.FAILED
    assert "longer than a check may" in check.failure


def test_check_that_its_worker_interrupts_is_closed_and_says_so(ask, scope, monkeypatch):
    check = ask("99999,TERM-OP,2026-01-01")

    def interrupted(*_arguments):
        raise SoftTimeLimitExceeded

    monkeypatch.setattr(services, "check_log", interrupted)

    assert services.run_check(check_id=check.pk, clock=Clock())
    assert "longer than a check may" in WorkLogCheck.objects.get(pk=check.pk).failure


def test_round_leaves_what_does_not_fit_to_the_next(ask, scope, monkeypatch):
    ask("99999,TERM-OP,2026-01-01")
    ask("99999,TERM-OP,2026-01-02")
    clock = Clock()
    read_log = services.read_log

    def slow(*arguments):
        clock.at += services.ROUND
        return read_log(*arguments)

    monkeypatch.setattr(services, "read_log", slow)

    assert services.run_due_checks(clock=clock) == 1
    assert services.run_due_checks(clock=clock) == 1
    assert services.run_due_checks(clock=clock) == 0


# Workers


def test_second_worker_leaves_a_check_to_the_first(ask, scope):
    check = ask("99999,TERM-OP,2026-01-01")
    assert WorkLogCheck.objects.claim(check.pk, "first", NOW)

    assert not services.run_check(check_id=check.pk, clock=Clock())
    assert services.run_due_checks(clock=Clock()) == 0
    assert WorkLogCheck.objects.get(pk=check.pk).state == WorkLogCheck.State.RUNNING


def test_check_of_a_worker_that_died_is_taken_up_again(ask, scope):
    check = ask("99999,TERM-OP,2026-01-01")
    assert WorkLogCheck.objects.claim(check.pk, "first", NOW)

    later = Clock(NOW + CLAIM_LAPSES_AFTER + timedelta(seconds=1))
    assert services.run_due_checks(clock=later) == 1
    assert WorkLogCheck.objects.get(pk=check.pk).state == WorkLogCheck.State.FINISHED
    assert TrailEntry.objects.filter(act="work log checked").count() == 1


def test_worker_that_comes_back_too_late_writes_nothing(ask, scope, monkeypatch):
    check = ask("99999,TERM-OP,2026-01-01")
    check_log = services.check_log

    def slow(*arguments):
        result = check_log(*arguments)
        WorkLogCheck.objects.update(claim="another")
        return result

    monkeypatch.setattr(services, "check_log", slow)

    assert not services.run_check(check_id=check.pk, clock=Clock())
    check = WorkLogCheck.objects.get(pk=check.pk)
    assert (check.finished_at, check.findings.name) == (None, "")
    assert not TrailEntry.objects.filter(act="work log checked").exists()


def test_check_that_takes_down_every_worker_is_given_up(ask, scope):
    check = ask("99999,TERM-OP,2026-01-01")
    clock = Clock()
    for attempt in range(MOST_ATTEMPTS):
        assert WorkLogCheck.objects.claim(check.pk, f"worker {attempt}", clock())
        clock.at += CLAIM_LAPSES_AFTER + timedelta(seconds=1)

    assert services.run_due_checks(clock=clock) == 0
    check = WorkLogCheck.objects.get(pk=check.pk)
    assert check.state == WorkLogCheck.State.FAILED
    assert "never ended" in check.failure


def test_progress_is_written_down_and_keeps_the_claim_fresh(ask, scope, monkeypatch):
    check = ask("99999,TERM-OP,2026-01-01")
    stages = []
    check_log = services.check_log

    def watch(*arguments):
        now = WorkLogCheck.objects.get(pk=check.pk)
        stages.append((now.stage, now.claimed_at > NOW, now.state))
        return check_log(*arguments)

    monkeypatch.setattr(services, "check_log", watch)
    run(check)

    assert stages == [("log", True, WorkLogCheck.State.RUNNING)]
    assert WorkLogCheck.objects.get(pk=check.pk).stage == "write"
