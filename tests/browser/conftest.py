"""A real browser against the real site, with somebody of each role to sign in as."""

import gc
import os
import time
from dataclasses import dataclass, field
from datetime import timedelta

import pytest
from django.test import Client
from playwright.sync_api import (
    Browser,
    Page,
    Request,
    Response,
    ViewportSize,
    expect,
    sync_playwright,
)

from assessments.content import CriteriaSetContent
from assessments.content.criteria import REVISION_2
from assessments.services import criteria
from certification.models import Certificate, Scope
from certification.queries import standing_on_day
from certification.queries.written_down import figures_as_json
from certification.services import schemes, standing
from people.models import Person, User
from tests import factories
from tests.browser.axe import violations
from tests.browser.launch import CHROMIUM, LAUNCH_ARGUMENTS
from tests.kept_rows import made_once
from training.models import VisionTest

# A busy machine is no failure.
LONGEST_MS = 60_000
expect.set_options(timeout=LONGEST_MS)

RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
PASSWORD = factories.PASSWORD
DESK: ViewportSize = {"width": 1280, "height": 800}
PHONE: ViewportSize = {"width": 390, "height": 844}

# Of every list to choose from that is seen: what its widest choice needs, and what it has.
LISTS = """() => [...document.querySelectorAll('main select')]
  .filter((one) => one.checkVisibility()).map((one) => {
    const style = getComputedStyle(one);
    const ruler = document.createElement('canvas').getContext('2d');
    ruler.font = style.font;
    const room = one.clientWidth - parseFloat(style.paddingLeft) - parseFloat(style.paddingRight);
    const wide = [...one.options].map((choice) => ruler.measureText(choice.text).width);
    return [one.name, Math.max(...wide), room];
  })"""


@pytest.fixture(scope="session")
def chromium():
    if not os.path.exists(CHROMIUM):
        reason = f"Chromium is not at {CHROMIUM}: install it, or say where in CHROMIUM."
        if os.environ.get("REQUIRE") == "all":
            pytest.fail(reason)
        pytest.skip(reason)
    # Playwright keeps an event loop in this thread, which Django would take for asynchronous code.
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=LAUNCH_ARGUMENTS)
        yield browser
        browser.close()


EVERY_TEST_BEFORE_TWO = bool(os.environ.get("TWO_MACHINES"))  # `make machines`


@pytest.fixture(scope="session" if EVERY_TEST_BEFORE_TWO else "function")
def two_machines(django_db_setup, django_db_blocker, tmp_path_factory):
    """Two machines without a common disk, of which each request goes to the next.

    They serve the database that later tests of the same process have, some of which ask whether
    anybody serves it: they are ended with the test that they are for.
    """
    from tests.object_server import object_server
    from tests.services.processes import OwnRedis
    from tests.two_machines import TwoMachines

    redis = OwnRedis(tmp_path_factory.mktemp("redis"))
    redis.start()
    with object_server() as files:
        folder = tmp_path_factory.mktemp("machines")
        machines = TwoMachines(folder, files_url=files.url, redis_url=redis.url)
        yield machines
        machines.stop()
    redis.stop()


if EVERY_TEST_BEFORE_TWO:

    @pytest.fixture(scope="session")
    def live_server(two_machines):
        return two_machines


@dataclass
class Visitor:
    """Somebody at a browser: pages are opened, audited, and their console is read."""

    page: Page
    address: str
    complaints: list[str]
    under_way: set[Request] = field(default_factory=set, init=False)

    def __post_init__(self) -> None:
        self.page.on("request", lambda asked: self.under_way.add(asked))
        self.page.on("requestfinished", lambda ended: self.under_way.discard(ended))
        self.page.on("requestfailed", lambda ended: self.under_way.discard(ended))
        self.page.on("response", lambda answer: self._answered(answer))

    def _answered(self, answer: Response) -> None:
        """A script need not read what a refusal says, and then it never ends."""
        if not answer.ok:
            self.under_way.discard(answer.request)

    def go(self, path: str) -> None:
        answer = self.page.goto(self.address + path)
        assert answer is not None
        assert answer.ok, f"{path} answered {answer.status}"
        self.settle()

    def settle(self) -> None:
        """Wait until the page and whatever its scripts asked for at once are there.

        Playwright's "networkidle" waits half a second more for each page.
        """
        self.page.wait_for_load_state("load")
        self.page.evaluate("() => new Promise((done) => setTimeout(done))")
        ends = time.monotonic() + LONGEST_MS / 1000
        while self.under_way:
            assert time.monotonic() < ends, [request.url for request in self.under_way]
            self.page.wait_for_timeout(10)

    def sign_in(self, number: str) -> None:
        """Have this person's session, as one who signed in before has it."""
        self.sign_in_as(User.objects.get(employee_number=number))

    def sign_in_as(self, user: User) -> None:
        client = Client()
        client.force_login(user)
        session = client.cookies["sessionid"].value
        self.page.context.add_cookies(
            [{"name": "sessionid", "value": session, "url": self.address, "httpOnly": True}]
        )

    def sign_in_by_password(self, number: str) -> None:
        self.go("/account/login/")
        self.page.fill("input[name=login]", number)
        self.page.fill("input[name=password]", PASSWORD)
        self.page.press("input[name=password]", "Enter")
        self.page.wait_for_url(lambda url: "login" not in url)

    def audit(self, *, in_each_look: bool = False) -> None:
        """No fault that axe-core finds under WCAG 2.2 AA, and nothing said on the console.

        Colours take axe-core half its time and are looked at on every page by
        `test_every_page.py`; here only in each look: light, dark, and whether the page keeps
        within a phone's width.
        """
        found = violations(self.page, RULES, but=[] if in_each_look else ["color-contrast"])
        told = [f"{one['id']} ({one['impact']}): {one['nodes'][0]['html'][:160]}" for one in found]
        assert not told, f"{self.page.url}: " + "; ".join(told)
        assert not self.complaints, f"{self.page.url}: {self.complaints}"
        self.keeps_its_width()
        if in_each_look:
            self.has_contrast_in_the_dark()
            self.keeps_its_width_on_a_phone()

    def keeps_its_width(self) -> None:
        wide = self.page.evaluate(
            "document.documentElement.scrollWidth > document.documentElement.clientWidth"
        )
        assert not wide, f"{self.page.url} scrolls sideways"

    def keeps_its_width_on_a_phone(self) -> None:
        before = self.page.viewport_size
        assert before is not None
        self.page.set_viewport_size(PHONE)
        self.keeps_its_width()
        self.page.set_viewport_size(before)

    def has_contrast_in_the_dark(self) -> None:
        self.page.emulate_media(color_scheme="dark", reduced_motion="reduce")
        found = violations(self.page, {"type": "rule", "values": ["color-contrast"]})
        told = [one["nodes"][0]["html"][:160] for one in found]
        assert not told, f"{self.page.url} in the dark: " + "; ".join(told)
        self.page.emulate_media(color_scheme="light", reduced_motion="no-preference")

    def cuts_no_choice(self) -> bool:
        """Whether there are lists to choose from, each of which has room for every choice."""
        lists = self.page.evaluate(LISTS)
        cut = [
            f"{name} needs {needs} px and has {room}" for name, needs, room in lists if needs > room
        ]
        assert not cut, f"{self.page.url}: " + "; ".join(cut)
        return bool(lists)


@pytest.fixture(autouse=True)
def _what_is_left_behind_is_swept_up_here():
    """Let go of files that requests cut off at a test's end held, before the next test begins.

    Whatever was there before a test is none of what it left behind, and is not looked through.
    """
    gc.collect()
    gc.freeze()
    yield
    gc.collect()


@pytest.fixture
def visitor(chromium: Browser, live_server):
    """Open a browser window of a size: ``visitor()`` at the desk, ``visitor(phone=True)``."""
    contexts = []

    def open_window(*, phone: bool = False) -> Visitor:
        size = PHONE if phone else DESK
        context = chromium.new_context(viewport=size, has_touch=phone, is_mobile=phone)
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(LONGEST_MS)
        complaints: list[str] = []
        page.on(
            "console",
            lambda said: (
                complaints.append(said.text) if said.type in ("error", "warning") else None
            ),
        )
        page.on("pageerror", lambda error: complaints.append(str(error)))
        return Visitor(page, live_server.url, complaints)

    yield open_window
    for context in contexts:
        context.close()


@dataclass
class Shop:
    """A site with content, one scheme, and nobody certified but the instructor."""

    instructor: User
    quality: User
    trainee: User
    lead: User


@pytest.fixture
def criteria_content() -> CriteriaSetContent:
    """What boards are judged by: a short set, unless a test asks for another."""
    return REVISION_2


@pytest.fixture
def shop(transactional_db, criteria_content) -> Shop:
    """As it stands in the database, made by its services once for each set of criteria."""
    return Shop(*made_once(("shop", criteria_content), lambda: _make_shop(criteria_content)))


def _make_shop(criteria_content: CriteriaSetContent) -> list[User]:
    at = factories.NOW - timedelta(days=30)
    site = factories.make_site(address="Bench room 2")
    quality = factories.make_user("quality", site=site, password=PASSWORD)
    instructor = factories.make_user("instructor", site=site, password=PASSWORD)
    lead = factories.make_user("line_lead", site=site, password=PASSWORD)
    person = factories.make_person(
        site, full_name="Signe Aldous", email="signe@skarnfell.example", line_lead=lead.person
    )
    trainee = factories.make_user(person=person, password=PASSWORD)
    factories.load_published_content()
    made = criteria.load_criteria_set(content=criteria_content, actor="test", at=at)
    assert made is not None
    codes = list(made.criteria.values_list("code", flat=True))
    criteria.confirm_criteria(criteria_set=made, codes=codes, actor=quality, at=at)
    criteria.publish_criteria_set(criteria_set=made, actor=quality, at=at)
    scopes = {
        level: schemes.create_scope(
            code=f"WIRE-{level[:2].upper()}",
            title=f"Wire preparation, {level}",
            level=level,
            joint_types=["wire"],
            actor="test",
            at=at,
        )
        for level in ("operator", "instructor")
    }
    revision = schemes.create_scheme_revision(
        scheme_code="HS-1",
        title="Hand soldering",
        figures=schemes.Figures(24, "same_day", 90, 12, 6),
        scopes=list(scopes.values()),
        requirements=[schemes.Asked(scope=scopes["operator"], exercise_code="EX-WIRE")],
        actor="test",
        at=at,
    )
    schemes.publish_scheme_revision(revision=revision, actor=None, at=at)
    for someone in (instructor.person, person):
        assert someone is not None
        _sees_well(someone, at)
    _may_teach(instructor.person, scopes["instructor"], revision, at)
    return [instructor, quality, trainee, lead]


def _sees_well(person: Person, at) -> None:
    VisionTest.objects.create(
        test_id=f"CA-V-{person.employee_number}",
        person=person,
        tested_on=at.date(),
        passed=True,
        recorded_at=at,
    )


def _may_teach(person, scope: Scope, revision, at) -> None:
    """The instructor's own certificate, as an earlier register would bring it."""
    Certificate.objects.create(
        number="CA-C-09001",
        person=person,
        scope=scope,
        scheme_revision=revision,
        issued_on=at.date(),
        valid_through=standing.engine.valid_through(
            standing_on_day.figures_of(revision), at.date(), None
        ),
        origin=Certificate.Origin.IMPORTED,
        holder_name=person.full_name,
        figures=figures_as_json(revision),
        recorded_at=at,
    )
    standing.rebuild_person(person)
