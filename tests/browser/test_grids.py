"""One act instead of many: ten people or tools each in at most 25 clicks and keys, in a browser."""

from datetime import timedelta

import pytest
from django.test import Client
from django.utils import timezone

from people.models import Person
from people.presenters.days import format_day_with_weekday
from tests import factories
from tests.browser.hands import Hands
from training.models import (
    Attendance,
    Calibration,
    PracticeRecord,
    Tool,
    VisionTest,
)

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

AT_MOST = 25
TEN = (
    "Ada Holm",
    "Bastian Ferro",
    "Casimir Doyle",
    "Dina Marchetti",
    "Emil Ruiz",
    "Farah Obaseki",
    "Goran Lund",
    "Hedda Ostrow",
    "Ilka Norrgard",
    "Jonas Vukic",
)


@pytest.fixture
def today(shop):
    return shop.trainee.person.site.today()


@pytest.fixture
def ten(shop) -> list[Person]:
    """Ten people of the lead's line."""
    site = shop.trainee.person.site
    return [factories.make_person(site, full_name=name, line_lead=shop.lead.person) for name in TEN]


@pytest.fixture
def hands(visitor, shop) -> Hands:
    opened = visitor()
    opened.sign_in(shop.instructor.employee_number)
    return Hands(opened)


def short(day) -> str:
    """A day of this year as the button says it."""
    return format_day_with_weekday(day).removesuffix(f" {day.year}")


def row(hands: Hands, name: str):
    return hands.page.locator(".grid-row", has_text=name)


def test_ten_vision_tests_are_recorded_in_one_act(hands, shop, ten, today):
    hands.visitor.go("/vision-tests/")
    assert hands.page.get_by_role("button", name="Nothing is chosen yet").count() == 1

    hands.type("Who tested", "Dr Lindh")
    for name in TEN[:9]:
        hands.click(row(hands, name).get_by_text("pass", exact=False).first)
    hands.click(row(hands, TEN[9]).get_by_text("fail").first)
    hands.visitor.audit()
    hands.button(f"Record 9 passes and 1 fail of {short(today)}")

    recorded = VisionTest.objects.filter(recorded_by=shop.instructor, tested_on=today)
    assert dict(recorded.values_list("person__full_name", "passed")) == {
        name: name != TEN[9] for name in TEN
    }
    assert {test.examiner for test in recorded} == {"Dr Lindh"}
    assert "Recorded: 9 passes and 1 fail of" in hands.page.inner_text("#messages")
    assert hands.acts == 20 <= AT_MOST

    # The next round knows who tested, and says whom of whom there is a test already.
    assert hands.page.get_by_label("Who tested").input_value() == "Dr Lindh"
    told = row(hands, TEN[9]).locator(".row-note:visible")
    assert "recorded already: not passed" in told.inner_text()
    hands.visitor.audit()


def test_a_row_that_does_not_fit_stays_and_nothing_is_recorded_twice(visitor, shop, ten, today):
    hands = Hands(visitor(phone=True))
    hands.visitor.sign_in(shop.instructor.employee_number)
    hands.visitor.go("/vision-tests/")
    hands.type("Who tested", "Dr Lindh")
    for person in ten[:3]:
        hands.click(row(hands, person.full_name).get_by_text("pass").first)
    # Meanwhile somebody else enters a test of one of them that was not passed.
    VisionTest.objects.create(
        test_id="CA-V-9", person=ten[1], tested_on=today, passed=False, recorded_by=shop.quality
    )
    hands.button(f"Record 3 passes of {short(today)}")

    assert VisionTest.objects.filter(recorded_by=shop.instructor).count() == 2
    assert "1 row is not recorded" in hands.page.inner_text("main")
    wrong = row(hands, ten[1].full_name)
    assert "not passed, entered" in wrong.inner_text()
    assert wrong.locator("input[value=pass]").is_checked()
    assert row(hands, ten[0].full_name).count() == 0
    hands.audit()

    # Sent once more as it stands, and by Back: nothing is recorded twice.
    hands.button(f"Record 1 pass of {short(today)}")
    hands.page.go_back()
    hands.page.go_back()
    hands.visitor.settle()
    for person in ten[:3]:
        hands.click(row(hands, person.full_name).get_by_text("pass").first)
    hands.page.get_by_label("Who tested").fill("Dr Lindh")
    hands.button(f"Record 3 passes of {short(today)}")
    assert "2 rows were recorded so already" in hands.page.inner_text("main")
    assert VisionTest.objects.filter(person__in=ten).count() == 3


def tab_to(hands: Hands, selector: str) -> None:
    """Press Tab until a place has the focus."""
    for _step in range(30):
        if hands.page.evaluate("(place) => document.activeElement.matches(place)", selector):
            return
        hands.press("Tab")
    pytest.fail(f"Tab does not lead to {selector}")


def send_by_enter(hands: Hands) -> None:
    with hands.page.expect_navigation():
        hands.press("Enter")
    hands.visitor.settle()


def test_ten_vision_tests_of_a_next_round_by_keys_alone(hands, shop, ten, today):
    """From the top of the page; who tests and how stand there from the round before."""
    VisionTest.objects.create(
        test_id="CA-V-9",
        person=shop.trainee.person,
        tested_on=today - timedelta(days=1),
        passed=True,
        examiner="Dr Lindh",
        recorded_by=shop.instructor,
    )
    hands.visitor.go("/vision-tests/?q=a")
    hands.press("Tab")
    hands.press("Enter")  # Skip to content.
    tab_to(hands, ".grid-row input")
    order = [one.strip() for one in hands.page.locator(".grid-row th b").all_inner_texts()][:10]
    for name in order:
        hands.press("f" if name == "Ada Holm" else "p")
    send_by_enter(hands)

    tests = VisionTest.objects.filter(tested_on=today, examiner="Dr Lindh")
    found = dict(tests.values_list("person__full_name", "passed"))
    assert found == {name: name != "Ada Holm" for name in order}
    assert len(found) == 10
    assert hands.acts <= AT_MOST, hands.acts


def test_practice_and_attendance_by_keys_alone(hands, shop, ten, today):
    site = shop.trainee.person.site
    session = factories.make_session(
        site, people=tuple(ten), instructor=shop.instructor, starts_on=today, ends_on=today
    )
    hands.visitor.go(f"/classes/{session.number}/attendance/{today.isoformat()}/")
    hands.press("Tab")
    hands.press("Enter")
    tab_to(hands, ".grid-row input")
    for _person in range(3):
        hands.press("ArrowDown")
    hands.press("0")
    assert hands.page.evaluate("document.activeElement.closest('.grid-row').innerText").startswith(
        TEN[4]
    )
    send_by_enter(hands)
    assert Attendance.objects.get(present=False).enrolment.person == ten[3]
    assert hands.acts <= AT_MOST

    hands.visitor.go(f"/practice/?scope=WIRE-OP&session={session.number}")
    tab_to(hands, "[name=reference]")
    hands.page.keyboard.type("WO-41355")
    tab_to(hands, ".grid-row input")
    hands.acts = 0
    for _person in ten:
        hands.press("p")
    send_by_enter(hands)
    assert PracticeRecord.objects.filter(reference="WO-41355").count() == 10
    assert hands.acts == 11


def test_a_line_lead_records_practice_of_their_own_ten(visitor, shop, ten, today):
    stranger = factories.make_person(shop.trainee.person.site, full_name="Not of the line")
    hands = Hands(visitor(phone=True))
    hands.visitor.sign_in(shop.lead.employee_number)
    hands.visitor.go("/practice/?scope=WIRE-OP")
    assert stranger.full_name not in hands.page.inner_text("main")

    hands.type("Unit or work order", "WO-41355")
    for name in TEN:
        hands.click(hands.page.get_by_label(name))
    hands.visitor.audit()
    hands.button(f"Record practice of 10 people on WO-41355, {short(today)}")

    work = PracticeRecord.objects.filter(scope_code="WIRE-OP", performed_on=today)
    assert {one.person.full_name for one in work} == set(TEN)
    assert {(one.reference, one.confirmed_by) for one in work} == {("WO-41355", shop.lead)}
    assert "practice of 10 people on WO-41355" in hands.page.inner_text("#messages")
    assert hands.acts == 20 <= AT_MOST
    hands.visitor.audit()

    # Another day: what is recorded of it is said before anybody is ticked.
    assert row(hands, TEN[0]).locator(".row-note:visible").count() == 1
    hands.page.get_by_label("Done on").fill((today - timedelta(days=1)).isoformat())
    assert row(hands, TEN[0]).locator(".row-note:visible").count() == 0


def test_attendance_of_ten_is_taken_by_tapping_the_one_who_was_not_there(hands, shop, ten, today):
    session = factories.make_session(
        shop.trainee.person.site,
        people=tuple(ten),
        instructor=shop.instructor,
        starts_on=today,
        ends_on=today,
    )
    hands.visitor.go(f"/classes/{session.number}/")
    hands.page.set_viewport_size({"width": 390, "height": 844})
    hands.visitor.audit()
    hands.link("Take attendance")
    hands.click(hands.page.get_by_label(TEN[4]))
    hands.visitor.audit()
    hands.button(f"Record 9 there and 1 absent on {format_day_with_weekday(today)}")

    absent = Attendance.objects.get(present=False)
    assert absent.enrolment.person.full_name == TEN[4]
    assert Attendance.objects.filter(present=True).count() == 9
    assert hands.acts == 3 <= AT_MOST


def test_calibrations_of_a_shelf_of_ten_are_recorded_in_one_act(hands, shop, today):
    site = shop.trainee.person.site
    irons = [
        factories.make_tool(site, code=f"IRON-{n:02d}", kind=Tool.Kind.IRON) for n in range(10)
    ]
    Calibration.objects.create(
        tool=irons[0],
        calibrated_on=today - timedelta(days=365),
        valid_through=today,
        recorded_at=timezone.now(),
    )
    hands.visitor.go("/tools/")
    hands.link("Record calibrations")
    hands.type("Report", "LAB-118", exact=True)
    for iron in irons[:9]:
        hands.click(row(hands, iron.code).get_by_text("pass").first)
    hands.click(row(hands, "IRON-09").get_by_text("fail").first)
    hands.visitor.audit()
    hands.button(f"Record 9 passes and 1 fail of {short(today)}")

    found = Calibration.objects.filter(calibrated_on=today)
    assert {one.tool.code: one.passed for one in found} == {
        iron.code: iron.code != "IRON-09" for iron in irons
    }
    ends = today + timedelta(days=365)
    assert {(one.reference, one.valid_through) for one in found} == {("LAB-118", ends)}
    assert hands.acts == 20 <= AT_MOST
    assert hands.page.locator(".row-note:visible").count() == 10
    hands.page.set_viewport_size({"width": 390, "height": 844})
    hands.visitor.audit()


def test_without_a_script_the_button_records_what_is_chosen(chromium, live_server, shop, today):
    context = chromium.new_context(java_script_enabled=False)
    client = Client()
    client.force_login(shop.instructor)
    session = client.cookies["sessionid"].value
    context.add_cookies([{"name": "sessionid", "value": session, "url": live_server.url}])
    page = context.new_page()
    page.goto(f"{live_server.url}/vision-tests/")
    assert not page.get_by_role("button", name="Nothing is chosen yet").count()

    page.get_by_label("Who tested").fill("Dr Lindh")
    page.get_by_label("pass, Signe Aldous").check()
    page.get_by_role("button", name="Record what is chosen").click()

    page.wait_for_selector("#messages .message")
    assert VisionTest.objects.get(tested_on=today).person == shop.trainee.person
    told = page.locator(".grid-row", has_text="Signe Aldous").locator(".row-note:visible")
    assert "recorded already: passed" in told.inner_text()
    context.close()


WORDS = {"kinds": {"pass": ["{n} pass", "{n} passes"], "off": ["{n} off", "{n} off"]}, "and": " & "}

DAYS = ["{weekday} {day} {month}", "{weekday} {day} {month} {year}"]


SAID = (
    ("dayInWords", ["2026-11-28", "en", DAYS, 2026], "Sat 28 Nov"),
    ("dayInWords", ["2025-02-01", "en", DAYS, 2026], "Sat 1 Feb 2025"),
    ("dayInWords", ["2026-12-01", "en", ["{weekday}, {day}. {month}"], 2026], "Tue, 1. Dec"),
    ("dayInWords", ["2026-11-31", "en", DAYS, 2026], ""),
    ("dayInWords", ["", "en", DAYS, 2026], ""),
    ("counted", [["pass", "", "off", "pass"], WORDS], "2 passes & 1 off"),
    ("counted", [["pass"], WORDS], "1 pass"),
    ("counted", [["", ""], WORDS], ""),
)


def test_what_the_button_says_is_worked_out_in_the_browser(visitor):
    window = visitor()
    window.go("/account/login/")

    found = window.page.evaluate(
        """async (asked) => {
          const words = await import("/static/js/grid-words.js");
          return asked.map(([name, given]) => words[name](...given));
        }""",
        [[script, given] for script, given, _said in SAID],
    )

    assert found == [said for _script, _given, said in SAID]
