"""Measuring on a photograph in a real browser: by mouse, keys and finger, and without a script."""

import io

import pytest

from assessments.models import Judgement, Measurement, Photo
from assessments.services import measuring, photos
from demo.drawn import draw_joint
from tests import factories
from training.models import Exercise

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

WRAP = ("wrap_centre", "contact_start", "contact_end")
STEPS = {"ArrowRight": (1, 0), "Shift+ArrowUp": (0, -10), "Alt+ArrowLeft": (-0.1, 0)}

AT = """([x, y]) => {
  const svg = document.querySelector('#photograph');
  const point = new DOMPoint(x, y).matrixTransform(svg.getScreenCTM());
  return [point.x, point.y];
}"""
READ = """() => {
  const { value, u, verdict } = document.querySelector('#live-value').dataset;
  return [Number(value), Number(u), verdict ?? ''];
}"""


class Desk:
    """The page for measuring one drawn turret, and what is true of it."""

    def __init__(self, visitor, photo, truth):
        self.visitor, self.page, self.photo, self.truth = visitor, visitor.page, photo, truth

    def open(self, query="criterion=F-01&joint=E01"):
        self.visitor.go(f"/photos/{self.photo.key}/measure/?{query}")
        self.page.wait_for_selector(".view-tools:not([hidden])")

    def screen(self, point):
        return self.page.evaluate(AT, list(point))

    def click(self, *points):
        for point in points:
            self.page.mouse.click(*self.screen(point))

    def read(self):
        return self.page.evaluate(READ)

    def marks(self, kind):
        read = "(fields) => fields.map((one) => one.value)"
        xs, ys = (self.page.eval_on_selector_all(f"[name={kind}_{a}]", read) for a in "xy")
        return [(float(x), float(y)) for x, y in zip(xs, ys, strict=True) if x]

    def keep(self):
        with self.page.expect_navigation():
            self.page.click("#keep")
        return Measurement.objects.latest("pk")


@pytest.fixture
def desk(shop, visitor):
    exercise = Exercise.objects.current().filter(positions__joint_type="turret").first()
    board = factories.make_board(shop.trainee.person, exercise)
    joint = board.joints.select_related("position").get(position__name="E01")
    drawn = draw_joint("turret", seed=5, view="top")
    file = io.BytesIO()
    drawn.image.save(file, "JPEG", quality=85)
    file.seek(0)
    photo = photos.add_photo(
        board=board, joint=joint, file=file, name="E01_1.jpg", actor=shop.instructor,
        at=factories.NOW,
    )  # fmt: skip

    factories.on_a_stand(photo, depth_mm=1)

    def sit_down(**window):
        opened = visitor(**window)
        opened.sign_in(shop.instructor.person.employee_number)
        return Desk(opened, photo, drawn.truth)

    return sit_down


def set_wrap(desk):
    if desk.truth["wrap_direction"] == "anticlockwise":
        desk.page.check("[name=winding][value=anticlockwise]")
    desk.page.check("[name=next][value=centre]")
    desk.click(
        *(desk.truth[f"{one}_px"] for one in ("wrap_centre", "contact_start", "contact_end"))
    )


def test_marks_by_mouse_and_keys_give_the_truth_and_what_is_kept_is_what_was_shown(desk):
    at = desk()
    at.open()
    set_wrap(at)
    value, u, verdict = at.read()
    assert abs(value - at.truth["wrap_deg"]) < 2 * u
    assert verdict == "within"
    at.visitor.audit()

    [before] = at.marks("end")
    for key, step in (
        ("ArrowRight", (1, 0)),
        ("Shift+ArrowUp", (0, -10)),
        ("Alt+ArrowLeft", (-0.1, 0)),
    ):
        at.page.keyboard.press(key)
        [after] = at.marks("end")
        assert after == pytest.approx((before[0] + step[0], before[1] + step[1]), abs=0.001)
        before = after
    assert at.read()[0] != value

    at.page.mouse.move(*at.screen(before))
    at.page.mouse.down()
    assert at.page.is_visible("#loupe")
    at.page.mouse.move(*at.screen(at.truth["contact_end_px"]), steps=4)
    at.page.mouse.up()
    assert not at.page.is_visible("#loupe")
    assert at.marks("end")[0] == pytest.approx(at.truth["contact_end_px"], abs=2.5)

    value, u, verdict = at.read()
    kept = at.keep()
    assert (kept.value, kept.standard_uncertainty) == (
        pytest.approx(value, abs=1e-6),
        pytest.approx(u, abs=1e-6),
    )
    assert kept.verdict == verdict
    assert "/grade/" in at.page.url


def test_coming_closer_moving_and_brightening_change_the_view_and_no_mark(desk):
    at = desk()
    at.open()
    set_wrap(at)
    before, read = at.marks("start"), at.read()
    at.page.mouse.move(*at.screen(at.truth["contact_start_px"]))
    at.page.mouse.wheel(0, -600)
    wide = "document.querySelector('#photograph').viewBox.baseVal.width"
    closer = at.page.evaluate(wide)
    assert closer < 500
    free = at.screen((at.truth["contact_start_px"][0] + 60, at.truth["contact_start_px"][1] + 60))
    at.page.mouse.move(*free)
    at.page.mouse.down()
    at.page.mouse.move(free[0] + 80, free[1] + 30, steps=3)
    at.page.mouse.up()
    at.page.evaluate(
        """() => { const slide = document.querySelector('#brightness'); slide.value = 1.6;
        slide.dispatchEvent(new Event('input', { bubbles: true })); }"""
    )
    assert "brightness(1.6)" in at.page.evaluate("document.querySelector('#picture').style.filter")
    assert at.marks("start") == before
    assert at.read() == read
    at.page.click("[data-view=whole]")
    assert at.page.evaluate(wide) > closer


def test_a_known_wire_sets_the_scale_and_clearance_is_read_beside_it(desk):
    at = desk()
    at.open("quantity=scale")
    at.click(*at.truth["across_wire_px"])
    at.page.fill("[name=size_mm]", str(at.truth["insulated_mm"]))
    at.page.select_option("[name=size_kind]", "other")
    at.page.fill("[name=size_half_mm]", "0.01")
    at.keep()
    at.photo.refresh_from_db()
    assert at.photo.scale_px_per_mm == pytest.approx(at.truth["px_per_mm"], rel=0.03)
    at.open("quantity=clearance")
    at.click(at.truth["insulation_end_px"], at.truth["first_contact_px"])
    at.click(*at.truth["across_wire_px"])
    value, u, _verdict = at.read()
    assert abs(value - at.truth["clearance_D"]) < 2 * u
    kept = at.keep()
    assert kept.value == pytest.approx(value, abs=1e-6)
    assert kept.also["mm"] == pytest.approx(at.truth["clearance_mm"], rel=0.05)


def test_a_finger_sets_and_moves_marks_on_a_phone(desk):
    at = desk(phone=True)
    at.open()
    if at.truth["wrap_direction"] == "anticlockwise":
        at.page.check("[name=winding][value=anticlockwise]")
    at.page.evaluate("window.scrollTo(0, 0)")
    at.page.check("[name=next][value=centre]")
    at.page.evaluate("window.scrollTo(0, 0)")
    for name in WRAP:
        at.page.touchscreen.tap(*at.screen(at.truth[f"{name}_px"]))
    value, u, _verdict = at.read()
    assert abs(value - at.truth["wrap_deg"]) < 6 * u
    at.visitor.audit()


def test_delete_takes_a_mark_away_and_the_refusal_says_what_is_missing(desk):
    at = desk()
    at.open()
    set_wrap(at)
    at.page.keyboard.press("Delete")
    assert at.marks("end") == []
    assert "still missing" in at.page.inner_text("#live-says")
    at.page.click("#clear")
    assert at.marks("centre") == []
    at.page.focus("#middle")
    at.page.keyboard.press("Enter")
    assert at.marks("start") == [(400.0, 300.0)]
    at.page.keyboard.press("ArrowLeft")
    assert at.marks("start") == [(399.0, 300.0)]
    assert not Judgement.objects.exists()


def test_what_was_measured_comes_back_to_judging_and_judges(desk):
    at = desk()
    at.visitor.go(f"/boards/{at.photo.board.number}/grade/?stage=formed&joint=E01&criterion=F-01")
    with at.page.expect_navigation(url="**/measure/**"):
        at.page.keyboard.press("m")
    at.page.wait_for_selector(".view-tools:not([hidden])")
    set_wrap(at)
    kept = at.keep()
    assert "criterion=F-01" in at.page.url
    assert "within" in at.page.inner_text("#by-marks")
    assert at.page.locator(".marks-shown polyline").count() > 0
    at.visitor.audit()

    at.page.keyboard.press("r")
    at.page.wait_for_selector("#refused :text('say why')")
    assert not Judgement.objects.exists()
    at.page.click("#criterion-F-01")
    with at.page.expect_response("**/judge/"):
        at.page.keyboard.press("a")
    said = Judgement.objects.get()
    assert (said.outcome, said.how, said.measurement) == ("accept", "marks", kept)
    at.page.click("#criterion-F-01")
    at.page.wait_for_selector("#by-marks label:not([hidden])")
    assert at.page.input_value("#value") == ""
    at.page.click(".criteria li:nth-child(2) a")
    at.page.wait_for_selector("#by-marks", state="attached")
    assert at.page.locator(".marks-shown").count() == 0


def test_the_screen_says_where_a_measurement_counts_no_more_by_a_scale_set_anew(desk, shop):
    length = {"code": "L", "how": "measured", "quantity": "length", "high": 1, "unit": "mm"}
    criterion = factories.make_criteria_set(
        {"code": "X", "stage": "formed"}, length | {"stage": "formed"}
    ).criteria.get(code="L")
    at = desk()
    board, joint = at.photo.board, at.photo.joint

    def keep(quantity, size=None, **of):
        fresh = Photo.objects.get(pk=at.photo.pk)
        options = measuring.options_for(joint=joint, size=size, criterion=of.get("criterion"))
        measuring.keep_measurement(
            photo=fresh, quantity=quantity, marks={"ends": [(100.0, 100.0), (180.0, 160.0)]},
            options=options, mark_uncertainty_px=None, actor=shop.instructor, at=factories.NOW,
            joint=joint, size=size, **of,
        )  # fmt: skip

    keep("scale", measuring.KnownSize(0.2, 0.002))
    keep("length", criterion=criterion)
    keep("scale", measuring.KnownSize(0.8, 0.007))
    at.visitor.go(f"/boards/{board.number}/grade/?stage=formed&joint=E01&criterion=X")
    assert not at.page.is_visible("[data-left-out]")
    at.page.click("#criterion-L")
    at.page.wait_for_selector("[data-left-out]:text('measure again')")
    assert not at.page.is_visible("[data-says]")
    at.visitor.audit()
    keep("length", criterion=criterion)
    at.visitor.go(f"/boards/{board.number}/grade/?stage=formed&joint=E01&criterion=X")
    at.page.click("#criterion-L")
    at.page.wait_for_selector("[data-left-out]:text('1 measurement from before')")
    assert at.page.input_value("[name=measured_times]") == "1"


def test_marks_found_near_a_click_are_looked_at_before_anything_is_kept(desk):
    at = desk()
    at.open("quantity=scale")
    (x0, y0), (x1, y1) = at.truth["across_wire_px"]
    at.page.fill("[name=size_mm]", str(at.truth["insulated_mm"]))
    at.page.fill("[name=size_half_mm]", "0.05")
    at.page.check("#find-edge")
    assert "between its edges" in at.page.inner_text("#find-says")
    at.visitor.audit()

    at.click(((x0 + x1) / 2, (y0 + y1) / 2))

    at.page.wait_for_selector("#accept:not([hidden])")
    assert at.page.locator(".mark.is-proposed").count() == 2
    assert at.page.is_disabled("#keep")
    for found, true in zip(sorted(at.marks("ends")), sorted([(x0, y0), (x1, y1)]), strict=True):
        assert found == pytest.approx(true, abs=8)
    at.visitor.audit()

    at.page.keyboard.press("Tab")
    at.page.locator(".mark.is-proposed").first.focus()
    at.page.keyboard.press("ArrowRight")
    assert at.page.locator(".mark.is-proposed").count() == 1
    assert at.page.is_disabled("#keep")
    at.page.click("#accept")
    assert at.page.locator(".mark.is-proposed").count() == 0
    kept = at.keep()
    assert "found" not in kept.options  # One of the two was moved.
    assert kept.value == pytest.approx(1 / at.truth["px_per_mm"], rel=0.05)

    at.open("quantity=scale")
    at.page.click("#clear")
    at.page.check("#find-edge")
    at.click(((x0 + x1) / 2, (y0 + y1) / 2))
    at.page.wait_for_selector("#accept:not([hidden])")
    at.page.click("#accept")
    assert at.keep().options["found"] == ["ends"]


def test_where_no_edge_is_clear_the_grader_is_told_and_marks_by_hand(desk):
    at = desk(phone=True)
    at.open("quantity=scale")
    at.page.check("#find-edge")

    at.click((30, 30))

    at.page.get_by_text("No clear edge near there").wait_for()
    assert at.marks("ends") == []
    at.page.uncheck("#find-edge")
    at.click((30, 30), (90, 30))
    assert len(at.marks("ends")) == 2
