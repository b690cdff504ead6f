"""From an empty database to the first certificate and the first reminder, in a browser.

Two commands are given at a terminal: `serve` and `make_administrator`. Everything after them is
clicks and keys, counted; mail goes through a real server, background work through real processes.
"""

import os
import re
import subprocess
import sys
import time
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from email import message_from_bytes
from email.policy import SMTP
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from django.conf import settings
from kombu import Connection

from config.celery import app
from operations.backends import folder_queue
from tests.browser.conftest import Visitor
from tests.browser.hands import Hands
from tests.services.mail_server import Running
from tests.services.processes import Processes, free_port, wait_until

pytestmark = [pytest.mark.browser, pytest.mark.services]

MANAGE = (sys.executable, "manage.py")
PASSWORD = "a solder pot by the window"
PEOPLE = {
    "10002": ("Otti Vesper", "otti@skarnfell.example", "quality"),
    "10003": ("Leo Brandt", "leo@skarnfell.example", "instructor"),
}
MOST_ACTS = 1150
"""Of which some 400 type passwords, and one ticks each criterion that comes along."""


@dataclass
class FirstDay:
    """A site that was installed a moment ago, its mail, and what was done at it."""

    address: str
    processes: Processes
    post: Running
    acts: list[tuple[str, int]] = field(default_factory=list)

    def mail_to(self, address: str, number: int = 1) -> str:
        """The text of the last mail to an address, once there are so many."""

        def there() -> list[bytes]:
            return [raw for reader, raw in self.post.server.given if reader == address]

        wait_until(lambda: len(there()) >= number, watch=lambda: len(self.post.server.given))
        part = message_from_bytes(there()[-1], policy=SMTP).get_body(("plain",))
        return part.get_content()


def link_in(text: str) -> str:
    """The one address in a mail that leads further than to the site."""
    found = re.search(r"http://[^/\s]+/\S{9,}", text)
    assert found is not None
    return found[0]


@pytest.fixture
def site(tmp_path):
    port, post = free_port(), Running()
    post.start()
    environment = {
        "DATA_DIR": str(tmp_path / "site"),
        "BIND": f"127.0.0.1:{port}",
        "PUBLIC_URL": f"http://127.0.0.1:{port}",
        "EMAIL_URL": f"smtp://127.0.0.1:{post.port}",
        "SECRET_KEY": "k" * 60,
        "DATABASE_URL": "",
        "CELERY_BROKER_URL": "",
    }
    (tmp_path / "site").mkdir()
    log = tmp_path / "processes.log"
    processes = Processes(environment, log)
    processes.as_a_site_does = True
    listening = f"Listening on 127.0.0.1:{port}."
    try:
        serving = processes.start(*MANAGE, "serve")
        wait_until(
            lambda: log.exists() and listening in log.read_text(),
            watch=lambda: (serving.poll(), written_into(tmp_path)),
        )
        yield FirstDay(environment["PUBLIC_URL"], processes, post)
        # Killed, it would leave behind what it started, each in a group of its own.
        serving.terminate()
        serving.wait(30)
    finally:
        processes.end()
        post.stop()


def written_into(folder: Path) -> int:
    """Bytes of all that is there: a database that is migrated for the first time grows slowly."""
    found = 0
    # Folders come and go, as a queue's files do: os.walk minds neither.
    for within, _folders, files in os.walk(folder):
        for name in files:
            with suppress(FileNotFoundError):
                found += Path(within, name).stat().st_size
    return found


@pytest.fixture
def hands_at(chromium, site):
    contexts = []

    def open_window() -> Hands:
        context = chromium.new_context(viewport={"width": 1280, "height": 800})
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(60_000)
        complaints: list[str] = []
        page.on("pageerror", lambda error: complaints.append(str(error)))
        return Hands(Visitor(page, site.address, complaints))

    yield open_window
    for context in contexts:
        context.close()


def sign_in(hands: Hands, number: str) -> None:
    hands.visitor.go("/")
    hands.type("Employee number or e-mail", number)
    hands.type("Password", PASSWORD, exact=True)
    hands.button("Sign in")


def fill(hands: Hands, name: str, text: str) -> None:
    """Type into a field that several pages call by the same name."""
    hands.acts += len(text) + 1
    hands.page.fill(f"[name={name}]", text)


def tick(hands: Hands, label: str) -> None:
    hands.acts += 1
    hands.page.get_by_label(label, exact=True).check()


def state_of(hands: Hands, step: str) -> str:
    hands.visitor.go("/set-up/")
    return " ".join(hands.page.locator(f"#step-{step} .standing").inner_text().split())


def follow(hands: Hands, step: str) -> None:
    """Go where a step leads."""
    if not hands.page.url.endswith("/set-up/"):
        hands.link("Setting up")
    hands.click(hands.page.locator(f"#step-{step} .then").locator("a, button").first)


def make_administrator(site: FirstDay) -> None:
    made = subprocess.run(
        [
            *(*MANAGE, "make_administrator", "10001", "--name", "Ada Holm"),
            *("--email", "ada@skarnfell.example", "--organisation", "Skarnfell Instruments"),
            *("--site-name", "Castelmar", "--prefix", "CA", "--time-zone", "Europe/Madrid"),
            "--password-stdin",
        ],
        input=PASSWORD + "\n",
        env=site.processes.environment,
        cwd=settings.BASE_DIR,
        capture_output=True,
        text=True,
        check=False,
    )
    assert made.returncode == 0, made.stderr


def see_mail_arrive(hands: Hands, site: FirstDay) -> None:
    follow(hands, "mail")
    hands.button("Send a test mail")
    text = site.mail_to("ada@skarnfell.example")
    hands.acts += 1
    hands.page.goto(link_in(text))
    hands.button("The mail has arrived")
    assert state_of(hands, "mail") == "done"


def have_reminders_go_out_at_any_hour(hands: Hands) -> None:
    """The test runs when it runs; a site chooses its hour and its days."""
    follow(hands, "sites")
    hands.link("Castelmar")
    hands.choose("Reminders go out at", "00:00")
    for day in ("Saturday", "Sunday"):
        tick(hands, day)
    hands.button("Save")


def enter_people(hands: Hands, site: FirstDay, hands_at) -> None:
    for number, (name, address, role) in PEOPLE.items():
        hands.visitor.go("/people/new/")
        hands.acts += 2
        fill(hands, "employee_number", number)
        fill(hands, "full_name", name)
        fill(hands, "email", address)
        hands.button("Enrol")
        hands.visitor.go(f"/people/{number}/sign-in/")
        hands.acts += 1
        tick(hands, role)
        hands.click(hands.page.locator("main form button.btn-primary").first)
        choosing = hands_at()
        choosing.page.goto(link_in(site.mail_to(address)))
        fill(choosing, "password1", PASSWORD)
        fill(choosing, "password2", PASSWORD)
        choosing.button("Set password")
        hands.acts += choosing.acts + 1
    assert state_of(hands, "people") == "done"


def add_what_comes_along(hands: Hands) -> None:
    follow(hands, "exercises")
    assert "is a draft for quality to confirm and publish" in hands.page.inner_text("main")
    assert state_of(hands, "exercises") == "comes next"


def publish_exercises_and_courses(hands: Hands) -> None:
    for what in ("Publish exercises", "Publish courses"):
        hands.visitor.go("/set-up/")
        hands.click(hands.page.locator("#step-exercises .then").get_by_role("link", name=what))
        for box in hands.page.locator("[name=sign]").all():
            if not box.is_checked():
                hands.acts += 1
                box.check()
        fill(hands, "reason", "Compared with WI-204.")
        fill(hands, "password", PASSWORD)
        hands.click(hands.page.locator("main form button.btn-primary").first)
    assert state_of(hands, "exercises") == "done"


def publish_schemes(hands: Hands) -> None:
    follow(hands, "schemes")
    hands.button("Begin with the starter schemes")
    for name in ("HS-IN, rev. 1", "HS-OP, rev. 1"):
        hands.visitor.go("/set-up/")
        follow(hands, "schemes")
        hands.link(name)
        hands.link("What publishing changes")
        fill(hands, "reason", "Compared with WI-204.")
        fill(hands, "password", PASSWORD)
        hands.button("Publish")
    assert state_of(hands, "schemes").startswith("done")


def confirm_and_publish_criteria(hands: Hands) -> None:
    follow(hands, "criteria")
    while hands.page.get_by_role("link", name=re.compile("to confirm$")).count():
        hands.click(hands.page.get_by_role("link", name=re.compile("to confirm$")).first)
        if hands.page.locator("[name=edition]").count():
            fill(hands, "edition", "D")
        for box in hands.page.locator("[name=codes]").all():
            hands.acts += 1
            box.check()
        hands.button("Confirm the ticked ones")
    follow(hands, "criteria")
    fill(hands, "reason", "Read against WI-204.")
    fill(hands, "password", PASSWORD)
    hands.click(hands.page.get_by_role("button", name=re.compile("^Publish rev")))
    assert state_of(hands, "criteria") == "done"


def certify_the_instructor(hands: Hands, today: date) -> None:
    follow(hands, "instructors")
    page, last_day = hands.page, today + timedelta(days=7)
    assert page.locator("[name=person]").input_value() == "10003"
    hands.choose("Scope", "WIRE-IN")
    hands.choose("Scheme", "HS-IN, rev. 1")
    fill(hands, "issuer", "Harrow Vale Training Centre")
    fill(hands, "number", "HV 2291")
    fill(hands, "issued_on", str(today - timedelta(days=60)))
    fill(hands, "ends_on", str(last_day))
    hands.press("Tab")
    page.locator(f"#to-come time[datetime='{last_day}']").first.wait_for()
    page.get_by_text("No vision test is recorded.").wait_for()
    hands.audit()
    with page.expect_popup() as opened:
        hands.link("Enter a vision test in another window")
    beside = Hands(Visitor(opened.value, hands.visitor.address, []))
    fill(beside, "tested_on", str(today - timedelta(days=20)))
    tick(beside, "passed")
    fill(beside, "examiner", "Works doctor")
    beside.button("Record the test")
    hands.acts += beside.acts + 1  # One closes the window.
    opened.value.close()
    hands.button("Show the standing")
    assert page.locator("#to-come .notice").count() == 0
    hands.audit()
    hands.acts += 2
    page.set_input_files(
        "[name=document]",
        {"name": "paper.pdf", "mimeType": "application/pdf", "buffer": b"%PDF-1.7\n%%EOF\n"},
    )
    fill(hands, "password", PASSWORD)
    hands.button("Enter it and sign")
    assert "Entered as CA-C-00001." in page.inner_text("main")
    assert state_of(hands, "instructors").startswith("done")


def have_the_first_reminder_written(site: FirstDay) -> str:
    """What the clock asks for at its minute of the hour is asked for now."""
    folder = Path(site.processes.environment["DATA_DIR"]) / "queue"
    options = folder_queue.transport_options(folder)
    with Connection("folder://localhost//", transport_options=options) as link:
        app.send_task("reminders.sweep", connection=link)
    return site.mail_to("leo@skarnfell.example", 2)


TRAINEE = "10004"


def enter_the_trainee(ada: Hands) -> None:
    """Somebody who makes boards and needs no sign-in for it."""
    ada.visitor.go("/people/new/")
    ada.acts += 1
    fill(ada, "employee_number", TRAINEE)
    fill(ada, "full_name", "Mira Sol")
    ada.button("Enrol")


def hold_the_first_class(leo: Hands) -> None:
    """Today, of a course that came along, with one person in it."""
    leo.visitor.go("/classes/")
    leo.audit()
    leo.click(leo.page.get_by_role("link", name="Plan a class").first)
    page, today = leo.page, datetime.now(tz=ZoneInfo("Europe/Madrid")).date()
    leo.acts += 2
    page.locator("[name=course_revision]").select_option(index=1)
    for name, said in (("starts_on", today), ("ends_on", today), ("places", 4)):
        fill(leo, name, str(said))
    leo.button("Plan the class")
    leo.audit()
    fill(leo, "people", TRAINEE)
    leo.button("Enrol")
    leo.audit()


def record_a_vision_test(leo: Hands) -> None:
    there = leo.page.url
    leo.visitor.go(f"/people/{TRAINEE}/")
    leo.click(leo.page.locator("a[href*='/vision']").first)
    tick(leo, "passed")
    fill(leo, "examiner", "Works doctor")
    leo.button("Record the test")
    leo.page.goto(there)


def hand_out_the_first_board(leo: Hands) -> str:
    leo.link("Hand out boards to the class")
    page = leo.page
    leo.choose("Exercise", "Strip and tin")
    page.get_by_text("Wire preparation, operator").wait_for()
    assert page.locator("[name=purpose]").input_value() == "qualification"
    leo.audit()
    leo.click(page.get_by_role("button", name="Hand out boards", exact=True))
    (number,) = re.findall(r"CA-B-\d+", page.inner_text("main"))[:1]
    return number


def boards_say(otti: Hands) -> str:
    otti.visitor.go("/set-up/")
    return otti.page.inner_text("#step-boards")


def hand_it_in(leo: Hands, number: str) -> None:
    leo.visitor.go(f"/boards/{number}/")
    leo.link("Hand in")
    leo.button("Hand in")


def judge_by_keys(leo: Hands, number: str) -> None:
    """Accept every criterion of both stages, those that are measured by eye, and sign each."""
    page = leo.page
    leo.visitor.go(f"/boards/{number}/grade/")
    leo.audit()
    for _stage in ("prepared", "cleaned"):
        while not page.locator("[data-key='s']:visible").count():
            said = page.locator(".judge h2").inner_text()
            with page.expect_response("**/judge/") as answer:
                leo.press("e" if page.is_visible("#by-eye summary") else "a")
                if page.is_visible("#reasons"):
                    leo.press("1")
            assert answer.value.ok
            page.wait_for_function(
                "said => document.querySelector('.judge h2')?.innerText !== said"
                " || document.querySelector(\"[data-key='s']\")?.checkVisibility()",
                arg=said,
            )
        page.reload(wait_until="networkidle")  # Keys are heard once the script is there.
        leo.press("s")
        page.wait_for_url("**/sign/**")
        leo.type("Your password", PASSWORD)
        leo.button("Sign")
        page.wait_for_url(lambda url: "/sign/" not in url)
    assert page.url.endswith(f"/boards/{number}/result/")
    page.get_by_text("passed").first.wait_for()


def propose(leo: Hands) -> None:
    leo.visitor.go(f"/people/{TRAINEE}/scopes/WIRE-OP/")
    leo.audit()
    fill(leo, "password", PASSWORD)
    leo.button("Propose and sign")


def issue_the_first_certificate(otti: Hands) -> None:
    otti.visitor.go("/set-up/")
    assert "1 proposal waits." in otti.page.inner_text("#step-certificates")
    follow(otti, "certificates")
    otti.click(otti.page.get_by_role("link", name="Mira Sol").first)
    otti.page.wait_for_url("**/proposals/*/")
    otti.type("Your password", PASSWORD)
    otti.button("Issue and sign")
    assert state_of(otti, "certificates") == "done"


def test_a_site_is_set_up_without_a_shell_after_two_commands(site, hands_at):
    begun, today = time.monotonic(), datetime.now(tz=UTC).date()
    make_administrator(site)
    ada = hands_at()
    sign_in(ada, "10001")
    assert ada.page.url.endswith("/set-up/"), "the set-up page is where an administrator begins"
    ada.audit()
    see_mail_arrive(ada, site)
    have_reminders_go_out_at_any_hour(ada)
    enter_people(ada, site, hands_at)
    add_what_comes_along(ada)

    otti = hands_at()
    sign_in(otti, "10002")
    publish_exercises_and_courses(otti)
    publish_schemes(otti)
    confirm_and_publish_criteria(otti)
    certify_the_instructor(otti, today)

    text = have_the_first_reminder_written(site)
    assert "Wire preparation, instructor" in text

    enter_the_trainee(ada)
    leo = hands_at()
    sign_in(leo, "10003")
    hold_the_first_class(leo)
    assert state_of(otti, "classes") == "done"
    record_a_vision_test(leo)
    number = hand_out_the_first_board(leo)
    assert f"{number} is with Mira Sol, who hands it in." in boards_say(otti)
    hand_it_in(leo, number)
    assert f"{number} is handed in: Leo Brandt judges it." in boards_say(otti)
    judge_by_keys(leo, number)
    assert state_of(otti, "boards") == "done"
    propose(leo)
    issue_the_first_certificate(otti)

    ada.visitor.go("/set-up/")
    ada.audit()
    assert "10 of 11" in ada.page.inner_text(".title-block")
    assert "CA-C-00002 was issued to Mira Sol" in ada.page.inner_text("#step-certificates")
    acts = ada.acts + otti.acts + leo.acts
    each = f"Ada {ada.acts}, Otti {otti.acts}, Leo {leo.acts}"
    print(f"{acts} acts ({each}), {time.monotonic() - begun:.0f} s")
    assert acts <= MOST_ACTS
