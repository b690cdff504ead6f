"""The search by hand: what is typed shows what it finds, and keys alone lead to it."""

from datetime import timedelta
from io import BytesIO
from zoneinfo import ZoneInfo

import pytest
from playwright.sync_api import expect

from audit.services import work_log_checks
from certification.models import Scope
from people.models import Stamp
from tests.browser.test_daily_pages import COUNT, acts
from tests.factories import NOW, TODAY, make_board, make_certificate, make_person

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

INTO_THE_FIELD, ENTER, ARROW = 1, 1, 1
AWAITED_MS = 150
ZONE = ZoneInfo("Europe/Madrid")


@pytest.fixture
def holder(shop):
    person = shop.trainee.person
    # No number that the factories give holds an 8 or a 9: this finds what it is to find alone.
    Stamp.objects.create(mark="K89", person=person, issued_on=TODAY - timedelta(days=90))
    make_board(person, number="CA-B-00089", unit="SN 0815", work_order="WO-9")
    make_certificate(person, number="CA-C-00089")
    return person


@pytest.fixture
def window(visitor, shop, holder):
    window = visitor()
    window.page.add_init_script(COUNT)
    window.sign_in(shop.quality.employee_number)
    window.go("/register/")
    return window


def field(window):
    return window.page.locator("#find")


def options(window):
    return window.page.locator("#find-options [role=option]")


def test_stamp_is_typed_and_its_holder_opened(window, holder):
    field(window).click()
    window.page.keyboard.type("k89")
    expect(options(window)).to_have_count(1)
    window.page.keyboard.press("Enter")
    window.page.wait_for_url(f"**/people/{holder.employee_number}/")

    assert acts(window) == INTO_THE_FIELD + len("k89") + ENTER


def test_one_of_several_is_chosen_by_the_arrows(window, holder):
    page = window.page
    field(window).click()
    page.keyboard.type("89")
    expect(options(window)).to_have_count(3)
    assert page.locator("[aria-selected=true]").count() == 0
    page.keyboard.press("ArrowDown")
    first = options(window).first
    assert field(window).get_attribute("aria-activedescendant") == first.get_attribute("id")
    assert field(window).get_attribute("aria-expanded") == "true"
    expect(page.locator(".find [role=status]")).to_have_text("3 found. The arrow keys choose.")
    window.audit()
    page.keyboard.press("ArrowUp")
    assert field(window).get_attribute("aria-activedescendant") is None
    page.keyboard.press("ArrowUp")
    assert field(window).get_attribute("aria-activedescendant") == options(
        window
    ).last.get_attribute("id")
    page.keyboard.press("Enter")
    page.wait_for_url("**/certificates/CA-C-00089/")


def test_no_key_opens_what_answers_an_earlier_text(window):
    page = window.page
    field(window).click()
    page.keyboard.type("89")
    expect(options(window)).to_have_count(3)
    page.keyboard.press("ArrowDown")
    page.keyboard.type("x")
    assert field(window).get_attribute("aria-activedescendant") is None
    page.keyboard.press("Enter")
    page.wait_for_url("**/find/?q=89x")


def test_escape_closes_the_list_and_keeps_the_text_and_focus_opens_it_again(window):
    page = window.page
    field(window).click()
    page.keyboard.type("89")
    expect(options(window)).to_have_count(3)
    page.keyboard.press("Escape")
    expect(page.locator("#find-found")).to_be_hidden()
    assert field(window).input_value() == "89"
    assert field(window).get_attribute("aria-expanded") == "false"
    page.keyboard.press("ArrowDown")
    expect(page.locator("#find-found")).to_be_visible()
    page.keyboard.press("Tab")
    expect(page.locator("#find-found")).to_be_hidden()


def test_press_on_an_option_opens_it(window, holder):
    field(window).fill("aldous")
    options(window).first.click()
    window.page.wait_for_url(f"**/people/{holder.employee_number}/")


def test_request_that_is_overtaken_is_given_up_and_its_answer_never_shown(window):
    page = window.page
    asked = []
    page.on("request", lambda one: asked.append(one.url) if "/find/" in one.url else None)
    held = []
    page.route("**/find/?q=89", lambda route: held.append(route))

    field(window).click()
    page.keyboard.type("89")
    page.wait_for_timeout(AWAITED_MS * 3)
    assert len(held) == 1
    page.keyboard.type("x")
    expect(page.locator("#find-found .none")).to_be_visible()
    page.unroute("**/find/?q=89")
    assert [url.rpartition("q=")[2] for url in asked] == ["89", "89x"]
    assert options(window).count() == 0
    assert page.locator("#no-answer").is_hidden()


def test_keys_in_a_row_are_one_request(window):
    asked = []
    window.page.on("request", lambda one: asked.append(one.url) if "/find/" in one.url else None)
    field(window).click()
    window.page.keyboard.type("aldous")
    expect(options(window)).to_have_count(1)
    assert len(asked) == 1


def test_whoever_is_signed_out_meanwhile_comes_to_the_sign_in(window):
    field(window).click()
    window.page.context.clear_cookies()
    window.page.keyboard.type("89")
    window.page.wait_for_url("**/account/login/**")


def test_list_is_readable_and_within_the_window(window, shop):
    for n in range(7):
        make_person(shop.trainee.person.site, full_name=f"Aldous Namesake {n} von und zu Felsen")
    field(window).fill("aldous")
    expect(options(window)).to_have_count(6)
    window.page.keyboard.press("ArrowDown")
    window.audit()
    window.has_contrast_in_the_dark()
    box = window.page.locator("#find-found").bounding_box()
    assert box["x"] >= 0
    assert box["x"] + box["width"] <= 1280
    options(window).last.click()
    window.page.wait_for_url("**/find/?q=aldous")
    assert window.page.locator(".search-results li").count() == 8


def test_how_somebody_stood_on_a_day_is_asked_from_the_register(visitor, shop, holder):
    asked = f"signe aldous {TODAY.isoformat()}"
    window = visitor()
    window.page.add_init_script(COUNT)
    window.sign_in(shop.quality.employee_number)
    window.go("/register/")
    window.page.locator("#who-was-that").click()
    window.page.keyboard.type(asked)
    window.page.keyboard.press("Enter")
    window.page.wait_for_url("**/who-was-that/**")

    assert acts(window) == INTO_THE_FIELD + len(asked) + ENTER
    expect(window.page.get_by_role("link", name="Signe Aldous")).to_be_visible()
    expect(window.page.locator(".that-was").get_by_text("certified", exact=True)).to_be_visible()
    window.audit(in_each_look=True)


def test_unit_of_a_checked_log_leads_to_its_row(visitor, shop, holder):
    code = Scope.objects.get(code="WIRE-OP").code
    rows = f"employee_number,scope,worked_on,unit\n{holder.employee_number},{code},{TODAY},SN-77"
    check = work_log_checks.request_check(
        actor=shop.quality, file=BytesIO(rows.encode()), name="june.csv", at=NOW, zone=ZONE
    )
    assert work_log_checks.run_check(check_id=check.pk, clock=lambda: NOW)
    window = visitor(phone=True)
    window.sign_in(shop.quality.employee_number)
    window.go("/register/who-was-that/?q=unit+SN-77")
    window.audit(in_each_look=True)
    window.page.get_by_role("link", name="In the log june.csv").click()
    window.page.wait_for_url(f"**/{check.pk}/?q=*")
    row = window.page.locator(".findings tbody tr")
    expect(row).to_have_count(1)
    expect(row).to_contain_text("SN-77")


def test_phone_finds_while_it_is_typed_on_a_page_of_its_own(visitor, shop, holder):
    window = visitor(phone=True)
    page = window.page
    window.sign_in(shop.quality.employee_number)
    window.go("/register/")
    page.locator(".to-find").click()
    page.wait_for_url("**/find/")
    page.locator("#find-again").fill("89")
    expect(page.locator(".search-results li")).to_have_count(3)
    page.wait_for_url("**/find/?q=89&listed=yes")
    expect(page.locator(".filters [role=status]")).to_have_text("3 found")
    window.audit(in_each_look=True)
    page.locator("#find-again").fill("k89")
    expect(page.locator(".search-results li")).to_have_count(1)
    page.locator(".search-results a").click()
    page.wait_for_url(f"**/people/{holder.employee_number}/")
    page.go_back()
    expect(page.locator(".search-results li")).to_have_count(1)
    assert page.locator("#find-again").input_value() == "k89"


def test_field_finds_without_a_script(visitor, shop, holder, chromium, live_server):
    window = visitor()
    window.sign_in(shop.quality.employee_number)
    state = window.page.context.storage_state()
    context = chromium.new_context(java_script_enabled=False, storage_state=state)
    page = context.new_page()
    page.goto(f"{live_server.url}/register/")
    page.fill("#find", "K89")
    page.press("#find", "Enter")
    page.wait_for_url(f"**/people/{holder.employee_number}/")
    page.fill("#find", "89")
    page.press("#find", "Enter")
    page.wait_for_url("**/find/?q=89")
    assert page.locator(".search-results li").count() == 3
    context.close()
