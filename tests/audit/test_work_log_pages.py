"""The pages of work-log checks: upload, progress, sum, findings, downloads."""

import csv
import io
from datetime import date, timedelta

import openpyxl
import polars as pl
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils import timezone

from audit.domain.work_log_check import Findings
from audit.models import WorkLogCheck
from audit.presenters import work_log_files
from audit.services import work_log_checks as services
from people.presenters import exported_tables as exports
from tests.factories import (
    make_certificate,
    make_person,
    make_scope,
    make_site,
    make_user,
)
from training.models import PracticeRecord

pytestmark = pytest.mark.django_db

PAGE = reverse("audit:work_log")


@pytest.fixture
def quality(client):
    user = make_user("quality")
    client.force_login(user)
    return user


@pytest.fixture
def holder():
    person = make_person(full_name="Amaranta Kowal", employee_number="E-1")
    make_certificate(person, make_scope(code="TERM-OP"), number="C-1", issued_on=date(2026, 1, 10))
    return person


ROWS = [
    "row,employee_number,scope,worked_on,note",
    "1,E-1,TERM-OP,2026-01-10,=1+1",
    "2,E-1,TERM-OP,2026-01-09,before",
    "3,E-9,TERM-OP,2026-01-12,",
    "4,E-1,NO-SUCH,2026-01-12,",
]


def send(client, rows=ROWS, **data):
    file = SimpleUploadedFile("travellers.csv", "\n".join(rows).encode())
    return client.post(PAGE, {"file": file, "known": "now", **data})


@pytest.fixture
def checked(client, quality, holder):
    send(client)
    check = WorkLogCheck.objects.get()
    services.run_check(check_id=check.pk, clock=timezone.now)
    return reverse("audit:work_log_check", args=[check.pk])


def lines_of(response):
    return [row["line"] for row in response.context["rows"]]


def test_log_is_taken_and_its_check_opened(client, quality, holder):
    response = send(client)

    check = WorkLogCheck.objects.get()
    assert response.status_code == 302
    assert response["Location"] == reverse("audit:work_log_check", args=[check.pk])
    assert (check.asked_by, check.file_name) == (quality, "travellers.csv")
    assert check.zone == "Europe/Madrid"
    page = client.get(response["Location"]).content.decode()
    assert "Waits for a worker" in page
    assert 'hx-trigger="every 1s"' in page
    assert "travellers.csv" in client.get(PAGE).content.decode()


@pytest.mark.parametrize(
    ("data", "known_at", "then"),
    [
        ({"known": "now"}, "", False),
        ({"known": "at", "known_on": "2026-02-01"}, "2026-02-01T22:59:59", False),
        (
            {"known": "at", "known_on": "2026-02-01", "known_time": "08:30"},
            "2026-02-01T07:30",
            False,
        ),
        ({"known": "then", "counts_as_practice": "on"}, "", True),
    ],
    ids=["now", "day", "instant", "then"],
)
def test_form_says_what_is_asked_on_the_clock_of_the_site(data, known_at, then, client, quality):
    send(client, **data)

    check = WorkLogCheck.objects.get()
    instant = check.known_at.isoformat() if check.known_at else ""
    assert instant.startswith(known_at)
    assert bool(instant) == bool(known_at)
    assert check.as_known_then == then
    assert check.counts_as_practice == ("counts_as_practice" in data)


@pytest.mark.parametrize(
    ("data", "said"),
    [
        ({"known": "at"}, "Say up to which day entries are used"),
        ({"known": "whenever"}, "Select a valid choice"),
        ({"file": ""}, "This field is required"),
        ({"file": SimpleUploadedFile("log.pdf", b"%PDF")}, "CSV or XLSX file"),
    ],
    ids=["day", "time", "file", "kind"],
)
def test_bad_form_comes_back_with_what_is_wrong(data, said, client, quality):
    response = send(client, **data)

    assert response.status_code == 422
    assert said in response.content.decode()
    assert not WorkLogCheck.objects.exists()


def test_progress_is_asked_for_alone_and_ends_by_loading_the_sum(client, quality, holder):
    address = send(client)["Location"]
    headers = {"HX-Request": "true", "HX-Target": "progress"}
    check = WorkLogCheck.objects.get()
    WorkLogCheck.objects.filter(pk=check.pk).update(
        claimed_at=timezone.now(), stage="standings", done=1200, total=5000
    )

    answer = client.get(address, headers=headers)

    assert answer.content.decode().lstrip().startswith('<div id="progress"')
    assert "1,200 / 5,000" in answer.content.decode()
    assert "HX-Refresh" not in answer.headers
    WorkLogCheck.objects.filter(pk=check.pk).update(claimed_at=None)
    services.run_check(check_id=check.pk, clock=timezone.now)
    assert client.get(address, headers=headers)["HX-Refresh"] == "true"


def test_sum_says_rows_people_and_days(client, checked, holder):
    response = client.get(checked)

    page = response.content.decode()
    assert [(bar.standing, bar.rows, bar.share) for bar in response.context["bars"]] == [
        ("certified", 1, "33.3"),
        ("never_certified", 1, "33.3"),
        ("unknown_person", 1, "33.3"),
    ]
    assert page.count("<rect") == 3
    assert "1 row could not be judged" in page
    assert "There is no scope NO-SUCH in the register." in page
    assert reverse("people:person_detail", args=["E-1"]) in page
    assert reverse("certification:certificate_detail", args=["C-1"]) in page
    assert response.context["people"] == [("Amaranta Kowal", "E-1", 1, 1)]
    listed = client.get(PAGE).content.decode()
    assert "2 of 3 rows not certified" in listed
    assert "1 row not judged" in listed


@pytest.mark.parametrize(
    ("query", "lines"),
    [
        ({}, [2, 3, 4]),
        ({"standing": "not"}, [3, 4]),
        ({"standing": "certified"}, [2]),
        ({"q": "E-1"}, [2, 3]),
        ({"scope": "TERM-OP", "first": "2026-01-10"}, [2, 4]),
        ({"last": "2026-01-09"}, [3]),
        ({"scope": "CUP-OP"}, []),
        ({"standing": "no-such", "first": "never"}, [2, 3, 4]),
    ],
    ids=["all", "not", "certified", "person", "scope", "day", "none", "nonsense"],
)
def test_findings_are_filtered(query, lines, client, checked):
    assert lines_of(client.get(checked, query)) == lines


def test_findings_come_a_page_at_a_time(client, quality, holder):
    rows = [ROWS[0], *(f"{n},E-1,TERM-OP,2026-02-01," for n in range(230))]
    send(client, rows)
    check = WorkLogCheck.objects.get()
    services.run_check(check_id=check.pk, clock=timezone.now)
    address = reverse("audit:work_log_check", args=[check.pk])

    assert lines_of(client.get(address)) == list(range(2, 102))
    assert lines_of(client.get(address, {"page": 3})) == list(range(202, 232))


def test_page_takes_the_same_queries_for_three_rows_and_for_a_hundred(
    client, quality, holder, django_assert_num_queries
):
    counts = []
    for size in (3, 100):
        send(client, [ROWS[0], *(f"{n},E-1,TERM-OP,2026-02-01," for n in range(size))])
        check = WorkLogCheck.objects.latest("pk")
        services.run_check(check_id=check.pk, clock=timezone.now)
        address = reverse("audit:work_log_check", args=[check.pk])
        client.get(address)
        with django_assert_num_queries(6) as captured:
            client.get(address)
        counts.append(len(captured))
    assert counts[0] == counts[1]


def test_list_takes_the_same_queries_for_one_check_and_for_many(
    client, quality, holder, django_assert_num_queries
):
    send(client)
    client.get(PAGE)
    with django_assert_num_queries(6):
        client.get(PAGE)
    for _again in range(5):
        send(client)
    with django_assert_num_queries(6):
        client.get(PAGE)


def test_findings_download_as_csv_that_starts_no_formula(client, checked):
    response = client.get(f"{checked}findings.csv", {"standing": "certified"})

    content = b"".join(response.streaming_content).decode("utf-8-sig")
    assert list(csv.reader(io.StringIO(content, newline=""))) == [
        [*ROWS[0].split(","), "standing", "certificate_number"],
        ["1", "E-1", "TERM-OP", "2026-01-10", "'=1+1", "certified", "C-1"],
    ]
    assert 'filename="travellers-findings.csv"' in response["Content-Disposition"]


def test_findings_download_as_a_workbook_of_text(client, checked):
    response = client.get(f"{checked}findings.xlsx")

    book = openpyxl.load_workbook(io.BytesIO(b"".join(response.streaming_content)))
    rows = list(book.active.iter_rows())
    assert len(rows) == 4
    assert (rows[1][4].value, rows[1][4].data_type) == ("=1+1", "s")
    assert [cell.value for cell in rows[2]][-2:] == ["never_certified", None]


@pytest.mark.parametrize("heading", ["=1+1", "+cmd", "@SUM(A1)", "-2+3", " =1+1"])
def test_no_file_has_a_heading_that_a_spreadsheet_program_would_calculate(heading):
    frame = pl.DataFrame({"a": [heading, ""], "b": [1, 2]})
    findings = Findings([heading, "b"], ["a", "b"], frame, [])
    stream = io.BytesIO()
    work_log_files.write_csv(findings, stream)
    rows = list(csv.reader(io.StringIO(stream.getvalue().decode())))
    assert rows == [[f"'{heading}", "b"], [f"'{heading}", "1"], ["", "2"]]
    with exports.workbook("Findings", [heading, "b"], []) as file:
        head = openpyxl.load_workbook(file).active["A1"]
        assert (head.value, head.data_type) == (heading, "s")


def test_rows_that_could_not_be_judged_download_with_their_reasons(client, checked):
    response = client.get(f"{checked}not-judged.csv")

    rows = list(csv.reader(io.StringIO(response.content.decode("utf-8-sig"))))
    assert rows == [
        ["line", "column", "reason"],
        ["5", "scope", "There is no scope NO-SUCH in the register."],
    ]


def test_check_that_failed_says_why_and_has_no_findings(client, quality):
    address = send(client, ["employee_number,scope", "1,2"])["Location"]
    services.run_due_checks(clock=timezone.now)

    assert "no column named worked_on" in client.get(address).content.decode()
    assert client.get(f"{address}findings.csv").status_code == 404


def test_log_to_try_holds_recent_practice_and_is_a_log(client, quality):
    yesterday = make_site().today() - timedelta(days=1)
    holder = make_person()
    make_certificate(holder, make_scope(code="TERM-OP"), issued_on=yesterday)
    PracticeRecord.objects.create(
        person=holder,
        scope_code="TERM-OP",
        performed_on=yesterday,
        reference="W-1",
    )

    example = client.get(reverse("audit:work_log_example")).content
    client.post(PAGE, {"file": SimpleUploadedFile("example.csv", example), "known": "now"})
    services.run_due_checks(clock=timezone.now)

    check = WorkLogCheck.objects.get()
    assert (check.failure, check.counts) == ("", {"certified": 1})


def test_check_is_there_for_quality_at_its_site_and_for_nobody_elsewhere(client, checked):
    client.force_login(make_user("quality"))
    assert client.get(checked).status_code == 200
    client.force_login(make_user("quality", site=make_site("Aldergate", "AL")))
    assert client.get(checked).status_code == 404
    assert "travellers.csv" not in client.get(PAGE).content.decode()
    client.force_login(make_user("instructor"))
    assert client.get(PAGE).status_code == 403
