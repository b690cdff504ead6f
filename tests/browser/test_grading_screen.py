"""The grading screen in a real browser: by key, mouse, finger and without a script."""

import io
import time
from dataclasses import dataclass

import pytest
from PIL import Image

from assessments.content import CriteriaSetContent
from assessments.content.criteria import NEWEST, REVISION_1
from assessments.models import Board, CannotTell, CriteriaSet, Judgement
from assessments.services import criteria, criteria_drafts, photos
from tests import factories
from tests.browser.conftest import Shop, Visitor
from training.models import Exercise

JOINTS = 20
MOST_KEYS_A_GOOD_JOINT = 3
KEYS_A_GOOD_TURRET = 3
LEAST_ROWS = 9

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

    @property
    def asks_for_a_measurement(self) -> bool:
        return self.page.is_visible("#by-eye summary")

    def accept(self, *, rest: bool = False) -> tuple[dict[str, str], int]:
        """Accept what is shown, by eye what is measured; where that leads, and the keys it took.

        With `rest` what may go with it is accepted too.
        """
        key = "e" if self.asks_for_a_measurement else "a"
        here = self.press(f"Shift+{key.upper()}" if rest else key)
        return (self.press("1"), 2) if self.page.is_visible("#reasons") else (here, 1)

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


@pytest.fixture
def criteria_content() -> CriteriaSetContent:
    """A set in which wetting, which comes first, is judged by eye."""
    return REVISION_1


by_the_newest_set = pytest.mark.parametrize("criteria_content", [NEWEST], ids=["newest set"])


@by_the_newest_set
def test_a_good_board_of_twenty_joints_takes_three_keys_a_joint(shop, visitor):
    bench = lay_out(shop, visitor(), joints=JOINTS, a_joint=2)
    bench.open()
    began, keys = time.monotonic(), dict.fromkeys([f"E{n:02d}" for n in range(1, JOINTS + 1)], 0)
    here = bench.where()
    while here["place"] != "board":
        # The first criterion, which is critical, and the rest; then what is measured.
        place = here["place"]
        here, pressed = bench.accept(rest=not keys[place])
        keys[place] += pressed
    while bench.page.locator("#go-sign").is_hidden():
        bench.accept()
    # Of the first joint one more, which chooses the reason that is kept for the board.
    assert keys.pop("E01") == MOST_KEYS_A_GOOD_JOINT + 1
    assert set(keys.values()) == {KEYS_A_GOOD_TURRET}
    assert KEYS_A_GOOD_TURRET <= MOST_KEYS_A_GOOD_JOINT
    print(f"{JOINTS} joints in {time.monotonic() - began:.0f} s")
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
    bench.accept(rest=True)
    while bench.where()["place"] == "E01":
        bench.accept()
    # Of the second joint, when the reason for the board is known.
    _here, keys = bench.accept(rest=True)
    while bench.where()["place"] == "E02":
        keys += bench.accept()[1]
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
    for key in ("Shift+A", "e", "1", "r", "Shift+A", "e"):
        bench.page.keyboard.press(key)
    bench.page.wait_for_selector("#place-E03[aria-current]")
    bench.settle()
    assert Judgement.objects.filter(joint__position__name="E01", outcome="accept").count() == 8
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
    bench.press("e")
    here = bench.click("#reasons [data-key='1']")
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
    # The page goes on before the answer is there; the database stays until it is.
    phone.visitor.settle()


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
    page.wait_for_selector(".judge .notice.is-error:has-text('is measured: mark it')")
    page.click("#by-eye summary")
    page.fill("#because", "no instrument reaches it")
    page.click("#accept-by-eye")
    page.wait_for_selector("#place-E02[aria-current]")
    page.click("#do-undo")
    page.wait_for_selector("#place-E01[aria-current]")
    assert Judgement.objects.count() == 7
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
        bench.accept()
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


def measured_of(bench, place="E01"):
    return Judgement.objects.get(joint__position__name=place, criterion__code="S-05")


def test_a_key_alone_judges_nothing_measured_and_says_what_to_do(bench):
    bench.open(joint="E01", criterion="S-05")
    page = bench.page
    here = bench.press("a")
    assert (here["criterion"], Judgement.objects.count()) == ("S-05", 0)
    said = page.inner_text("#unmeasured")
    assert "is measured: mark it with M" in said
    assert "press E to judge it by eye and say why" in said
    bench.visitor.audit()
    bench.press("Shift+A")
    assert Judgement.objects.filter(with_the_rest=True).exists()
    assert not Judgement.objects.filter(criterion__code="S-05").exists()
    bench.open(joint="E01", criterion="S-05")
    bench.press("n")
    assert measured_of(bench).outcome == "not_applicable"


def test_by_eye_takes_a_reason_once_a_board_and_one_key_from_then_on(bench):
    bench.open(joint="E01", criterion="S-05")
    page = bench.page
    bench.press("e")
    assert page.is_visible("#reasons")
    assert "press the number of a reason" in page.inner_text("#unmeasured")
    bench.visitor.audit()
    bench.press("1")
    first = measured_of(bench)
    assert (first.outcome, first.how) == ("accept", "photograph")
    assert first.by_eye_because == "far inside its limit, seen beside a gauge"
    # From the second on it is one key, after a reload too.
    bench.open(joint="E02", criterion="S-05")
    assert first.by_eye_because in page.inner_text("#by-eye summary")
    bench.press("e")
    assert measured_of(bench, "E02").by_eye_because == first.by_eye_because
    # What is rejected has a reason of its own, which is kept for nothing else.
    bench.open(joint="E03", criterion="S-05")
    bench.press("r")
    assert page.is_visible("#reasons")
    page.keyboard.press("r")
    page.keyboard.type("the wire is gone")
    bench.press("Enter")
    third = measured_of(bench, "E03")
    assert (third.outcome, third.by_eye_because) == ("reject", "the wire is gone")
    # A note is saved beside it, and the reason stays; what is read takes its place.
    bench.open(joint="E03", criterion="S-05")
    page.keyboard.press("o")
    page.keyboard.type("Cut off")
    bench.press("Enter")
    third.refresh_from_db()
    assert (third.note, third.by_eye_because) == ("Cut off", "the wire is gone")
    bench.press("u")
    bench.press("u")
    assert not Judgement.objects.filter(joint__position__name="E03").exists()
    bench.open(joint="E03", criterion="S-05")
    assert first.by_eye_because in page.inner_text("#by-eye summary")
    bench.press("Shift+E")
    assert measured_of(bench, "E03").by_eye_because == first.by_eye_because
    beside = Judgement.objects.filter(joint__position__name="E03", with_the_rest=True)
    assert beside.exists()
    assert not beside.exclude(by_eye_because="").exists()


def test_a_reason_is_written_with_the_same_key_pressed_again(bench):
    bench.open(joint="E01", criterion="S-05")
    for key in ("e", "e"):
        bench.page.keyboard.press(key)
    bench.page.keyboard.type("seen in a mirror")
    bench.press("Enter")
    assert measured_of(bench).by_eye_because == "seen in a mirror"


def forbid_by_eye(shop, code):
    """Publish the next revision, by which a criterion is never judged by eye."""
    quality, at = shop.quality, factories.NOW
    before = CriteriaSet.objects.current().get()
    draft = criteria.draft_next_revision(criteria_set=before, actor=quality, at=at)
    criteria_drafts.change_criterion(
        criterion=draft.criteria.get(code=code), actor=quality, at=at, texts={}, by_eye="never"
    )
    criteria.confirm_criteria(criteria_set=draft, codes=[code], actor=quality, at=at)
    criteria.publish_criteria_set(criteria_set=draft, actor=quality, at=at)


def test_where_the_set_says_never_no_reason_is_offered_and_the_rest_goes_on(shop, visitor):
    forbid_by_eye(shop, "S-05")
    bench = lay_out(shop, visitor(), joints=2, a_joint=1)
    bench.open(joint="E01", criterion="S-05")
    page = bench.page
    assert page.locator("#by-eye").is_hidden()
    bench.press("a")
    assert "by its criteria set never judged by eye" in page.inner_text("#unmeasured")
    bench.press("e")
    assert not Judgement.objects.exists()
    assert "never by eye" in page.inner_text("#criterion-shown")
    bench.visitor.audit()


ROWS_SEEN = """() => {
  const list = document.querySelector('.judge > .criteria').getBoundingClientRect();
  const end = Math.min(list.bottom, innerHeight) + 1;
  return [...document.querySelectorAll('.criteria li')].map((row) => row.getBoundingClientRect())
    .filter((box) => box.top >= list.top - 1 && box.bottom <= end).length;
}"""


@by_the_newest_set
def test_nine_criteria_stand_in_the_list_at_1280_by_800_whatever_is_asked(shop, visitor):
    bench = lay_out(shop, visitor(), joints=20, a_joint=2)
    bench.open()
    page = bench.page
    ids = page.evaluate("() => [...document.querySelectorAll('.criteria a')].map((one) => one.id)")
    assert len(ids) > LEAST_ROWS
    seen = {}
    for name in ids:
        page.click(f"#{name}")
        seen[name] = page.evaluate(ROWS_SEEN)
    assert {name: rows for name, rows in seen.items() if rows < LEAST_ROWS} == {}
    # With a reason that is kept for the board, too.
    page.click("#criterion-S-05")
    bench.press("e")
    bench.press("1")
    page.click("#criterion-S-05")
    assert page.evaluate(ROWS_SEEN) >= LEAST_ROWS
    assert page.evaluate("document.documentElement.scrollHeight <= innerHeight")
    bench.visitor.audit()


def test_the_list_of_keys_opens_at_its_top_with_its_first_line_in_sight(bench):
    bench.open()
    page = bench.page
    for _ in range(2):
        page.keyboard.press("?")
        top = page.locator("#all-keys").bounding_box()["y"]
        first = page.locator("#all-keys tr").first.bounding_box()
        close = page.locator("#all-keys button").bounding_box()
        assert top <= close["y"]
        assert close["y"] + close["height"] <= first["y"]
        assert first["y"] + first["height"] <= 800
        page.evaluate("document.querySelector('#all-keys').scrollTop = 9999")
        assert page.locator("#all-keys button").bounding_box()["y"] >= top
        page.keyboard.press("Escape")
    bench.visitor.audit()
