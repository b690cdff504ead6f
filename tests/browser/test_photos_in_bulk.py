"""Forty photographs dropped at once in a real browser: some bad, some twice, and no network."""

import threading

import pytest
from django.contrib.sessions.models import Session
from PIL import Image
from PIL.ExifTags import IFD
from playwright.sync_api import expect

from assessments.models import Photo
from people.middleware import tablets
from tests import factories
from tests.assessments import pictures
from tests.browser.test_grading_screen import visitor as _with_photographs
from training.models import JointType

visitor = _with_photographs

JOINTS = 18
CAMERA_TIME = 0x9003


def photograph(number: int) -> bytes:
    """A small picture unlike any other, taken so many seconds after the first."""
    exif = Image.Exif()
    exif.get_ifd(IFD.Exif)[CAMERA_TIME] = f"2026:03:05 14:{number // 60:02}:{number % 60:02}"
    picture = pictures.quadrants(320, 240)
    picture.putpixel((number, 0), (255, 255, 255))
    return pictures.encoded(picture, exif=exif.tobytes(), quality=95)


def named(name: str, data: bytes) -> dict:
    kind = "image/png" if name.endswith("png") else "image/jpeg"
    return {"name": name, "mimeType": kind, "buffer": data}


def drop_of_forty() -> list[dict]:
    """Two photographs a joint, a copy, one cut off, a web page, and a camera's count."""
    files = [
        named(f"E{joint:02}_{view}.jpg", photograph(2 * joint + view))
        for joint in range(1, JOINTS + 1)
        for view in (1, 2)
    ]
    files += [
        named("copy of E01.jpg", photograph(3)),
        named("E02 cut off.jpg", photograph(90)[:2000]),
        named("E03 page.jpg", b"<!doctype html><script>alert(1)</script>"),
        named("IMG_0003.jpg", photograph(91)),
    ]
    assert len(files) == 40
    return files


@pytest.fixture
def board(shop):
    exercise = factories.make_exercise((JointType.TURRET,) * JOINTS)
    return factories.make_board(shop.trainee.person, exercise=exercise)


@pytest.fixture
def open_board(shop, visitor, board):
    def open_it(*, phone: bool = False):
        instructor = visitor(phone=phone)
        instructor.sign_in(shop.instructor.employee_number)
        instructor.go(f"/boards/{board.number}/")
        return instructor

    return open_it


def choose(page, files: list[dict]) -> None:
    page.get_by_label("From this device").set_input_files(files)
    expect(page.locator("[data-state='looking']")).to_have_count(0)


def shot(page, name: str):
    """A photograph in the plan."""
    return page.locator(".shot", has=page.get_by_text(name, exact=True))


def told(page, name: str):
    """What is said of a photograph below the plan."""
    return page.locator(f"[data-unsent] [data-row='{name}']")


PLAN = """() => Object.fromEntries([...document.querySelectorAll(".joint-plan")].flatMap((group) =>
  [...group.querySelectorAll(".drop-name")].map((name) =>
    [name.textContent, group.querySelector("h3").textContent])))"""


def planned(page) -> dict[str, str]:
    """Where each photograph of the plan stands, by the headings of the joints."""
    return page.evaluate(PLAN)


def tick(page, *names: str) -> None:
    for name in names:
        shot(page, name).locator("input").check()


def move(page, name: str, to: str) -> None:
    tick(page, name)
    page.get_by_label("To", exact=True).select_option(label=to)
    shot(page, name).locator("input").uncheck()


def arrived(page, count: int) -> None:
    expect(page.locator("[data-sum]")).to_contain_text(f"{count} added", timeout=60_000)


def settled(page) -> None:
    busy = "[data-state='waiting'], [data-state='sending'], [data-state='checked']"
    expect(page.locator(busy)).to_have_count(0, timeout=60_000)


def places(board) -> dict[str, str]:
    found = board.photos.select_related("joint__position")
    return {one.original_name: str(one.joint or "") for one in found}


COUNTING = """() => {
  window.sent = { total: 0, now: 0, most: 0 };
  const { open, send } = XMLHttpRequest.prototype;
  XMLHttpRequest.prototype.open = function (...how) {
    this.addEventListener("loadend", () => { sent.now -= 1; });
    return open.apply(this, how);
  };
  XMLHttpRequest.prototype.send = function (body) {
    sent.total += 1;
    sent.now += 1;
    sent.most = Math.max(sent.most, sent.now);
    return send.call(this, body);
  };
}"""


def test_forty_are_listed_sorted_and_sent_and_a_bad_one_stops_no_other(open_board, board):
    instructor = open_board()
    page = instructor.page
    page.evaluate(COUNTING)
    choose(page, drop_of_forty())
    assert not board.photos.exists()
    plan = planned(page)
    assert len(plan) == 38
    assert plan["E07_2.jpg"] == "E07"
    assert plan["IMG_0003.jpg"] == "the whole board"
    assert "is the same file as E01_1.jpg" in told(page, "copy of E01.jpg").inner_text()
    assert "is a web page" in told(page, "E03 page.jpg").inner_text()
    move(page, "IMG_0003.jpg", "E05")
    tick(page, "E18_2.jpg")
    page.get_by_role("button", name="Leave out").click()
    assert planned(page)["IMG_0003.jpg"] == "E05"
    assert planned(page)["E18_2.jpg"] == "Left out"
    instructor.audit()
    page.get_by_role("button", name="Send 37 photographs").click()
    settled(page)
    arrived(page, 36)
    assert "is damaged or breaks off" in told(page, "E02 cut off.jpg").inner_text()
    assert page.locator("[data-sum]").inner_text() == (
        "40 photographs, 36 added, 1 here already, 2 refused, 1 left out."
    )
    kept = places(board)
    assert len(kept) == 36
    assert kept.pop("IMG_0003.jpg") == "E05"
    assert all(name[:3] == joint for name, joint in kept.items())
    of_one = board.photos.filter(joint__position__name="E09").order_by("order")
    assert [one.original_name for one in of_one] == ["E09_1.jpg", "E09_2.jpg"]
    assert page.evaluate("sent") == {"total": 37, "now": 0, "most": 2}
    expect(page.locator(".thumbs img")).to_have_count(36)
    page.wait_for_load_state("networkidle")
    assert [one for one in instructor.complaints if "422" not in one] == []
    instructor.complaints.clear()  # The browser remarks on every refusal by itself.
    instructor.audit()


def test_a_network_that_fails_in_the_middle_loses_nothing_and_doubles_nothing(open_board, board):
    instructor = open_board()
    page = instructor.page
    fail = threading.Event()
    reached = {"count": 0}

    def network(route):
        reached["count"] += 1
        if reached["count"] > 12:
            fail.set()
        if not fail.is_set():
            route.continue_()
        elif reached["count"] % 2:
            route.abort("connectionreset")
        else:
            # What arrives although its answer does not is the worst a network can do.
            route.fetch()
            route.abort("connectionreset")

    page.route("**/photos/", network)
    choose(page, drop_of_forty())
    page.get_by_role("button", name="Send 38 photographs").click()
    expect(page.locator("[data-sum]")).to_contain_text("Sending stopped.", timeout=60_000)
    expect(page.locator("[data-state='sending'], [data-state='checked']")).to_have_count(0)
    failed = page.locator("[data-unsent] [data-state='failed']")
    assert 1 <= failed.count() <= 2
    assert "did not arrive" in failed.first.inner_text()
    waiting = page.locator(".shot[data-state='waiting']").count()
    assert waiting >= 20
    instructor.complaints.clear()
    instructor.audit()
    fail.clear()
    page.unroute("**/photos/")
    page.get_by_role("button", name="Try again").first.click()
    settled(page)
    rest = page.locator("[data-send]")
    if rest.is_visible():
        rest.click()
    settled(page)
    expect(page.locator("[data-sum]")).to_contain_text("2 refused")
    assert board.photos.count() == 37
    assert board.photos.values("sha256").distinct().count() == 37


def test_after_a_reload_the_whole_drop_goes_in_again_without_doubling(open_board, board):
    instructor = open_board()
    page = instructor.page
    page.route("**/photos/", lambda route: route.abort("connectionreset"))
    page.route("**/photos/", lambda route: route.continue_(), times=9)
    choose(page, drop_of_forty())
    page.get_by_role("button", name="Send 38 photographs").click()
    expect(page.locator("[data-sum]")).to_contain_text("Sending stopped.", timeout=60_000)
    expect(page.locator("[data-state='sending'], [data-state='checked']")).to_have_count(0)
    page.unroute("**/photos/")
    page.on("dialog", lambda dialog: dialog.accept())
    page.reload(wait_until="networkidle")
    there = board.photos.count()
    assert 7 <= there <= 9
    notice = page.locator("[data-left]")
    assert "Sending broke off before." in notice.inner_text()
    assert "E18_2.jpg" in notice.inner_text()
    instructor.complaints.clear()
    instructor.audit()
    page.evaluate(COUNTING)
    choose(page, drop_of_forty())
    assert notice.is_hidden()
    # The web page and the copy are told at once; the one cut off only when it has arrived.
    page.get_by_role("button", name=f"Send {38 - there} photographs").click()
    settled(page)
    arrived(page, 37 - there)
    assert page.evaluate("sent.total") == 38 - there
    assert board.photos.count() == 37
    page.reload(wait_until="networkidle")
    assert notice.is_hidden()


def test_in_the_order_taken_so_many_go_to_each_joint(open_board, board):
    page = open_board().page
    page.get_by_label("They show").select_option(label="joint after joint, in the order taken")
    page.get_by_label("Photographs a joint").fill("2")
    page.get_by_label("Beginning at joint").select_option(label="E02")
    files = [named(f"IMG_{90 - number}.jpg", photograph(number)) for number in range(6)]
    choose(page, files)
    assert planned(page) == dict(
        zip(
            [f"IMG_{number}.jpg" for number in (90, 89, 88, 87, 86, 85)],
            ("E02", "E02", "E03", "E03", "E04", "E04"),
            strict=True,
        )
    )
    expect(page.locator("[data-sum]")).to_contain_text(
        "By the clock IMG_90.jpg comes before IMG_89.jpg, by their names after it"
    )
    page.get_by_label("They show").select_option(
        label="joint after joint, in the order of their names"
    )
    assert planned(page)["IMG_85.jpg"] == "E02"
    page.get_by_role("button", name="Send 6 photographs").click()
    settled(page)
    names = [f"IMG_{number}.jpg" for number in range(85, 91)]
    assert places(board) == dict(
        zip(names, ("E02", "E02", "E03", "E03", "E04", "E04"), strict=True)
    )


def test_on_a_phone_they_are_chosen_and_sent_by_tap(open_board, board):
    visitor = open_board(phone=True)
    page = visitor.page
    choose(page, [named("E01.jpg", photograph(1)), named("E02.jpg", b"")])
    visitor.audit()
    for target in page.locator(".drop .btn:visible, .drop select:visible").all():
        assert target.bounding_box()["height"] >= 44
    page.get_by_role("button", name="Send 1 photograph").tap()
    settled(page)
    assert "E02.jpg is empty" in told(page, "E02.jpg").inner_text()
    assert places(board) == {"E01.jpg": "E01"}


FORESEE = "**/photos/foresee/"
UNASKED = "Where they go could not be asked: try again"
EARLIER_SERVERS_WORD = {"says": "That cannot be read. Open the board anew."}


@pytest.mark.parametrize("how", ["no network", "refused", "no answer of the site's"])
def test_where_they_go_is_asked_again_before_anything_is_sent(open_board, board, how):
    instructor = open_board()
    page = instructor.page

    def answer(route):
        if how == "no network":
            route.abort("connectionreset")
        elif how == "refused":
            route.fulfill(status=422, json=EARLIER_SERVERS_WORD)
        else:
            route.fulfill(status=502, content_type="text/html", body="<h1>Bad gateway</h1>")

    page.route(FORESEE, answer)
    choose(page, [named(f"E0{n}.jpg", photograph(n)) for n in (1, 2, 3)])
    says = EARLIER_SERVERS_WORD["says"] if how == "refused" else UNASKED
    expect(page.locator("[data-sum]")).to_contain_text(says)
    expect(page.locator("[data-state='unasked']")).to_have_count(3)
    assert page.locator("[data-send]").is_hidden()
    instructor.complaints.clear()
    instructor.audit()
    # Whoever says it by hand need not ask.
    move(page, "E03.jpg", "the whole board")
    page.unroute(FORESEE)
    page.locator("[data-ask]").click()
    expect(page.locator("[data-state='ready']")).to_have_count(3)
    assert page.locator("[data-ask]").is_hidden()
    expect(page.locator("[data-sum]")).to_have_text("3 photographs, 3 to send.")
    page.get_by_role("button", name="Send 3 photographs").click()
    arrived(page, 3)
    assert places(board) == {"E01.jpg": "E01", "E02.jpg": "E02", "E03.jpg": ""}


def test_where_they_go_is_asked_again_by_itself_once_the_network_is_back(open_board, board):
    page = open_board().page
    page.route(FORESEE, lambda route: route.abort("connectionreset"))
    choose(page, [named(f"E0{n}.jpg", photograph(n)) for n in (1, 2)])
    expect(page.locator("[data-state='unasked']")).to_have_count(2)
    page.unroute(FORESEE)
    page.evaluate("window.dispatchEvent(new Event('online'))")
    expect(page.locator("[data-state='ready']")).to_have_count(2)
    assert planned(page) == {"E01.jpg": "E01", "E02.jpg": "E02"}


def test_what_arrived_though_the_answer_says_otherwise_is_recognised(open_board, board):
    """A bare 400 comes of a session that got another key meanwhile; the photograph is in."""
    page = open_board().page
    stored = []

    def interrupt(route):
        stored.append(route.fetch().status)
        route.fulfill(status=400, content_type="text/html", body="<h1>Bad Request (400)</h1>")

    page.route("**/photos/", interrupt, times=1)
    choose(page, [named("E01.jpg", photograph(1))])
    page.get_by_role("button", name="Send 1 photograph").click()
    expect(told(page, "E01.jpg")).to_contain_text("could not take it in just now")
    assert stored == [200]
    page.get_by_role("button", name="Try again").click()
    expect(told(page, "E01.jpg")).to_contain_text("is here already")
    assert board.photos.count() == 1


def test_a_site_that_is_busy_is_sent_it_again_without_a_word(open_board, board):
    page = open_board().page
    asked = []

    def busy(route):
        asked.append(route.request.method)
        route.fulfill(
            status=503,
            headers={"Retry-After": "1", "Content-Type": "application/json"},
            body='{"says": "The site is looking at other large photographs."}',
        )

    page.route("**/photos/", busy, times=2)
    choose(page, [named("E01_1.jpg", photograph(1))])
    page.get_by_role("button", name="Send 1 photograph").click()
    settled(page)
    assert asked == ["POST", "POST"]
    arrived(page, 1)
    assert board.photos.count() == 1


def test_what_the_site_says_to_a_refusal_is_said(open_board, board, shop):
    page = open_board().page
    choose(page, [named("E01.jpg", photograph(1))])
    for_looking(page)
    page.get_by_role("button", name="Send 1 photograph").click()
    expect(told(page, "E01.jpg")).to_contain_text(LOOKING)
    choose(page, [named("E02.jpg", photograph(2))])
    expect(page.locator("[data-sum]")).to_contain_text(LOOKING)
    expect(shot(page, "E02.jpg")).to_have_attribute("data-state", "unasked")
    assert not board.photos.exists()


LOOKING = "You are signed in to read only. Sign in fully with your password, then do it again."


def for_looking(page) -> None:
    """The session as if badge and PIN had opened it since the page came."""
    [cookie] = [one for one in page.context.cookies() if one["name"] == "sessionid"]
    session = Session.objects.get(session_key=cookie["value"])
    data = session.get_decoded() | {tablets.SESSION_READ_ONLY: True}
    Session.objects.filter(pk=session.pk).update(session_data=Session.objects.encode(data))


def sign_in_beside(page, user) -> None:
    """Sign in in the window that the notice opens, and close it."""
    with page.context.expect_page() as opened:
        page.get_by_role("link", name="Sign in in another window").click()
    other = opened.value
    other.fill("input[name=login]", user.employee_number)
    other.fill("input[name=password]", factories.PASSWORD)
    other.press("input[name=password]", "Enter")
    other.wait_for_url("**/boards/*/")
    other.wait_for_load_state("networkidle")
    other.close()


def test_somebody_signed_out_meanwhile_signs_in_and_goes_on(open_board, board, shop):
    instructor = open_board()
    page = instructor.page
    choose(page, [named("E01.jpg", photograph(1)), named("E02.jpg", photograph(2))])
    page.context.clear_cookies(name="sessionid")
    page.get_by_role("button", name="Send 2 photographs").click()
    notice = page.locator("[data-signed-out]")
    expect(notice).to_contain_text("You are signed out.")
    expect(told(page, "E01.jpg")).to_contain_text("waits in this list until you are signed in")
    assert planned(page) == {"E01.jpg": "E01", "E02.jpg": "E02"}
    assert not Photo.objects.exists()
    # Signing in in another window gives the session another key and the forms another token.
    sign_in_beside(page, shop.instructor)
    page.evaluate("window.dispatchEvent(new Event('focus'))")
    arrived(page, 2)
    assert notice.is_hidden()
    assert places(board) == {"E01.jpg": "E01", "E02.jpg": "E02"}


def test_what_one_person_chose_is_not_sent_in_another_s_name(open_board, board, shop):
    page = open_board().page
    choose(page, [named("E01.jpg", photograph(1))])
    page.context.clear_cookies(name="sessionid")
    page.get_by_role("button", name="Send 1 photograph").click()
    notice = page.locator("[data-signed-out]")
    expect(notice).to_be_visible()
    sign_in_beside(page, shop.trainee)
    page.get_by_role("button", name="I have signed in").click()
    expect(notice).to_contain_text("Somebody else is signed in now")
    assert not Photo.objects.exists()
    page.context.clear_cookies(name="sessionid")
    sign_in_beside(page, shop.instructor)
    page.get_by_role("button", name="I have signed in").click()
    arrived(page, 1)
    assert Photo.objects.get().added_by == shop.instructor


def test_signed_out_before_it_is_known_where_they_go_they_stay_chosen(open_board, board, shop):
    instructor = open_board()
    page = instructor.page
    page.context.clear_cookies(name="sessionid")
    choose(page, [named("E01.jpg", photograph(1))])
    expect(page.locator("[data-signed-out]")).to_be_visible()
    expect(shot(page, "E01.jpg")).to_have_attribute("data-state", "unasked")
    instructor.sign_in(shop.instructor.employee_number)
    page.get_by_role("button", name="I have signed in").click()
    expect(shot(page, "E01.jpg")).to_have_attribute("data-state", "ready")
    assert planned(page) == {"E01.jpg": "E01"}


def test_without_a_script_one_form_takes_them_all(chromium, live_server, shop, board):
    context = chromium.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(f"{live_server.url}/account/login/")
    page.fill("input[name=login]", shop.instructor.employee_number)
    page.fill("input[name=password]", factories.PASSWORD)
    page.press("input[name=password]", "Enter")
    page.goto(f"{live_server.url}/boards/{board.number}/")
    page.get_by_label("From this device").set_input_files(drop_of_forty())
    page.get_by_role("button", name="Add photographs").click()
    expect(page.locator(".answers li")).to_have_count(40)
    assert board.photos.count() == 37
    said = page.locator(".answers").first.inner_text()
    assert "copy of E01.jpg is here already, at joint E01 as E01_1.jpg" in said
    assert "E03 page.jpg is a web page" in said
    context.close()
