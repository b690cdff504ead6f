"""Judging while the network is away: nothing is lost, each act is done once, in order."""

import json
import re

import pytest

from assessments.content import CriteriaSetContent
from assessments.content.criteria import REVISION_1
from assessments.models import Judgement, UndoStep
from tests.browser.conftest import LONGEST_MS
from tests.browser.test_grading_screen import Bench, lay_out
from tests.browser.test_grading_screen import visitor as _with_photographs

visitor = _with_photographs


@pytest.fixture
def criteria_content() -> CriteriaSetContent:
    """A set in which wetting, which comes first, is judged by eye."""
    return REVISION_1


JUDGE = re.compile("/grade/(judge|rest|undo)/")


@pytest.fixture
def bench(shop, visitor) -> Bench:
    bench = lay_out(shop, visitor(), joints=3, a_joint=1)
    bench.open()
    bench.page.wait_for_load_state("networkidle")
    return bench


def acts(bench) -> list[tuple[str, str]]:
    """What was done, oldest first: where, and under which criterion."""
    names = {one.pk: str(one) for one in bench.board.joints.select_related("position")}
    codes = dict(Judgement.objects.values_list("criterion_id", "criterion__code"))
    return [
        (names[one["joint"]], codes[one["criterion"]])
        for step in UndoStep.objects.order_by("pk")
        for one in step.before[:1]
    ]


def kept(bench) -> list[dict]:
    """What the browser still has to send."""
    text = bench.page.evaluate("Object.values(localStorage).find((one) => one.includes('items'))")
    return json.loads(text)["items"] if text else []


def unsaved(bench, count: int) -> None:
    bench.page.wait_for_selector(f"#unsaved:not([hidden]) b:text-is('{count} not saved yet')")


def test_keys_go_on_at_once_and_a_reload_loses_nothing(bench):
    page = bench.page
    page.keyboard.press("r")
    bench.settle()
    page.context.set_offline(True)
    places = []
    for key in ("Shift+A", "e", "1", "Shift+A", "e", "r", "n"):
        page.keyboard.press(key)
        places.append(bench.where()["place"])
    assert places == ["E01", "E01", "E02", "E02", "E03", "E03", "E03"]
    unsaved(bench, 6)
    assert "kept on this device" in page.inner_text("#unsaved")
    assert page.locator("#criterion-S-01 .to-save").is_visible()
    assert page.locator("#criterion-S-05 .to-save").is_hidden()
    assert Judgement.objects.count() == 1
    # The window is closed while nothing can be sent; another opens once it can.
    page.close()
    bench.visitor.page = bench.visitor.page.context.new_page()
    bench.page.context.set_offline(False)
    bench.visitor.page.set_default_timeout(LONGEST_MS)
    bench.open(stage="soldered")
    bench.settle()
    assert acts(bench) == [
        ("E01", "S-01"),
        ("E01", "S-03"),
        ("E01", "S-05"),
        ("E02", "S-01"),
        ("E02", "S-05"),
        ("E03", "S-01"),
        ("E03", "S-03"),
    ]
    assert Judgement.objects.filter(outcome="reject").count() == 2
    assert bench.page.locator("#unsaved").is_hidden()
    assert bench.where()["place"] == "E03"


def test_when_the_network_returns_what_waits_is_sent_by_itself(bench):
    bench.page.context.set_offline(True)
    bench.page.keyboard.press("a")
    unsaved(bench, 1)
    bench.page.context.set_offline(False)
    bench.settle()
    bench.page.wait_for_selector("#unsaved", state="hidden")
    assert acts(bench) == [("E01", "S-01")]


def test_an_act_whose_answer_was_lost_is_not_done_twice(bench):
    lost = []

    def lose_the_first(route):
        if lost:
            route.continue_()
            return
        lost.append(route.fetch())
        route.abort()

    bench.page.route(JUDGE, lose_the_first)
    bench.page.keyboard.press("r")
    bench.page.keyboard.press("a")
    bench.settle()
    bench.page.unroute(JUDGE)
    assert lost[0].json() == {"saved": True}
    assert acts(bench) == [("E01", "S-01"), ("E01", "S-03")]


def test_an_act_under_way_while_the_session_got_another_key_is_kept_and_done_once(bench):
    """Django answers it with a bare 400 after the view has done it: an unlocking came between."""
    answered = []

    def interrupt_the_first(route):
        if answered:
            route.continue_()
            return
        answered.append(route.fetch().status)
        route.fulfill(status=400, content_type="text/html", body="<h1>Bad Request (400)</h1>")

    bench.page.route(JUDGE, interrupt_the_first)
    bench.page.keyboard.press("r")
    bench.page.keyboard.press("a")
    bench.settle()
    bench.page.unroute(JUDGE)
    assert answered == [200]
    assert bench.page.locator("#refused .notice").count() == 0
    assert acts(bench) == [("E01", "S-01"), ("E01", "S-03")]


def test_what_the_site_refuses_is_said_and_stops_no_other(bench):
    bench.page.click("#criterion-S-05")
    bench.page.keyboard.press("Escape")
    bench.page.click(".instrument summary")
    bench.page.fill("#value", "wide")
    bench.page.keyboard.press("Escape")
    bench.page.click("#do-reject")
    bench.page.keyboard.press("ArrowRight")
    bench.page.keyboard.press("a")
    bench.page.wait_for_selector("#refused .notice")
    told = bench.page.inner_text("#refused")
    assert "E01" in told
    assert "Write the value that was read as a number." in told
    bench.page.wait_for_function("() => !document.querySelector('.to-save:not([hidden])')")
    assert kept(bench) == []
    assert acts(bench) == [("E02", "S-01")]
    bench.visitor.complaints.clear()  # Chromium tells of every answer that refuses.
    bench.visitor.audit()
    bench.page.click("#refused button")
    assert bench.where()["criterion"] == "S-05"
    assert bench.page.input_value("#value") == "wide"
    assert bench.page.locator("#refused .notice").count() == 0
    bench.page.fill("#value", "")
    bench.page.keyboard.press("Escape")
    bench.page.click("#do-reject")
    bench.page.keyboard.press("2")
    bench.settle()
    assert acts(bench) == [("E02", "S-01"), ("E01", "S-05")]


def test_undo_takes_back_what_was_not_sent_without_sending_it(bench):
    bench.page.context.set_offline(True)
    bench.page.keyboard.press("r")
    unsaved(bench, 1)
    bench.page.keyboard.press("a")
    bench.page.wait_for_function(
        "() => Object.values(localStorage).some((one) => one.includes('\"flying\":null'))"
    )
    bench.page.keyboard.press("u")
    assert bench.where()["criterion"] == "S-03"
    assert [one["fields"]["criterion"] for one in kept(bench)] == ["S-01"]
    bench.page.context.set_offline(False)
    bench.settle()
    assert acts(bench) == [("E01", "S-01")]


def test_undo_of_what_is_saved_waits_for_the_network_too(bench):
    bench.press("r")
    bench.press("a")
    bench.page.context.set_offline(True)
    bench.page.keyboard.press("u")
    assert bench.where()["criterion"] == "S-03"
    unsaved(bench, 1)
    assert Judgement.objects.count() == 2
    bench.page.context.set_offline(False)
    bench.settle()
    assert [one.criterion.code for one in Judgement.objects.all()] == ["S-01"]


def test_whoever_is_signed_out_meanwhile_loses_nothing(bench, shop):
    context = bench.page.context
    context.clear_cookies()
    bench.page.keyboard.press("r")
    unsaved(bench, 1)
    assert "sign in again" in bench.page.inner_text("#unsaved")
    other = context.new_page()
    bench.visitor.page, first = other, bench.page
    bench.visitor.sign_in_by_password(shop.instructor.employee_number)
    bench.open()
    bench.settle()
    first.close()
    assert acts(bench) == [("E01", "S-01")]


def test_nothing_is_signed_while_something_waits(bench):
    for _ in range(3):
        bench.press("Shift+A")
        bench.accept()
    while bench.page.locator("#go-sign").is_hidden():
        bench.accept()
    bench.page.context.set_offline(True)
    bench.page.click("#place-E02")
    bench.page.keyboard.press("r")
    assert bench.page.locator("#go-sign").is_hidden()
    bench.page.keyboard.press("s")
    assert "/sign/" not in bench.page.url
    unsaved(bench, 1)
    bench.page.route(JUDGE, lambda route: route.abort())
    bench.page.context.set_offline(False)
    bench.visitor.go(f"/boards/{bench.board.number}/grade/sign/soldered/")
    bench.page.wait_for_selector("[data-queue]:not([hidden])")
    assert bench.page.is_disabled("[data-when-saved]")
    bench.page.unroute(JUDGE)
    bench.open(stage="soldered")
    bench.settle()
    bench.page.keyboard.press("s")
    bench.page.wait_for_url("**/sign/soldered/")
    assert bench.page.is_enabled("[data-when-saved]")


def test_what_an_earlier_page_accepted_by_key_alone_is_refused_in_words_and_judged_again(bench):
    page = bench.page
    page.click("#criterion-S-05")
    page.context.set_offline(True)
    for key in ("e", "1", "a"):
        page.keyboard.press(key)
    unsaved(bench, 2)
    # As the script of before sent it: accepted, and nothing said of how.
    page.evaluate(
        """() => {
          const name = Object.keys(localStorage).find((one) => one.startsWith('grading:'));
          const kept = JSON.parse(localStorage[name]);
          kept.items[0].fields.outcome = 'accept';
          localStorage[name] = JSON.stringify(kept);
        }"""
    )
    page.context.set_offline(False)
    page.reload()
    page.wait_for_selector("#refused .notice")
    told = page.inner_text("#refused")
    assert "E01, Insulation clearance, is not saved." in told
    assert "S-05 is measured: mark it on a photograph" in told
    # What was kept after it is sent once it was refused; the refusal itself stays there.
    page.wait_for_function(
        "() => !Object.values(localStorage).some((one) => JSON.parse(one).items?.length)"
    )
    assert [code for _place, code in acts(bench)] != ["S-05"]
    assert not Judgement.objects.filter(criterion__code="S-05").exists()
    bench.visitor.complaints.clear()  # Chromium tells of every answer that refuses.
    bench.visitor.audit()
    page.click("#refused button")
    assert bench.where()["criterion"] == "S-05"
    assert page.input_value("#because") == "far inside its limit, seen beside a gauge"
    page.keyboard.press("Escape")
    bench.press("e")
    assert Judgement.objects.get(criterion__code="S-05").by_eye_because
    assert page.locator("#refused .notice").count() == 0
