"""Photographs laid out by joint before they are sent: typed, moved, taken back, taken by phone."""

import io
import time

import pytest
from PIL import Image
from playwright.sync_api import expect

from assessments.models import Photo
from tests import factories
from tests.browser.test_grading_screen import visitor as _with_photographs
from tests.browser.test_photos_in_bulk import (
    arrived,
    choose,
    named,
    photograph,
    places,
    planned,
    settled,
    shot,
    told,
)
from training.models import JointType

visitor = _with_photographs

JOINTS = 20
NAMES = [f"IMG_{number}.jpg" for number in range(4201, 4241)]
TWO_EACH = {name: f"E{1 + at // 2:02}" for at, name in enumerate(NAMES)}


@pytest.fixture
def board(shop):
    exercise = factories.make_exercise((JointType.TURRET,) * JOINTS)
    return factories.make_board(shop.trainee.person, exercise=exercise)


@pytest.fixture
def open_board(shop, visitor, board):
    def open_it(*, who: str = "instructor", phone: bool = False):
        reader = visitor(phone=phone)
        reader.sign_in(getattr(shop, who).employee_number)
        reader.go(f"/boards/{board.number}/")
        return reader

    return open_it


def forty() -> list[dict]:
    return [named(name, photograph(at)) for at, name in enumerate(NAMES)]


def send(page) -> None:
    page.locator("[data-send]").click()
    settled(page)


def tick_range(page, first: str, last: str) -> None:
    shot(page, first).locator("input").click()
    shot(page, last).locator("label").click(modifiers=["Shift"])


def test_forty_onto_twenty_joints_in_two_acts(open_board, board):
    """Acts counted: choosing the files, and Send; how many a joint is guessed and shown."""
    reader = open_board()
    page = reader.page
    choose(page, forty())  # Act 1: the button, and the files in the device's own window.
    assert planned(page) == TWO_EACH
    expect(page.locator("[data-spread]")).to_contain_text("2 to each of 20 joints.")
    reader.audit()
    page.locator("[data-send]").click()  # Act 2.
    arrived(page, 40)
    assert places(board) == TWO_EACH
    # The list folds away to one line.
    line = page.locator("#last-sending")
    expect(line).to_contain_text("40 photographs sent, 2 to each of 20 joints")
    expect(page.locator("[data-table]")).to_be_hidden()
    expect(line.locator("li").first).to_be_hidden()
    line.locator("summary").click()
    expect(line.locator("li").nth(39)).to_be_visible()
    assert line.locator("li").nth(39).inner_text().split() == ["E20", "IMG_4240.jpg"]
    reader.settle()
    reader.audit()


def test_typed_and_sent_at_once_it_is_the_plan_on_the_page_that_is_sent(open_board, board):
    page = open_board().page
    page.get_by_label("They show").select_option(label="joint after joint, in the order taken")
    choose(page, forty())
    assert list(planned(page).values()).count("the whole board") == 20
    each = page.get_by_label("Photographs a joint")
    each.fill("")
    assert page.locator("[data-send]").is_disabled()
    expect(page.locator("[data-sum]")).to_contain_text("write a whole number from 1 to 50")
    each.press("2")
    # Nothing is waited for between the key and the press.
    page.locator("[data-send]").click()
    settled(page)
    assert places(board) == TWO_EACH


def test_the_plan_follows_each_key_and_asks_the_site_nothing(open_board, board):
    page = open_board().page
    choose(page, forty())
    asked = []
    page.on("request", lambda request: asked.append(request.url))
    each = page.get_by_label("Photographs a joint")
    for typed, joint in (("1", "E04"), ("4", "E01"), ("3", "E02"), ("2", "E02")):
        each.fill(typed)
        assert planned(page)["IMG_4204.jpg"] == joint
    page.get_by_label("Beginning at joint").select_option(label="E03")
    assert planned(page)["IMG_4201.jpg"] == "E03"
    page.get_by_label("They show").select_option(
        label="joint after joint, in the order of their names"
    )
    assert planned(page)["IMG_4240.jpg"] == "the whole board"
    assert asked == []


def test_several_are_moved_at_once_shifted_and_the_move_undone(open_board, board):
    reader = open_board()
    page = reader.page
    choose(page, forty())
    # The second of E03 was not taken: all from the next on stand a place too early.
    tick_range(page, "IMG_4206.jpg", "IMG_4239.jpg")
    expect(page.locator("p[data-ticked]")).to_have_text("34 ticked")
    page.get_by_role("button", name="One place later").click()
    shifted = planned(page)
    assert [shifted[f"IMG_{n}.jpg"] for n in (4205, 4206, 4207, 4208)] == [
        "E03",
        "E04",
        "E04",
        "E05",
    ]
    page.get_by_role("button", name="Undo", exact=True).click()
    assert planned(page) == TWO_EACH
    page.get_by_label("To", exact=True).select_option(label="E20")
    assert list(planned(page).values()).count("E20") == 35  # One stood there
    page.get_by_role("button", name="Undo", exact=True).click()
    # By the keyboard: the arrow moves what is ticked, Escape unticks it.
    shot(page, "IMG_4239.jpg").locator("input").focus()
    page.keyboard.press("ArrowLeft")
    assert planned(page)["IMG_4239.jpg"] == "E19"
    page.keyboard.press("Escape")
    expect(page.locator("p[data-ticked]")).to_have_text("None ticked: all 40 move")
    page.keyboard.press("Space")
    expect(page.locator("p[data-ticked]")).to_have_text("1 ticked")
    page.keyboard.press("ArrowRight")
    assert planned(page)["IMG_4239.jpg"] == "E20"
    page.keyboard.press("Escape")
    # All by one: there is no place behind the last joint, and that is said.
    page.get_by_role("button", name="One place later").click()
    expect(page.locator("[data-sum]")).to_contain_text("There is no place after the last joint")
    page.get_by_role("button", name="Leave out").click()
    assert page.locator("[data-send]").is_hidden()
    page.get_by_role("button", name="Put back").click()
    assert set(planned(page).values()) == set(TWO_EACH.values())
    page.get_by_role("button", name="Undo", exact=True).click()
    page.get_by_role("button", name="Undo", exact=True).click()
    assert planned(page)["IMG_4201.jpg"] == "E01"
    reader.audit()


def test_what_was_sent_wrong_is_taken_back_put_right_and_sent_again(open_board, board):
    reader = open_board()
    page = reader.page
    choose(page, forty())
    page.get_by_label("Beginning at joint").select_option(label="E02")
    send(page)
    expect(page.locator("#last-sending")).to_contain_text("40 photographs sent")
    assert board.photos.count() == 40
    reader.settle()  # A picture that is still to come would not be there any more.
    page.get_by_role("button", name="Take back what was sent").click()
    expect(page.locator(".answers").first).to_contain_text("40 photographs are taken back.")
    assert not board.photos.exists()
    assert planned(page)["IMG_4201.jpg"] == "E02"
    page.get_by_label("Beginning at joint").select_option(label="E01")
    send(page)
    expect(page.locator("#last-sending")).to_contain_text("2 to each of 20 joints")
    assert places(board) == TWO_EACH
    assert Photo.every.count() == 80
    reader.settle()
    reader.audit()


def test_what_was_refused_stays_with_why_and_what_was_sent_folds_away(open_board, board):
    page = open_board().page
    choose(page, [named("E01.jpg", photograph(1)), named("E02.jpg", photograph(2)[:1500])])
    send(page)
    expect(page.locator("[data-table]")).to_be_hidden()
    expect(told(page, "E02.jpg")).to_contain_text("is damaged or breaks off")
    expect(page.locator("[data-sum]")).to_be_visible()
    assert places(board) == {"E01.jpg": "E01"}


def test_each_has_a_small_picture_or_says_that_there_is_none(open_board, board):
    page = open_board().page
    # A photograph that lies on its side in the file, and stands upright by its EXIF.
    exif = Image.Exif()
    exif[0x0112] = 6
    lying = io.BytesIO()
    Image.new("RGB", (400, 300), (200, 30, 30)).save(lying, "JPEG", exif=exif)
    choose(
        page,
        [
            named("E01.jpg", lying.getvalue()),
            named("E02.heic", b"\0\0\0\x18ftypheic" + b"x" * 2000),
        ],
    )
    canvas = shot(page, "E01.jpg").locator("canvas")
    expect(canvas).to_be_visible()
    red = "(one) => [...one.getContext('2d').getImageData(100, 75, 1, 1).data]"
    shown = canvas.evaluate(red)
    assert shown[0] > 150 > shown[1]
    expect(shot(page, "E02.heic")).to_contain_text("no preview")


MEMORY = """() => { window.live = 0; window.most = 0;
  const make = window.createImageBitmap;
  const close = ImageBitmap.prototype.close;
  window.createImageBitmap = async (...how) => {
    live += 1; most = Math.max(most, live);
    try { return await make(...how); } catch (error) { live -= 1; throw error; }
  };
  ImageBitmap.prototype.close = function () { live -= 1; return close.call(this); };
}"""


def test_of_many_large_ones_one_at_a_time_is_decoded_and_none_kept(open_board, board):
    page = open_board(phone=True).page
    page.evaluate(MEMORY)
    picture = io.BytesIO()
    Image.effect_noise((400, 300), 60).resize((4000, 3000)).save(picture, "JPEG", quality=70)
    large = picture.getvalue()
    choose(page, [named(f"E{n:02}.jpg", large + bytes([n])) for n in range(1, 9)])
    expect(page.locator(".shot canvas")).to_have_count(8, timeout=60_000)
    assert page.evaluate("[most, live]") == [1, 0]
    sizes = page.evaluate(
        "[...document.querySelectorAll('.shot canvas')].map((one) => one.width * one.height * 4)"
    )
    assert max(sizes) == 120_000


def test_both_widths_hold_the_whole_plan(open_board, board):
    for phone in (False, True):
        reader = open_board(phone=phone)
        choose(reader.page, forty())
        width = reader.page.viewport_size["width"]
        for each in reader.page.locator(".shot").all():
            box = each.bounding_box()
            assert box["x"] >= 0
            assert box["x"] + box["width"] <= width
        reader.page.locator(".shot input").first.check()
        reader.audit()


# On a trainee's phone


def take(page, joint: str, data: bytes) -> None:
    """Tap a joint; the device's camera, which here is a chooser of files, gives a picture."""
    with page.expect_file_chooser() as chosen:
        page.locator(f"[data-take]:has-text('{joint}')").first.tap()
    chosen.value.set_files(named("image.jpg", data))


def test_a_joint_is_tapped_and_its_picture_is_that_joint_s(open_board, board):
    """Acts counted: one tap a picture, beside the camera's own button."""
    reader = open_board(who="trainee", phone=True)
    page = reader.page
    assert page.locator("[data-camera]").get_attribute("capture") == "environment"
    expect(page.locator("#board-joints")).to_be_hidden()
    for target in page.locator("[data-take]:visible").all():
        assert target.bounding_box()["height"] >= 44
    reader.audit()
    take(page, "E08", photograph(8))
    line = page.locator("#last-sending")
    expect(line).to_contain_text("1 photograph sent, to joint E08")
    assert places(board) == {"image.jpg": "E08"}
    expect(page.locator("[data-take]:has-text('E08') img")).to_be_visible()
    take(page, "E09", photograph(9))
    expect(line).to_contain_text("to joint E09")
    take(page, "The whole board", photograph(10))
    expect(line).to_contain_text("1 with the whole board")
    found = sorted(str(one.joint or "") for one in board.photos.select_related("joint__position"))
    assert found == ["", "E08", "E09"]
    # Not sharp: the last one alone is taken back.
    page.get_by_role("button", name="Take back what was sent").tap()
    expect(line).to_contain_text("to joint E09")
    assert board.photos.count() == 2
    reader.settle()
    reader.audit()


def test_taken_without_a_network_they_wait_and_go_by_themselves(open_board, board):
    page = open_board(who="trainee", phone=True).page
    page.route("**/photos/", lambda route: route.abort("connectionreset"))
    take(page, "E08", photograph(8))
    row = page.locator("[data-unsent] [data-row='image.jpg']")
    expect(row).to_contain_text("E08")
    expect(row).to_contain_text("did not arrive")
    take(page, "E09", photograph(9))
    expect(row).to_have_count(2)
    page.unroute("**/photos/")
    page.evaluate("window.dispatchEvent(new Event('online'))")
    arrived(page, 2)
    found = sorted(str(one.joint) for one in board.photos.select_related("joint__position"))
    assert found == ["E08", "E09"]


def test_without_a_script_a_tapped_joint_is_set_in_the_form(chromium, live_server, shop, board):
    context = chromium.new_context(
        java_script_enabled=False, viewport={"width": 390, "height": 844}, has_touch=True
    )
    page = context.new_page()
    page.goto(f"{live_server.url}/account/login/")
    page.fill("input[name=login]", shop.trainee.employee_number)
    page.fill("input[name=password]", factories.PASSWORD)
    page.press("input[name=password]", "Enter")
    page.goto(f"{live_server.url}/boards/{board.number}/")
    page.locator("[data-take]:has-text('E08')").tap()
    page.wait_for_url("**/?joint=*")
    page.get_by_label("From this device").set_input_files([named("a.jpg", photograph(8))])
    page.get_by_role("button", name="Add photographs").tap()
    expect(page.locator(".answers").first).to_contain_text("a.jpg is added, at joint E08.")
    page.get_by_role("button", name="Take back what was sent").tap()
    expect(page.locator("main")).to_contain_text("1 photograph is taken back.")
    assert not board.photos.exists()
    context.close()


WATCH = """() => { const input = document.querySelector("[type=file][name=photos]");
  input.addEventListener("change", () => { window.begun = performance.now(); }, true);
  new MutationObserver(() => {
    const shots = document.querySelectorAll(".shot").length;
    const ready = document.querySelectorAll(".shot[data-state=ready]").length;
    if (shots === 40 && ready === 40) window.tookMs ??= performance.now() - begun;
  }).observe(document.querySelector("[data-groups]"), { subtree: true, childList: true,
    attributes: true });
}"""


def test_the_plan_of_forty_stands_within_a_moment(open_board, board):
    """Asked once from the choice to the plan, and after that no more: files of half a megabyte."""
    page = open_board().page
    page.evaluate(WATCH)
    noise = io.BytesIO()
    Image.effect_noise((900, 600), 90).save(noise, "JPEG", quality=95)
    data = noise.getvalue()
    choose(page, [named(name, data + at.to_bytes(2)) for at, name in enumerate(NAMES)])
    assert planned(page) == TWO_EACH
    begun = time.monotonic()
    page.get_by_label("Photographs a joint").fill("4")
    assert planned(page)["IMG_4204.jpg"] == "E01"
    typed_s = time.monotonic() - begun
    plan_ms = page.evaluate("tookMs")
    print(f"{len(data) / 1e6:.2f} MB each: plan in {plan_ms:.0f} ms, typed in {typed_s:.2f} s")
