"""A shared tablet in a real browser: locked by the clock and by the server, and nothing is lost."""

import re
from datetime import timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import Page

from assessments.content import CriteriaSetContent
from assessments.content.criteria import REVISION_1
from assessments.models import Board, Judgement
from people.models import Site, TabletUse
from people.services import tablets as services
from tests import factories
from tests.browser.conftest import PASSWORD, Shop, Visitor
from tests.browser.test_class_day import settle
from tests.browser.test_photos_in_bulk import choose, named, photograph
from tests.factories import NOW
from training.models import JointType

PIN = "2580"


@pytest.fixture
def criteria_content() -> CriteriaSetContent:
    """A set in which wetting, which comes first, is judged by eye."""
    return REVISION_1


@pytest.fixture
def board(shop: Shop) -> Board:
    exercise = factories.make_exercise((JointType.TURRET,) * 2)
    return factories.make_board(shop.trainee.person, exercise)


@pytest.fixture
def tablet(visitor, shop: Shop, board) -> Visitor:
    """The instructor at a browser that they have declared a shared tablet."""
    window = visitor()
    window.sign_in(shop.instructor.employee_number)
    window.go("/tablets/")
    window.page.fill("#id_name", "Bench room 2")
    window.page.click("main form .btn-primary")
    window.page.wait_for_selector(".tablet-bar")
    return window


def grade(window: Visitor, board: Board) -> Page:
    window.go(f"/boards/{board.number}/grade/?stage=soldered&joint=E01")
    return window.page


def idle_at_the_server(window: Visitor, seconds: int = 10_000) -> None:
    """Let the server think that nobody has asked for so long."""
    [cookie] = [one for one in window.page.context.cookies() if one["name"] == "sessionid"]
    TabletUse.objects.filter(session_id=cookie["value"]).update(
        seen_at=timezone.now() - timedelta(seconds=seconds)
    )


def locked(page: Page) -> None:
    page.wait_for_url("**/tablet/**")
    page.wait_for_selector("h1:text-is('Locked')")


def look(window: Visitor, badge: str) -> None:
    """Go on by badge and PIN."""
    window.go("/tablet/")
    window.page.fill("#id_badge", badge)
    window.page.fill("#id_pin", PIN)
    window.page.press("#id_pin", "Enter")
    window.page.wait_for_selector(".tablet-bar:has-text('Read only')")


def is_away(page: Page) -> bool:
    """Whether the page's own script has taken it away."""
    return "is-away" in (page.get_attribute("body", "class") or "")


def unlock(page: Page, password: str = PASSWORD) -> None:
    page.fill("#id_password", password)
    page.press("#id_password", "Enter")
    page.wait_for_url(lambda url: "/tablet/" not in url)
    page.wait_for_load_state("networkidle")


def test_page_is_taken_away_once_nobody_uses_it_and_typing_is_kept(tablet, shop):
    page = tablet.page
    page.clock.install()
    tablet.go(f"/people/{shop.trainee.employee_number}/edit/")
    page.fill("#id_full_name", "Signe Aldous-Berg")
    page.clock.fast_forward(280_000)
    assert not is_away(page)
    page.clock.fast_forward(22_000)
    locked(page)
    tablet.go("/boards/")  # Whatever is asked for, the lock answers.
    locked(page)
    page.go_back()
    locked(page)
    tablet.go(f"/people/{shop.trainee.employee_number}/edit/")
    unlock(page)
    assert "/edit/" in page.url
    assert page.input_value("#id_full_name") == "Signe Aldous-Berg"


def test_judgement_made_while_locked_waits_and_is_sent_in_the_name_of_who_made_it(
    tablet, board, shop
):
    other = factories.make_user("instructor", site=shop.instructor.person.site, password=PASSWORD)
    services.set_pin(user=other, pin=PIN, badge="CARD-7", proof="password", at=NOW)
    page = grade(tablet, board)
    idle_at_the_server(tablet)
    page.keyboard.press("r")
    page.wait_for_selector("#unsaved:not([hidden])")
    assert not Judgement.objects.exists()
    page.reload()
    locked(page)
    tablet.audit()
    # Somebody else in between, first to read and then in full, on the very same board.
    page.fill("#id_badge", "CARD-7")
    page.press("#id_badge", "Enter")
    assert page.evaluate("document.activeElement.id") == "id_pin"
    page.fill("#id_pin", PIN)
    page.press("#id_pin", "Enter")
    page.wait_for_selector(".tablet-bar:has-text('Read only')")
    grade(tablet, board)
    page.keyboard.press("a")
    assert "Judging and signing ask for your password." in page.inner_text(".judge")
    assert page.locator("#judge").count() == 0
    assert not Judgement.objects.exists()
    page.click(".judge a:text-is('Sign in fully')")
    page.wait_for_selector("#id_password:focus")
    unlock(page)
    grade(tablet, board)
    page.keyboard.press("a")
    page.wait_for_function(
        "(who) => !Object.keys(localStorage).some((one) => one.startsWith(`grading:${who}:`))",
        arg=other.pk,
    )
    assert [one.grading.grader_id for one in Judgement.objects.all()] == [other.pk]
    page.click(".tablet-bar button:text-is('Lock')")
    locked(page)
    page.click("button:text-is('Sign out')")
    page.wait_for_url("**/login/**")
    tablet.sign_in_by_password(shop.instructor.employee_number)
    grade(tablet, board)
    settle(page)
    mine = Judgement.objects.get(grading__grader=shop.instructor)
    assert (mine.outcome, str(mine.joint)) == ("reject", "E01")
    assert Judgement.objects.filter(grading__grader=other).get().outcome == "accept"


@pytest.mark.parametrize(
    "way", ["main form .btn-primary", ".tablet-bar a:text-is('Sign in fully')"]
)
def test_what_was_typed_while_looking_is_there_after_signing_in_fully(tablet, shop, way):
    services.set_pin(user=shop.instructor, pin=PIN, badge="CARD-7", proof="password", at=NOW)
    page = tablet.page
    look(tablet, "CARD-7")
    edit = f"/people/{shop.trainee.employee_number}/edit/"
    tablet.go(edit)
    page.fill("#id_full_name", "Signe Aldous-Berg")
    page.click(way)
    if "form" in way:
        page.click("main a:text-is('Sign in fully')")
    page.fill("#id_password", "not it")
    page.press("#id_password", "Enter")
    page.wait_for_selector("text=That is not your password")
    unlock(page)
    assert page.url.endswith(edit)
    assert page.input_value("#id_full_name") == "Signe Aldous-Berg"
    page.click("main form .btn-primary")
    page.wait_for_url(lambda url: "/edit/" not in url)
    tablet.go(edit)
    assert page.input_value("#id_full_name") == "Signe Aldous-Berg"


def test_window_that_idles_leaves_the_tablet_to_the_one_in_use(tablet):
    page = tablet.page
    page.clock.install()
    tablet.go("/boards/")
    idle = page.context.new_page()
    idle.goto(f"{tablet.address}/register/")
    idle.wait_for_selector(".tablet-bar")
    for _ in range(2):
        page.clock.fast_forward(200_000)
        page.keyboard.press("Shift")
        assert not is_away(page)
        assert not is_away(idle)
    page.clock.fast_forward(302_000)
    locked(page)
    locked(idle)


@pytest.mark.parametrize("way", ["button", "server", "network"])
def test_what_one_window_locks_is_on_no_other_windows_screen(tablet, shop, way):
    """No clock moves and nobody taps: the other window goes by what the first one says."""
    page = tablet.page
    other = page.context.new_page()
    other.goto(f"{tablet.address}/people/{shop.trainee.employee_number}/edit/")
    other.fill("#id_full_name", "Signe Aldous-Berg")
    tablet.go("/boards/")
    if way == "button":
        page.click(".tablet-bar button:text-is('Lock')")
    elif way == "server":
        idle_at_the_server(tablet)
        page.reload()
    else:
        # The one who locks goes without waiting for an answer; the other has none to wait for.
        other.route("**/tablet/lock/", lambda route: route.abort())
        page.click(".tablet-bar button:text-is('Lock')")
        other.wait_for_selector("#tablet-away:not([hidden])")
        assert other.locator("main").is_hidden()
        other.unroute("**/tablet/lock/")
    locked(page)
    locked(other)
    unlock(other)
    assert other.input_value("#id_full_name") == "Signe Aldous-Berg"


def test_signing_out_leaves_nothing_on_other_windows_screens(tablet):
    page = tablet.page
    other = page.context.new_page()
    other.goto(f"{tablet.address}/register/")
    tablet.go("/boards/")
    page.click("#menu button:text-is('Sign out')")
    page.wait_for_url("**/login/**")
    other.wait_for_url("**/tablet/**")
    assert other.locator("table").count() == 0


def test_window_of_an_earlier_sign_in_locks_too(tablet, shop):
    other = factories.make_user("instructor", site=shop.instructor.person.site, password=PASSWORD)
    services.set_pin(user=other, pin=PIN, badge="CARD-8", proof="password", at=NOW)
    earlier = tablet.page
    earlier.clock.install()
    tablet.go("/boards/")
    tablet.page = earlier.context.new_page()
    look(tablet, "CARD-8")
    tablet.page.close()
    earlier.clock.fast_forward(302_000)
    locked(earlier)
    assert other.get_full_name() in earlier.inner_text("header.title-block")


def test_lock_that_is_forbidden_on_the_way_leads_to_the_lock_all_the_same(tablet):
    page = tablet.page
    page.clock.install()
    tablet.go("/boards/")
    page.route("**/tablet/lock/", lambda route: route.fulfill(status=403, body="Forbidden"))
    page.clock.fast_forward(302_000)
    page.wait_for_url("**/tablet/?next=*")


PHOTOGRAPHS = "**/photos/"


def drop(window: Visitor, board: Board, count: int) -> None:
    """Have the board's page send so many photographs."""
    window.go(f"/boards/{board.number}/")
    files = [named(f"E0{number}.jpg", photograph(number)) for number in range(1, count + 1)]
    choose(window.page, files)
    window.page.locator("[data-send]").click()


def test_page_that_still_sends_locks_without_asking_anybody(tablet, board):
    page = tablet.page
    dialogs = []
    page.on("dialog", lambda dialog: (dialogs.append(dialog.type), dialog.dismiss()))
    page.clock.install()
    held = []
    page.route(PHOTOGRAPHS, lambda route: held.append(route))
    drop(tablet, board, 3)
    page.wait_for_function("document.querySelectorAll('[data-state=waiting]').length === 1")
    page.clock.fast_forward(302_000)
    locked(page)
    assert dialogs == []
    assert held


def test_each_photograph_that_arrives_counts_as_use(tablet, board):
    Site.objects.update(lock_minutes=1)
    page = tablet.page
    page.clock.install()
    held = []
    page.route(PHOTOGRAPHS, lambda route: held.append(route))
    drop(tablet, board, 1)
    page.wait_for_function("document.querySelector('[data-state=sending], [data-state=checked]')")
    page.clock.fast_forward(50_000)
    held.pop().continue_()
    page.wait_for_selector("[data-sum]:has-text('1 added')", state="attached")
    page.clock.fast_forward(50_000)
    assert not is_away(page)
    page.clock.fast_forward(15_000)
    locked(page)


def test_piece_asked_for_by_a_locked_tablet_leads_to_the_lock_and_back(tablet, board):
    page = grade(tablet, board)
    idle_at_the_server(tablet)
    page.route(re.compile("/grade/judge/"), lambda route: route.abort())
    page.click("#stage-soldered")  # htmx asks for the screen.
    locked(page)
    unlock(page)
    assert f"/boards/{board.number}/grade/" in page.url


def test_other_browser_of_the_same_person_never_locks(tablet, visitor, shop):
    window = visitor(phone=True)
    window.sign_in(shop.instructor.employee_number)
    Site.objects.update(lock_minutes=1)
    window.go("/boards/")
    assert window.page.locator(".tablet-bar").count() == 0
    idle_at_the_server(window)
    window.go("/boards/")
    assert "/boards/" in window.page.url


def test_pages_of_a_tablet_have_no_fault(visitor, shop):
    window = visitor(phone=True)
    window.sign_in(shop.instructor.employee_number)
    window.go("/account/pin/")
    window.audit()
    window.go("/tablets/")
    window.audit()
    window.page.fill("#id_name", "Bench room 2")
    window.page.click("main form .btn-primary")
    window.page.wait_for_selector(".tablet-bar")
    window.audit()
    window.go("/tablet/")
    window.audit()
    small = window.page.evaluate(
        """() => [...document.querySelectorAll('.tablet-bar a, .tablet-bar button, main .btn')]
          .map((one) => one.getBoundingClientRect())
          .filter((box) => box.width < 44 || box.height < 44).length"""
    )
    assert small == 0
