"""Quality checks a work log in a real browser: sends it, watches it, and looks through it."""

from datetime import date

import pytest
from django.utils import timezone

from audit.models import WorkLogCheck
from audit.services import work_log_checks
from tests.factories import (
    PASSWORD,
    make_certificate,
    make_person,
    make_scope,
    make_user,
)

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def log():
    person = make_person(full_name="Amaranta Kowal", employee_number="E-1")
    make_certificate(person, make_scope(code="TERM-OP"), number="C-1", issued_on=date(2026, 1, 10))
    rows = [f"E-1,TERM-OP,2026-01-{day:02d},W-{day}" for day in range(6, 20)]
    rows += ["E-9,TERM-OP,2026-01-20,W-20", "E-1,NO-SUCH,2026-01-20,W-21"]
    content = "\n".join(["employee_number,scope,worked_on,order", *rows]).encode()
    return {"name": "travellers.csv", "mimeType": "text/csv", "buffer": content}


def test_a_log_is_sent_watched_and_looked_through(visitor, log):
    quality = visitor(phone=True)
    quality.sign_in(make_user("quality", password=PASSWORD).employee_number)
    page = quality.page
    quality.go("/work-log/")
    quality.audit()
    page.get_by_label("Work log").set_input_files(log)
    page.get_by_role("button", name="Check it").click()
    page.get_by_text("Waits for a worker").wait_for()
    quality.audit()

    # The page asks again by itself and opens the sum once a worker is through.
    check = WorkLogCheck.objects.get()
    work_log_checks.run_check(check_id=check.pk, clock=timezone.now)
    page.get_by_role("heading", name="Rows of each standing").wait_for()
    page.get_by_text("1 row could not be judged").click()
    page.get_by_text("There is no scope NO-SUCH in the register.").wait_for()
    quality.audit()

    if page.locator(".filters .fold").is_visible():
        page.locator(".filters .fold").click()
    page.get_by_label("Standing", exact=True).select_option(label="never certified")
    page.get_by_role("button", name="Show").click()
    page.get_by_text("Rows 1 to 4 of 4").wait_for()
    with page.expect_download() as download:
        page.get_by_role("link", name="This view as CSV").click()
    rows = download.value.path().read_text(encoding="utf-8-sig").splitlines()
    assert rows[0] == "employee_number,scope,worked_on,order,standing,certificate_number"
    assert len(rows) == 5

    page.locator(".findings").get_by_role("link", name="Amaranta Kowal").first.click()
    page.wait_for_url("**/people/E-1/")
