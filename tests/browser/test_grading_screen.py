"""The grading screen in a real browser: by key, mouse, finger and without a script."""

import io
import time
from dataclasses import dataclass

import pytest
from PIL import Image

from assessments.content.criteria import NEWEST
from assessments.models import Board, CannotTell, Judgement
from assessments.services import photos
from tests import factories
from tests.browser.conftest import Shop, Visitor
from training.models import Exercise

JOINTS = 20
MOST_KEYS_A_GOOD_JOINT = 3
KEYS_A_GOOD_TURRET = 3
MOST_SECONDS = 180

WHERE = """() => ({
  place: document.querySelector('.board-map [aria-current]').id.replace('place-', ''),
  title: document.querySelector('.judge h2').firstChild.textContent.trim(),
  criterion: document.querySelector('.criteria [aria-current]').id.replace('criterion-', ''),
  focus: document.activeElement.id,
  said: document.querySelector('#announcement').textContent,
})"""


@dataclass
class Bench:
    """A board of turrets with two photographs a joint, open before its grader."""

    visitor: Visitor
    board: Board

    @property
    def page(self):
        return self.visitor.page

    def open(self, **query: str) -> None:
        asked = "&".join(f"{name}={value}" for name, value in query.items())
        self.visitor.go(f"/boards/{self.board.number}/grade/?{asked}")

    def where(self) -> dict[str, str]:
        return self.page.evaluate(WHERE)

    def press(self, key: str) -> dict[str, str]:
        """Press a key, say where that leads at once, and wait until what it did is saved."""
        self.page.keyboard.press(key)
        here = self.where()
        self.settle()
        return here

    def click(self, selector: str) -> dict[str, str]:
        self.page.click(selector)
        here = self.where()
        self.settle()
        return here

    def settle(self) -> None:
        self.page.wait_for_function(
            "() => !document.querySelector('.htmx-request, .htmx-swapping, .htmx-settling')"
            " && !Object.keys(localStorage).some((one) => one.startsWith('grading:'))"
        )


def picture(shade: int) -> io.BytesIO:
    data = io.BytesIO()
    Image.new("RGB", (800, 600), (40, shade, 90)).save(data, "PNG")
    data.seek(0)
    return data


def make_exercise(joints: int, joint_type: str) -> Exercise:
    return factories.make_exercise((joint_type,) * joints, pass_mark=80)


def lay_out(
    shop: Shop, visitor: Visitor, *, joints: int, a_joint: int, joint_type: str = "turret"
) -> Bench:
    board = factories.make_board(shop.trainee.person, make_exercise(joints, joint_type))
    shade = 0
    for joint in board.joints.select_related("position"):
        for _ in range(a_joint):
            shade += 1
            photo = photos.add_photo(
                board=board,
                joint=joint,
                stage="soldered",
                file=picture(shade),
                name=f"{joint.position.name}_{shade}.png",
                actor=shop.instructor,
                at=factories.NOW,
            )
            photos.make_renditions(photo)
    visitor.sign_in(shop.instructor.employee_number)
    return Bench(visitor, board)


@pytest.fixture
def visitor(visitor):
    """Windows as everywhere, whose photographs arrive before the database is emptied."""
    windows = []

    def open_window(**how) -> Visitor:
        windows.append(visitor(**how))
        return windows[-1]

    yield open_window
    for window in windows:
        window.page.wait_for_load_state("networkidle")


@pytest.fixture
def bench(shop, visitor) -> Bench:
    return lay_out(shop, visitor(), joints=3, a_joint=2)


by_the_newest_set = pytest.mark.parametrize("criteria_content", [NEWEST], ids=["newest set"])


@by_the_newest_set
def test_a_good_board_of_twenty_joints_takes_three_keys_a_joint(shop, visitor):
    bench = lay_out(shop, visitor(), joints=JOINTS, a_joint=2)
    bench.open()
    began, keys = time.monotonic(), dict.fromkeys([f"E{n:02d}" for n in range(1, JOINTS + 1)], 0)
    here = bench.where()
    while here["place"] != "board":
        # The first criterion, which is critical, and the rest; then what is measured.
        key = "a" if keys[here["place"]] else "Shift+A"
        keys[here["place"]] += 1
        assert keys[here["place"]] <= MOST_KEYS_A_GOOD_JOINT
        here = bench.press(key)
    while bench.page.locator("#go-sign").is_hidden():
        bench.press("a")
    assert set(keys.values()) == {KEYS_A_GOOD_TURRET}
    assert time.monotonic() - began < MOST_SECONDS
    assert Judgement.objects.filter(with_the_rest=True, criterion__severity="critical").count() == 0
    bench.page.keyboard.press("s")
    bench.page.wait_for_url("**/sign/soldered/")
    assert bench.page.evaluate("document.activeElement.id") == "id_password"
    bench.visitor.audit()


@by_the_newest_set
@pytest.mark.parametrize("joint_type", ["cup", "hole", "bifurcated", "hook", "pierced"])
def test_a_good_joint_of_any_kind_takes_three_keys_at_most(shop, visitor, joint_type):
    bench = lay_out(shop, visitor(), joints=2, a_joint=1, joint_type=joint_type)
    bench.open()
    keys = 0
    while bench.where()["place"] == "E01":
        bench.press("a" if keys else "Shift+A")
        keys += 1
    assert keys <= MOST_KEYS_A_GOOD_JOINT
    alone = Judgement.objects.filter(with_the_rest=False)
    assert {one.criterion.code for one in alone} >= {
        one.criterion.code
        for one in Judgement.objects.all()
        if one.criterion.severity == "critical" or one.criterion.is_measured
    }


ASKED_FOR = """() => [...document.querySelectorAll('.criteria a')]
  .filter((link) => link.textContent.includes('asked for')).map((link) => link.id)"""


def test_a_key_says_that_a_photograph_does_not_tell_and_it_stays_open(bench):
    bench.open()
    page = bench.page
    page.fill("#note", "From the left")
    page.keyboard.press("Escape")
    here = bench.press("t")
    assert here["criterion"] == "S-03"
    assert "asked for another photograph" in here["said"]
    asked = CannotTell.objects.get()
    assert (asked.criterion.code, asked.asks, asked.note) == ("S-01", "photo", "From the left")
    assert asked.photo is not None
    assert page.evaluate(ASKED_FOR) == ["criterion-S-01"]
    page.click("#criterion-S-01")
    assert page.is_visible("#asked")
    assert "From the left" in page.inner_text("#asked")
    bench.visitor.audit()

    assert bench.press("u")["criterion"] == "S-01"
    assert page.evaluate(ASKED_FOR) == []
    assert not page.is_visible("#asked")
    asked.refresh_from_db()
    assert asked.taken_back_at is not None

    bench.press("Shift+T")
    page.reload()
    bench.settle()
    page.click("#criterion-S-01")
    assert "the board itself" in page.inner_text("#asked")
    bench.press("a")
    assert page.evaluate(ASKED_FOR) == []
    assert Judgement.objects.get().outcome == "accept"


def test_every_key_does_what_the_list_of_keys_says(bench):
    bench.open()
    bench.visitor.audit()
    assert bench.press("r")["criterion"] == "S-03"
    assert bench.press("4")["criterion"] == "S-05"
    assert bench.press("n")["criterion"] == "S-06"
    assert bench.press("ArrowRight")["place"] == "E02"
    assert bench.press("ArrowLeft")["place"] == "E01"
    assert bench.press(" ")["place"] == "E02"
    first = bench.page.locator(".photograph").get_attribute("id")
    bench.press("p")
    assert bench.page.locator(".photograph").get_attribute("id") != first
    assert bench.page.is_checked("#how-photograph")
    bench.page.keyboard.press("b")
    assert bench.page.is_checked("#how-at-board")
    bench.press("ArrowRight")
    assert bench.page.is_checked("#how-at-board")
    assert bench.press("u")["criterion"] == "S-05"
    bench.page.keyboard.press("?")
    assert bench.page.locator("dialog[open]").count() == 1
    bench.page.keyboard.press("a")
    bench.page.keyboard.press("Escape")
    assert bench.page.locator("dialog[open]").count() == 0
    said = Judgement.objects.get()
    assert (said.criterion.code, said.outcome, said.how) == ("S-01", "reject", "photograph")


def test_a_note_is_written_and_saved_without_leaving_the_keyboard(bench):
    bench.open(joint="E02", criterion="S-07")
    bench.page.keyboard.press("o")
    bench.page.keyboard.type("Burnt, a razor edge")
    assert bench.press("Enter")["criterion"] == "S-08"
    said = Judgement.objects.get()
    assert (said.outcome, said.note) == ("reject", "Burnt, a razor edge")
    bench.open(joint="E02", criterion="S-07")
    bench.press("a")
    bench.open(joint="E02", criterion="S-07")
    bench.page.keyboard.press("o")
    bench.page.keyboard.type(" once")
    bench.press("Enter")
    said = Judgement.objects.get()
    assert (said.outcome, said.note) == ("accept", "Burnt, a razor edge once")


def test_keys_pressed_faster_than_answers_come_wait_their_turn(bench):
    bench.open()
    for key in ("Shift+A", "a", "r", "Shift+A", "a"):
        bench.page.keyboard.press(key)
    bench.page.wait_for_selector("#place-E03[aria-current]")
    bench.settle()
    assert Judgement.objects.filter(joint__position__name="E01", outcome="accept").count() == 9
    assert Judgement.objects.filter(joint__position__name="E02", outcome="reject").count() == 1


def test_a_click_marks_the_place_that_the_judgement_speaks_of(bench):
    bench.open()
    box = bench.page.locator(".photograph").bounding_box()
    bench.page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    assert bench.page.locator(".mark-kept").count() == 1
    bench.page.keyboard.press("Escape")
    assert bench.page.locator(".mark-kept").count() == 0
    bench.page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    bench.click("#do-reject")
    said = Judgement.objects.get()
    assert said.mark_x == pytest.approx(400, abs=1.5)
    assert said.mark_y == pytest.approx(300, abs=1.5)


def test_the_focus_stays_with_whoever_uses_the_keyboard_and_leaves_the_mouse(bench):
    bench.open()
    bench.page.focus("#do-accept")
    bench.page.keyboard.press("Tab")
    bench.page.keyboard.press("Shift+Tab")
    here = bench.press("Enter")
    assert here["focus"] == "do-accept"
    assert here["said"] == f"E01, Wetting: accept. Now E01, {here['title']}: open."
    bench.page.focus("#do-rest")
    bench.press("Enter")
    assert bench.where()["focus"] == "h-crit"  # The button is gone.
    here = bench.click("#do-accept")
    assert (here["place"], here["focus"]) == ("E02", "")
    assert bench.press(" ")["place"] == "E03"


def test_one_step_back_leads_out_of_grading_and_a_reload_stays(bench):
    bench.visitor.go(f"/boards/{bench.board.number}/")
    bench.open()
    bench.press("a")
    here = bench.press("ArrowRight")
    bench.page.reload()
    assert bench.where()["place"] == here["place"]
    bench.page.go_back()
    assert bench.page.url.endswith(f"/boards/{bench.board.number}/")
    bench.page.go_forward()
    assert bench.where()["place"] == here["place"]


def test_nothing_but_the_list_scrolls_at_a_desk_and_the_keys_stay_in_reach_on_a_phone(
    shop, visitor
):
    bench = lay_out(shop, visitor(), joints=3, a_joint=2)
    bench.open()
    page = bench.page
    assert page.evaluate("document.documentElement.scrollHeight <= innerHeight")
    photograph = page.locator(".photograph").bounding_box()
    assert photograph["width"] > 600
    assert page.locator(".board-map").bounding_box()["y"] < 800
    phone = Bench(visitor(phone=True), bench.board)
    phone.visitor.sign_in(shop.instructor.employee_number)
    phone.open()
    for button in ("#do-accept", "#do-reject", "#do-not-applicable", "#do-rest"):
        box = phone.page.locator(button).bounding_box()
        assert box["height"] >= 44, button
        assert box["y"] + box["height"] <= 844, button
    assert phone.page.locator("#go-after").inner_text().startswith("→")
    phone.visitor.audit()
    phone.page.tap("#do-accept")
    phone.page.wait_for_selector("#criterion-S-03[aria-current]")


def test_everything_works_without_a_script(shop, visitor, chromium, live_server):
    bench = lay_out(shop, visitor(), joints=2, a_joint=1)
    context = chromium.new_context(
        java_script_enabled=False, storage_state=bench.page.context.storage_state()
    )
    page = context.new_page()
    page.goto(f"{live_server.url}/boards/{bench.board.number}/grade/")
    page.click("#do-accept")
    page.click("#do-rest")
    page.click("#do-accept")
    page.wait_for_selector("#place-E02[aria-current]")
    page.click("#do-undo")
    page.wait_for_selector("#place-E01[aria-current]")
    assert Judgement.objects.count() == 8
    page.fill("#note", "A note alone")
    page.press("#note", "Enter")
    page.wait_for_selector(".judge .notice.is-error")
    assert page.input_value("#note") == "A note alone"
    page.wait_for_load_state("networkidle")
    context.close()


def test_accept_with_the_rest_accepts_the_last_criterion_though_no_rest_is_left(bench):
    bench.open()
    last = bench.page.locator(".criteria a").count()
    for _ in range(last - 1):
        bench.press("a")
    assert bench.page.locator("#do-rest").is_hidden()
    assert bench.where()["place"] == "E01"
    assert bench.press("Shift+A")["place"] == "E02"
    said = Judgement.objects.filter(joint__position__name="E01")
    assert said.count() == last
    # What is judged already is not judged anew by it.
    bench.page.click("#place-E01")
    bench.press("r")
    bench.page.click("#place-E01")
    bench.press("Shift+A")
    assert said.filter(outcome="reject").count() == 1
