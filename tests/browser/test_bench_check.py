"""Badge after badge at a kiosk: one scan each, and an answer that is read from afar."""

from datetime import timedelta

import pytest

from people.models import FormerEmployeeNumber
from tests import factories

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

SMALLEST_TARGET_PX = 44
LARGEST_ELSE_PX = 60


@pytest.fixture
def floor(transactional_db):
    """A kiosk, one who may, one who may only, one who may no more."""
    site = factories.make_site()
    today = site.today()
    scope = factories.make_scope(code="TERM-OP", title="Terminals, operator")
    for number, name, since, restriction in (
        ("10377", "Bruno Castellane", 3, ""),
        ("10114", "Quentin Obaseki", 3, "turrets for AWG 20 and smaller"),
        ("10512", "Deniz Celik", 900, ""),
    ):
        person = factories.make_person(site, employee_number=number, full_name=name)
        factories.make_certificate(
            person, scope, issued_on=today - timedelta(days=since), restriction=restriction
        )
    FormerEmployeeNumber.objects.create(person=person, employee_number="512", until_on=today)
    return factories.make_kiosk(site, "kiosk-line-3", factories.PASSWORD)


@pytest.fixture
def kiosk(visitor, floor):
    def at(*, phone=False):
        opened = visitor(phone=True)
        opened.sign_in_by_password("kiosk-line-3")
        opened.page.wait_for_load_state("networkidle")
        assert opened.page.url.endswith("/check/")
        return opened

    return at


def scan(visitor, badge):
    """What a scanner does: it types quickly, wherever the cursor is, and ends with Enter."""
    page = visitor.page
    with page.expect_response("**/check/?*") as answer:
        page.keyboard.type(badge)
        page.keyboard.press("Enter")
    assert answer.value.ok
    page.wait_for_function(
        "number => document.querySelector('#answer').innerText.includes(number)", arg=badge.strip()
    )
    return page.locator("#answer").inner_text()


def focus(visitor):
    return visitor.page.evaluate("document.activeElement.id")


def test_badge_after_badge_needs_one_scan_each(kiosk):
    visitor = kiosk(phone=True)
    page = visitor.page
    visitor.audit()
    page.select_option("#scope", "TERM-OP")
    assert focus(visitor) == "number"

    for badge, word, said in (
        ("10377", "Yes", "Bruno Castellane may do this work today."),
        ("10114", "Yes, only:", "turrets for AWG 20 and smaller"),
        ("10512", "No", "Not current: see your instructor."),
        ("512", "No", "Deniz Celik may not do this work today."),
        (" 10377", "Yes", "Holds through"),
        ("99999", "Nobody here has this number, stamp or name.", "Without a yes, no work."),
    ):
        answered = scan(visitor, badge)
        assert page.locator("#answer .word").inner_text() == word
        assert said in answered
        assert page.locator("#answer .word svg.shape").count() == 1
        assert focus(visitor) == "number"
        assert page.input_value("#number") == ""
        assert page.locator(".check-form").bounding_box()["y"] >= 0
        visitor.audit()

    sizes = page.evaluate(
        """() => [...document.querySelectorAll('.check-form input, .check-form select,'
             + ' .check-form button')].map(one => one.getBoundingClientRect().height)"""
    )
    assert min(sizes) >= SMALLEST_TARGET_PX
    scan(visitor, "10377")
    word = page.locator("#answer .word").evaluate(
        "one => parseFloat(getComputedStyle(one).fontSize)"
    )
    assert word > LARGEST_ELSE_PX


def test_no_old_yes_stands_beside_a_badge_that_got_no_answer(kiosk):
    visitor = kiosk()
    page = visitor.page
    page.select_option("#scope", "TERM-OP")
    scan(visitor, "10377")

    page.route("**/check/?*", lambda route: route.abort())
    page.keyboard.type("10512")
    page.keyboard.press("Enter")
    page.get_by_text("No answer came. Without a yes, no work.").wait_for()

    assert page.locator("#answer .word").count() == 0
    visitor.complaints.clear()


def test_kiosk_that_was_closed_shows_the_sign_in_page_and_not_a_part_of_it(kiosk, floor):
    visitor = kiosk()
    page = visitor.page
    page.select_option("#scope", "TERM-OP")
    floor.is_active = False
    floor.save(update_fields=["is_active"])

    page.keyboard.type("10377")
    page.keyboard.press("Enter")

    page.wait_for_url("**/login/**")
    assert page.locator("#answer").count() == 0


def test_works_without_a_script(chromium, live_server, floor):
    context = chromium.new_context(java_script_enabled=False)
    page = context.new_page()
    try:
        page.goto(f"{live_server.url}/account/login/")
        page.fill("input[name=login]", "kiosk-line-3")
        page.fill("input[name=password]", factories.PASSWORD)
        page.press("input[name=password]", "Enter")
        page.select_option("#scope", "TERM-OP")
        page.fill("#number", "10377")
        page.press("#number", "Enter")
        assert page.locator("#answer .word").inner_text() == "Yes"

        page.locator("#number").press("1")
        page.locator("#number").press_sequentially("0512")
        page.locator("#number").press("Enter")
        assert "No" in page.locator("#answer .word").inner_text()
    finally:
        context.close()


def test_pages_where_administrators_make_kiosks_and_tokens_are_accessible(visitor, floor):
    administrator = factories.make_user("administrator", password=factories.PASSWORD)
    opened = visitor(phone=True)
    opened.sign_in(administrator.employee_number)
    for path, button in (("/kiosks/", "Make the kiosk"), ("/api-tokens/", "Make the token")):
        opened.go(path)
        opened.audit()
        opened.page.get_by_label("Name").fill("line-4")
        opened.page.get_by_role("button", name=button).click()
        opened.page.locator(".once code").wait_for()
        opened.audit()
        opened.go(path)
        opened.audit()
