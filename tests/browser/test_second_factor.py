"""A second factor in a real browser: set up, given when signing in, and under a signature."""

import re
import time
from contextlib import ExitStack

import pytest
from django.core.cache import cache
from django.utils import timezone
from playwright.sync_api import Page

from assessments.models import Board, StageSigning
from people.domain.totp import STEP_S, code_of_step
from people.models import Site
from people.services import second_factors
from records.models import Signature
from tests import factories
from tests.browser.conftest import PASSWORD, Shop, Visitor
from tests.browser.test_readings import accept_all as accept_whatever_is_open
from tests.people import oidc_provider
from tests.two_machines import TwoMachines
from training.models import JointType

SECRET = "GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ"


def unused_code(secret: str, used: set[int]) -> str:
    """A code of a step that was not used yet, waited for where there is none."""
    while True:
        now = int(time.time()) // STEP_S
        for step in (now, now + 1):
            if step > max(used, default=0):
                used.add(step)
                return code_of_step(secret, step)
        time.sleep(1)


@pytest.fixture
def board(shop: Shop) -> Board:
    exercise = factories.make_exercise((JointType.TURRET,))
    return factories.make_board(shop.trainee.person, exercise)


def accept_all(window: Visitor, board: Board) -> Page:
    """Judge every place, and open the page that signs."""
    page = window.page
    window.go(f"/boards/{board.number}/grade/")
    accept_whatever_is_open(window)
    page.click("#go-sign")
    page.wait_for_selector("input[name=password]")
    return page


def ask_for_second_factor() -> None:
    Site.objects.update(second_factor_roles=["instructor"], second_factor_signs=True)


def sign_in(window: Visitor, shop: Shop) -> None:
    window.go("/account/login/")
    window.page.fill("input[name=login]", shop.instructor.employee_number)
    window.page.fill("input[name=password]", PASSWORD)
    window.page.press("input[name=password]", "Enter")


def test_app_is_set_up_by_keyboard_then_signs_in_and_signs(visitor, shop, board):
    ask_for_second_factor()
    window = visitor(phone=True)
    page = window.page
    used: set[int] = set()
    sign_in(window, shop)
    page.wait_for_selector("h1:text-is('Second factor')")
    assert page.locator("text=Your role needs a second factor").is_visible()
    window.audit()

    page.click("text='Set up an app'")
    page.wait_for_selector(".enrol-secret")
    window.audit()
    secret = page.inner_text(".enrol-secret").replace(" ", "")
    page.focus("input[name=code]")
    page.keyboard.type(unused_code(secret, used))
    page.keyboard.press("Tab")
    page.keyboard.type(PASSWORD)
    page.keyboard.press("Enter")
    page.wait_for_selector(".recovery-codes")
    codes = re.findall(r"\d{4} \d{4}", page.inner_text(".recovery-codes"))
    assert len(codes) == 10
    window.audit()

    page.context.clear_cookies()
    sign_in(window, shop)
    page.wait_for_url("**/login/second-factor/")
    assert page.evaluate("document.activeElement.name") == "code"
    window.audit()
    page.keyboard.type(codes[0])
    page.keyboard.press("Enter")
    page.wait_for_url(lambda url: "login" not in url)

    accept_all(window, board)
    page.fill("input[name=password]", PASSWORD)
    page.fill("input[name=password_code]", "000000")
    page.click("main form .btn-primary")
    page.wait_for_selector("text=That code is wrong or was used before")
    assert not StageSigning.objects.exists()
    # What the browser says of an answer 422 is no fault of the page.
    window.complaints.clear()
    window.audit()
    page.fill("input[name=password]", PASSWORD)
    page.fill("input[name=password_code]", unused_code(secret, used))
    page.click("main form .btn-primary")
    page.wait_for_url("**/result/")
    assert Signature.objects.get(signer=shop.instructor).proof == "code"


@pytest.fixture
def at_localhost(live_server, settings) -> str:
    """Where browsers take passkeys without TLS."""
    settings.PUBLIC_URL = live_server.url.replace("127.0.0.1", "localhost")
    return settings.PUBLIC_URL


def with_authenticator(window: Visitor) -> None:
    """Give the browser a device that says yes, as a finger on it would."""
    session = window.page.context.new_cdp_session(window.page)
    session.send("WebAuthn.enable")
    session.send(
        "WebAuthn.addVirtualAuthenticator",
        {
            "options": {
                "protocol": "ctap2",
                "transport": "internal",
                "hasResidentKey": True,
                "hasUserVerification": True,
                "isUserVerified": True,
                "automaticPresenceSimulation": True,
            }
        },
    )


def test_passkey_is_registered_then_signs_in_and_signs(visitor, shop, board, at_localhost):
    ask_for_second_factor()
    window = visitor()
    window.address = at_localhost
    page = window.page
    with_authenticator(window)
    sign_in(window, shop)
    page.click("text='Add a passkey'")
    page.wait_for_selector("text='Have the browser make it'")
    window.audit()
    page.fill("input[name=name]", "grey key")
    page.click("text='Have the browser make it'")
    page.wait_for_selector("text=The browser has made it")
    page.fill("input[name=password]", PASSWORD)
    page.click("main form button[type=submit]")
    page.wait_for_selector(".recovery-codes")

    page.click("main .btn-primary")
    page.wait_for_selector("text=grey key")
    window.audit()
    page.evaluate("fetch('/account/sign-ins/')")
    page.context.clear_cookies()
    sign_in(window, shop)
    page.wait_for_url("**/login/second-factor/")
    page.click("text='Use a passkey'")
    page.wait_for_url(lambda url: "login" not in url)

    accept_all(window, board)
    window.audit()
    page.click("text='Use a passkey instead'")
    page.wait_for_selector("text=it takes the place of the password")
    page.click("main form .btn-primary")
    page.wait_for_url("**/result/")
    assert Signature.objects.get(signer=shop.instructor).proof == "passkey"


def test_without_a_script_the_code_does(visitor, shop, chromium, live_server):
    second_factors.enrol_app(
        user=shop.instructor,
        secret=SECRET,
        code=code_of_step(SECRET, int(time.time()) // STEP_S - 1),
        at=timezone.now(),
    )
    context = chromium.new_context(java_script_enabled=False)
    try:
        page = context.new_page()
        page.goto(f"{live_server.url}/account/login/")
        page.fill("input[name=login]", shop.instructor.employee_number)
        page.fill("input[name=password]", PASSWORD)
        page.click("main button[type=submit]")
        page.fill("input[name=code]", code_of_step(SECRET, int(time.time()) // STEP_S))
        page.click("main button[type=submit]")
        assert "login" not in page.url
    finally:
        context.close()


@pytest.fixture
def set_provider(live_server, settings):
    """Have the server, or both machines, let people sign in at a provider."""
    with ExitStack() as ends:

        def set_address(address: str) -> None:
            texts = {
                "OIDC_ISSUER": address,
                "OIDC_CLIENT_ID": oidc_provider.CLIENT_ID,
                "OIDC_CLIENT_SECRET": oidc_provider.CLIENT_SECRET,
                "OIDC_NAME": "Skarnfell",
            }
            for name, text in texts.items():
                setattr(settings, name, text)
            if isinstance(live_server, TwoMachines):
                ends.enter_context(live_server.started_with(**texts))

        yield set_address


def test_sign_in_at_a_provider_opens_and_proves(visitor, shop, at_localhost, set_provider):
    with oidc_provider.running() as provider:
        set_provider(provider.address)
        cache.clear()
        window = visitor()
        window.address = at_localhost
        page = window.page
        window.sign_in(shop.instructor.employee_number)
        window.go("/account/second-factor/")
        window.audit()
        page.click("main a:text-is('Link')")
        page.wait_for_selector("input[name=password]")
        window.audit()
        page.fill("input[name=password]", PASSWORD)
        page.click("main .btn-primary")
        page.wait_for_selector("text=You are linked: signing in there")

        page.context.clear_cookies()
        window.go("/account/login/")
        window.audit()
        page.click("text='Sign in at Skarnfell'")
        page.wait_for_url(lambda url: "account" not in url)

        window.go("/account/pin/")
        page.click("text='Sign in at Skarnfell instead'")
        page.wait_for_selector("text=You sign in there anew")
        window.audit()
        page.click("main .btn-primary")
        page.wait_for_selector("text=You have just signed in at Skarnfell")
        window.audit()
        page.fill("input[name=pin]", "2580")
        page.fill("input[name=again]", "2580")
        page.click("main .btn-primary")
        page.wait_for_selector("text=Your badge and PIN are set")
        assert [asked.get("prompt") for asked in provider.asked] == ["login", None, "login"]
        cache.clear()
