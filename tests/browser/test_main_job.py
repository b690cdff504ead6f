"""The main job, once and whole: from an empty board to a certificate and its reminder."""

import io
import re
from datetime import datetime, time, timedelta

import pytest

from assessments.models import Board, Judgement, Photo
from certification.models import Certificate
from demo.drawn import draw_joint
from people.models import Person
from reminders.models import Message
from reminders.services import sweep as reminders
from tests.factories import PASSWORD

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

MOST_KEYS_A_JOINT = 12


def photographs(fault_at: int) -> list[dict]:
    files = []
    for n in range(1, 11):
        fault = "insulation_cut" if n == fault_at else None
        data = io.BytesIO()
        draw_joint("wire", fault, seed=n).image.save(data, "JPEG", quality=82)
        files.append({"name": f"E{n:02d}.jpg", "mimeType": "image/jpeg", "buffer": data.getvalue()})
    return files


def test_a_trainee_becomes_certified_and_is_reminded_in_time(visitor, shop):
    instructor = visitor()
    instructor.sign_in_by_password(shop.instructor.employee_number)
    number = hand_out_a_board(instructor, shop)
    add_photographs(instructor, number)
    grade_with_keys(instructor, number)
    propose(instructor, shop)

    quality = visitor()
    quality.sign_in_by_password(shop.quality.employee_number)
    certificate = issue(quality)
    see_in_the_register(quality, certificate)

    operator = visitor(phone=True)
    operator.sign_in_by_password(shop.trainee.employee_number)
    see_my_card(operator, certificate, number)

    send_a_reminder(quality, certificate)


def hand_out_a_board(instructor, shop) -> str:
    page = instructor.page
    instructor.go("/bench/")
    instructor.audit()
    page.get_by_role("link", name="Hand out boards").first.click()
    page.get_by_label("Exercise").select_option(label="Strip and tin")
    page.get_by_label("One trainee").fill(shop.trainee.employee_number)
    page.get_by_label("Purpose").select_option("qualification")
    instructor.audit()
    page.get_by_role("button", name="Hand out boards").click()
    page.wait_for_load_state("networkidle")
    instructor.audit()
    board = Board.objects.get()
    assert board.person_id == shop.trainee.person_id
    assert board.joints.count() == 10
    return board.number


def add_photographs(instructor, number: str) -> None:
    page = instructor.page
    instructor.go(f"/boards/{number}/")
    page.locator("input[type=file]").first.set_input_files(photographs(fault_at=7))
    page.get_by_role("button", name="Send 10 photographs").click()
    wait_until(page, lambda: page.locator(".thumbs img").count() >= 10)
    assert Photo.objects.filter(joint__isnull=False).count() == 10
    assert Photo.objects.get(original_name="E07.jpg").joint.position.name == "E07"
    instructor.audit()


def grade_with_keys(instructor, number: str) -> None:
    """Judge every joint of both stages with the keyboard alone, and sign each stage."""
    page = instructor.page
    instructor.go(f"/boards/{number}/grade/")
    instructor.audit()
    for _stage in ("prepared", "cleaned"):
        keys = 0
        while not page.locator("[data-key='s']:visible").count():
            press = "a"
            heading = page.locator(".judge h2").inner_text()
            if "E07" in heading and heading.startswith("Insulation edge"):
                press = "r"
            if page.is_visible("#by-eye summary"):  # Measured: by eye, for a reason.
                press = "e" if press == "a" else press
            with page.expect_response("**/judge/") as answer:
                page.keyboard.press(press)
                keys += 1
                if page.is_visible("#reasons"):
                    page.keyboard.press("1")
                    keys += 1
            assert answer.value.ok
            wait_until(
                page,
                lambda was=heading: (
                    page.locator(".judge h2").inner_text() != was
                    or page.locator("[data-key='s']:visible").count() > 0
                ),
            )
            assert keys < 10 * MOST_KEYS_A_JOINT
        page.reload(wait_until="networkidle")  # Keys are heard once the script is there.
        assert page.locator("[data-key='s']:visible").count() == 1
        page.keyboard.press("s")
        page.wait_for_url("**/sign/**")
        instructor.audit()
        page.get_by_label("Your password").fill("not it")
        page.get_by_role("button", name="Sign", exact=True).click()
        page.get_by_text("nothing was signed").wait_for()
        instructor.complaints.clear()
        page.get_by_label("Your password").fill(PASSWORD)
        page.get_by_role("button", name="Sign", exact=True).click()
        page.wait_for_url(lambda url: "/sign/" not in url)
    assert page.url.endswith(f"/boards/{number}/result/")
    page.get_by_text("passed").first.wait_for()
    page.get_by_role("heading", name="What to do better").wait_for()
    instructor.audit()
    board = Board.objects.get()
    assert board.outcome.passed is True
    assert Judgement.objects.filter(outcome="reject").get().joint.position.name == "E07"


def propose(instructor, shop) -> None:
    page = instructor.page
    instructor.go(f"/people/{shop.trainee.employee_number}/")
    page.get_by_role("link", name="Wire preparation, operator").first.click()
    page.wait_for_load_state("networkidle")
    instructor.audit()
    page.locator("input[type=password]").fill(PASSWORD)
    page.get_by_role("button", name=re.compile("Propose", re.I)).click()
    page.wait_for_load_state("networkidle")
    instructor.audit()


def issue(quality) -> Certificate:
    page = quality.page
    quality.go("/proposals/")
    quality.audit()
    page.get_by_role("link", name="Signe Aldous").first.click()
    page.wait_for_load_state("networkidle")
    quality.audit()
    page.locator("input[type=password]").first.fill(PASSWORD)
    page.get_by_role("button", name=re.compile("Issue", re.I)).first.click()
    page.wait_for_load_state("networkidle")
    certificate = Certificate.objects.get(person__full_name="Signe Aldous")
    today = certificate.person.site.today()
    assert certificate.issued_on == today
    quality.go(f"/certificates/{certificate.number}/")
    quality.audit()
    return certificate


def see_in_the_register(quality, certificate: Certificate) -> None:
    page = quality.page
    quality.go("/register/?q=Signe")
    row = page.get_by_role("row", name=re.compile("Wire preparation, operator"))
    assert "certified" in row.first.inner_text()
    assert certificate.number in row.first.inner_text()
    quality.audit()


def see_my_card(operator, certificate: Certificate, number: str) -> None:
    page = operator.page
    operator.go("/")
    assert page.url.endswith("/my-card/")
    text = page.locator("main").inner_text()
    assert "Wire preparation, operator" in text
    # The vision test and the practice asked for end sooner than the certificate itself.
    assert f"its own end: {certificate.valid_through:%-d %b %Y}" in text.replace("\u00a0", " ")
    assert "E07" in text
    assert "Criterion P-04" in text
    operator.audit()
    for path in (f"/boards/{number}/", f"/boards/{number}/result/", "/criteria/wire/"):
        operator.go(path)
        operator.audit()


def send_a_reminder(quality, certificate: Certificate) -> None:
    """Thirty days before the first thing ends, at the site's hour, a message is written."""
    person = Person.objects.get(pk=certificate.person_id)
    span = person.spans.get(scope=certificate.scope, standing="certified")
    day = span.ends.order_by("last_day")[0].last_day - timedelta(days=30)
    while not person.site.is_working_day(day):
        day -= timedelta(days=1)
    now = datetime.combine(day, time(8), person.site.zone)
    reminders.sweep(now=now)
    message = Message.objects.get(person=person)
    assert message.recipient == person.email
    assert message.day == day
    quality.go("/reminders/outbox/")
    quality.page.get_by_text(person.email).first.wait_for()
    quality.audit()


def wait_until(page, fulfilled) -> None:
    for _attempt in range(200):
        if fulfilled():
            return
        page.wait_for_timeout(25)
    raise AssertionError("Waited five seconds, and it did not happen.")
