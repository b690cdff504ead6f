"""The class of the day on a tablet, in a real browser: taps are counted, targets are measured."""

import re
from dataclasses import dataclass
from typing import Literal

import pytest
from playwright.sync_api import Browser, Page, Route

from assessments.content import CriteriaSetContent
from assessments.content.criteria import REVISION_1
from assessments.models import Board, Judgement, Photo
from assessments.services import grading, judgements, photos
from tests import factories
from tests.assessments import pictures, several
from tests.browser.conftest import LONGEST_MS, Shop, Visitor
from tests.browser.test_grading_screen import picture
from training.models import ClassSession, Enrolment, JointType, Stage

LEAST_PX = 44
SIZES = {"upright": (768, 1024), "lying": (1024, 768), "phone": (390, 844), "desk": (1280, 800)}
TARGETS = "#day :is(a, button, label), dialog :is(label, button)"


@pytest.fixture
def criteria_content() -> CriteriaSetContent:
    """A set in which wetting, which comes first, is judged by eye."""
    return REVISION_1


@dataclass
class Tablet:
    """A page that counts every tap on it."""

    visitor: Visitor
    session: ClassSession
    taps: int = 0

    @property
    def page(self) -> Page:
        return self.visitor.page

    def open(self) -> None:
        self.visitor.go(f"/classes/{self.session.number}/day/")

    def tap(self, selector: str) -> None:
        self.taps += 1
        self.page.locator(selector).tap()


@pytest.fixture
def boards(shop: Shop) -> list[Board]:
    """A class of two trainees with a board of three turrets each."""
    trainee = shop.trainee.person
    assert trainee is not None
    site = trainee.site
    today = site.today()
    people = (trainee, factories.make_person(site, full_name="Ferro Lindqvist"))
    session = factories.make_session(
        site, people=people, instructor=shop.instructor, starts_on=today, ends_on=today
    )
    exercise = factories.make_exercise(
        (JointType.TURRET,) * 3, stages=(Stage.PREPARED, Stage.SOLDERED), title="Turrets"
    )
    return [
        factories.make_board(person, exercise, session=session, handed_out_on=today)
        for person in people
    ]


@pytest.fixture
def tablet(chromium: Browser, live_server, shop: Shop, boards):
    """Windows of a size, with a finger; the instructor is signed in on each."""
    contexts = []

    def open_window(size: str = "upright", scheme: Literal["light", "dark"] = "light") -> Tablet:
        wide, high = SIZES[size]
        context = chromium.new_context(
            viewport={"width": wide, "height": high}, has_touch=True, color_scheme=scheme
        )
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(LONGEST_MS)
        complaints: list[str] = []
        page.on("pageerror", lambda error: complaints.append(str(error)))
        visitor = Visitor(page, live_server.url, complaints)
        visitor.sign_in(shop.instructor.employee_number)
        made = Tablet(visitor, boards[0].session)
        made.open()
        return made

    yield open_window
    for context in contexts:
        for page in context.pages:
            page.wait_for_load_state("networkidle")
        context.close()


def with_photographs(boards: list[Board], shop: Shop) -> None:
    for shade, board in enumerate(boards, start=1):
        photo = photos.add_photo(
            board=board,
            joint=board.joints.get(position__name="E02"),
            stage="soldered",
            file=picture(40 * shade),
            name=f"{board.number}.png",
            actor=shop.instructor,
            at=factories.NOW,
        )
        photos.make_renditions(photo)


def settle(page: Page) -> None:
    """Wait until what was judged is saved and what was asked for is shown."""
    page.wait_for_function(
        "() => !Object.keys(localStorage).some((one) => one.startsWith('grading:'))"
        " && !document.querySelector('.htmx-request, .htmx-swapping, .htmx-settling')"
    )
    page.wait_for_timeout(50)


def test_keys_pressed_on_the_way_to_the_next_trainee_judge_nothing_unseen(tablet, boards, shop):
    with_photographs(boards, shop)
    first, second = sorted(boards, key=lambda one: one.person.full_name)
    screen = tablet("desk")
    page = screen.page
    screen.visitor.go(
        f"/boards/{first.number}/grade/?stage=soldered&joint=E02&across={screen.session.number}"
    )
    held: list[Route] = []
    page.route(re.compile(f"/boards/{second.number}/grade/"), lambda route: held.append(route))
    for key in ("Shift+A", "e", "1"):
        page.keyboard.press(key)
    page.wait_for_function("() => document.querySelector('.htmx-request')")
    for key in "rrr":
        page.keyboard.press(key)
    assert held
    for one in held:
        one.continue_()
    page.wait_for_url(f"**/boards/{second.number}/**")
    settle(page)
    assert not Judgement.objects.filter(outcome="reject").exists()
    assert not Judgement.objects.filter(grading__board=second).exists()
    page.unroute_all()
    page.keyboard.press("r")
    settle(page)
    assert Judgement.objects.get(grading__board=second).outcome == "reject"


def test_one_position_is_judged_by_key_on_every_board_with_the_next_photograph_loaded(
    tablet, boards, shop
):
    with_photographs(boards, shop)
    screen = tablet("desk")
    page = screen.page
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.locator("#day .stage-choice input[value=soldered]").check()
    page.locator("#day .positions button:text-is('E02')").click()
    page.wait_for_url("**/grade/**across=**")
    first, second = sorted(boards, key=lambda one: one.person.full_name)
    assert f"/boards/{first.number}/" in page.url
    page.wait_for_load_state("networkidle")
    ahead = second.photos.get().key
    assert any(f"/photos/{ahead}/2048/" in url for url in asked)
    keys = 0
    while f"/boards/{first.number}/" in page.url:
        page.keyboard.press(("Shift+A", "e", "1")[keys])
        keys += 1
        settle(page)
    assert f"/boards/{second.number}/grade/?stage=soldered&joint=E02" in page.url
    assert page.locator(f"#photograph-{ahead}").is_visible()
    assert page.locator(f"#stop-{second.number}").get_attribute("aria-current") == "true"
    judged = Judgement.objects.filter(grading__board=first)
    assert judged.count() > 1
    assert {str(one.joint) for one in judged} == {"E02"}
    page.keyboard.press("ArrowLeft")
    page.wait_for_url(f"**/boards/{first.number}/**")
    settle(page)
    page.keyboard.press(" ")
    page.wait_for_url(f"**/boards/{second.number}/**")
    settle(page)
    for key in ("Shift+A", "e", "1"):
        page.keyboard.press(key)
    settle(page)
    assert page.locator("#go-open").is_hidden()
    assert Judgement.objects.filter(grading__board=second).count() == judged.count()
    screen.visitor.audit()


def judge_what_is_measured(shop: Shop, board: Board, stage: str) -> None:
    """Leave at a stage only what may be accepted with the rest."""
    reading = grading.start_grading(board=board, grader=shop.instructor, at=factories.NOW)
    for joint in board.joints.select_related("position"):
        for criterion in reading.criteria_set.for_joint(stage, joint.position.joint_type):
            if not judgements.may_go_with_the_rest(criterion):
                judgements.judge(
                    grading=reading,
                    criterion=criterion,
                    joint=joint,
                    outcome="accept",
                    seen=several.IN_HAND,
                    at=factories.NOW,
                )


def cell(board: Board, stage: str) -> str:
    return f"#cell-{board.number}-{stage}"


def test_one_tap_opens_a_stage_at_what_is_critical_and_open(tablet, boards):
    screen = tablet()
    screen.tap(f"{cell(boards[0], 'soldered')} a.open")
    screen.page.wait_for_url("**/grade/**")
    assert screen.taps == 1
    assert "stage=soldered&joint=E01&criterion=S-01" in screen.page.url
    assert screen.page.locator(".stages [aria-current]").inner_text().startswith("Soldered")


def test_one_tap_passes_a_stage_and_one_takes_it_back(tablet, boards, shop):
    judge_what_is_measured(shop, boards[0], "prepared")
    screen = tablet()
    before = Judgement.objects.count()
    screen.tap(f"{cell(boards[0], 'prepared')} .pass")
    screen.page.wait_for_selector(f"{cell(boards[0], 'prepared')}.is-to_sign")
    assert screen.taps == 1
    made = Judgement.objects.filter(with_the_rest=True)
    assert made.count() == Judgement.objects.count() - before > 0
    assert set(made.values_list("stage", flat=True)) == {"prepared"}
    screen.tap(".outcome button")
    screen.page.wait_for_selector(f"{cell(boards[0], 'prepared')}.is-open .pass")
    assert Judgement.objects.count() == before
    screen.visitor.audit()


def test_stage_passed_with_a_key_keeps_the_focus_in_its_cell(tablet, boards, shop):
    judge_what_is_measured(shop, boards[0], "prepared")
    page = tablet().page
    here = cell(boards[0], "prepared")
    page.focus(f"{here} .pass")
    page.keyboard.press("Enter")
    page.wait_for_selector(f"{here}.is-to_sign a.open:focus")
    page.locator(".outcome button").focus()
    page.keyboard.press("Enter")
    page.wait_for_selector(f"{here}.is-open .pass")
    assert page.evaluate("document.activeElement.closest('#day') !== null")


def test_no_tap_passes_what_has_something_critical(tablet, boards):
    screen = tablet()
    assert screen.page.locator(f"{cell(boards[0], 'soldered')} .pass").count() == 0
    assert "to judge:" in screen.page.inner_text(cell(boards[0], "soldered"))


def photograph(name: str = "image.jpg") -> dict:
    return {"name": name, "mimeType": "image/jpeg", "buffer": pictures.jpeg()}


def two_taps_to_the_camera(screen: Tablet, board: Board, joint: str = "E02"):
    """Tap the camera of a cell, then a joint: the browser asks for the device's camera."""
    screen.tap(f"{cell(board, 'soldered')} .take")
    with screen.page.expect_file_chooser() as asked:
        screen.tap(f"#camera .joint-tiles label:text-is('{joint}')")
    chooser = asked.value
    assert chooser.element.get_attribute("accept") == "image/*"
    assert chooser.element.get_attribute("capture") == "environment"
    return chooser


def test_two_taps_photograph_the_right_joint_at_the_right_stage(tablet, boards):
    screen = tablet()
    chooser = two_taps_to_the_camera(screen, boards[1])
    assert screen.taps == 2
    chooser.set_files(photograph())
    screen.page.wait_for_selector("#sending .is-accept")
    photo = Photo.objects.get()
    assert (photo.board_id, str(photo.joint), photo.stage) == (boards[1].pk, "E02", "soldered")
    screen.page.wait_for_selector(f"{cell(boards[1], 'soldered')} .take:has-text('1')")


def test_photograph_that_does_not_arrive_is_kept_and_sent_again(tablet, boards):
    screen = tablet()
    screen.page.context.route(re.compile("/photos/$"), lambda route: route.abort())
    two_taps_to_the_camera(screen, boards[0]).set_files(photograph())
    screen.page.wait_for_selector("#sending .is-caution")
    assert "did not arrive. It is kept here" in screen.page.inner_text("#sending")
    assert not Photo.objects.exists()
    screen.page.context.unroute(re.compile("/photos/$"))
    screen.tap("#sending button:text-is('Send again')")
    screen.page.wait_for_selector("#sending .is-accept")
    assert str(Photo.objects.get().joint) == "E02"


def test_photograph_that_may_not_be_sent_now_is_kept_with_what_the_site_says(tablet, boards):
    screen = tablet()
    says = "You are signed in to read only. Sign in fully with your password, then do it again."
    answer = {"saved": False, "says": says}
    address = re.compile("/photos/$")
    screen.page.context.route(address, lambda route: route.fulfill(status=403, json=answer))
    two_taps_to_the_camera(screen, boards[0]).set_files(photograph())
    screen.page.wait_for_selector(f"#sending .is-caution:has-text('{says}')")
    screen.page.context.unroute(address)
    screen.tap("#sending button:has-text('again')")
    screen.page.wait_for_selector("#sending .is-accept")
    assert Photo.objects.count() == 1


def test_photograph_of_which_only_the_answer_was_lost_is_said_to_be_here(tablet, boards):
    screen = tablet()
    sent_to = re.compile("/photos/$")

    def lose_the_answer(route: Route) -> None:
        route.fetch()
        route.abort()

    screen.page.context.route(sent_to, lose_the_answer)
    two_taps_to_the_camera(screen, boards[0]).set_files(photograph())
    screen.page.wait_for_selector("#sending .is-caution")
    assert str(Photo.objects.get().joint) == "E02"
    screen.page.context.unroute(sent_to)
    screen.tap("#sending button:text-is('Send again')")
    screen.page.wait_for_selector("#sending .is-none:has-text('is here already')")
    assert screen.page.locator("#sending .is-reject").count() == 0
    screen.page.wait_for_selector(f"{cell(boards[0], 'soldered')} .take:has-text('1')")
    assert Photo.objects.count() == 1


def test_file_that_is_no_photograph_is_refused_in_a_sentence(tablet, boards):
    screen = tablet()
    chooser = two_taps_to_the_camera(screen, boards[0])
    chooser.set_files({"name": "x.jpg", "mimeType": "image/jpeg", "buffer": b"no picture"})
    screen.page.wait_for_selector("#sending .is-reject")
    assert "x.jpg" in screen.page.inner_text("#sending")
    assert not Photo.objects.exists()


def test_whatever_is_tapped_is_44_px_and_nothing_overlaps_or_scrolls_sideways(tablet, boards, shop):
    judge_what_is_measured(shop, boards[0], "prepared")
    for size in SIZES:
        is_tapped_with_a_thumb(tablet(size))


def is_tapped_with_a_thumb(screen: Tablet) -> None:
    screen.page.locator(".take").first.tap()
    small = screen.page.evaluate(
        """([targets, least]) => [...document.querySelectorAll(targets)]
          .map((one) => [one.outerHTML.slice(0, 90), one.getBoundingClientRect()])
          .filter(([, box]) => box.width && (box.width < least || box.height < least))
          .map(([html, box]) => `${html}: ${box.width} x ${box.height}`)""",
        [TARGETS, LEAST_PX],
    )
    assert small == []
    outside = screen.page.evaluate(
        """() => {
          const frame = document.querySelector('#camera').getBoundingClientRect();
          return [...document.querySelectorAll('#camera label')].filter((one) => {
            const box = one.getBoundingClientRect();
            return box.left < frame.left || box.right > frame.right;
          }).length;
        }"""
    )
    assert outside == 0
    screen.page.locator("#camera form button").tap()
    overlaps = screen.page.evaluate(
        """() => {
          const boxes = [...document.querySelectorAll('#day a, #day button')]
            .map((one) => [one, one.getBoundingClientRect()]).filter(([, box]) => box.width);
          const hit = (a, b) => a.left < b.right - 1 && b.left < a.right - 1
            && a.top < b.bottom - 1 && b.top < a.bottom - 1;
          return boxes.flatMap(([one, a], n) => boxes.slice(n + 1)
            .filter(([, b]) => hit(a, b)).map(([other]) => `${one.className} ${other.className}`));
        }"""
    )
    assert overlaps == []
    screen.visitor.audit(in_each_look=True)


SCREENS_DOWN = 2


@pytest.fixture
def full_class(shop: Shop, boards) -> list[Board]:
    """The class with ten trainees more, each with a board of four stages."""
    session = boards[0].session
    exercise = factories.make_exercise(
        (JointType.TURRET,) * 10, stages=tuple(Stage), title="Turrets and tinned leads"
    )
    more = []
    for n in range(10):
        person = factories.make_person(session.site, full_name=f"Hollister-Brandt Meridew {n:02d}")
        Enrolment.objects.create(session=session, person=person)
        more.append(
            factories.make_board(person, exercise, session=session, handed_out_on=session.starts_on)
        )
    return [*boards, *more]


def test_twelve_boards_lie_on_two_screens_of_a_tablet_and_none_scrolls_sideways(
    tablet, full_class, shop
):
    judge_what_is_measured(shop, full_class[0], "prepared")
    screen = tablet("lying")
    rows = screen.page.locator(".class-board tbody tr")
    assert rows.count() == len(full_class) == 12
    end = screen.page.evaluate(
        "() => document.querySelector('.class-board').getBoundingClientRect().bottom + scrollY"
    )
    assert end <= SCREENS_DOWN * SIZES["lying"][1]
    screen.visitor.audit(in_each_look=True)


def test_what_can_be_tapped_looks_so_and_a_stage_that_offers_nothing_says_why(
    tablet, full_class, shop
):
    judge_what_is_measured(shop, full_class[0], "prepared")
    screen = tablet("lying")
    page = screen.page
    plain = page.evaluate(
        """() => [...document.querySelectorAll('#day .class-board :is(a, button)')]
          .filter((one) => one.checkVisibility()).filter((one) => {
            const style = getComputedStyle(one);
            return style.borderTopWidth === '0px' && style.textDecorationLine !== 'underline';
          }).map((one) => one.outerHTML.slice(0, 90))"""
    )
    assert plain == []
    for board in full_class:
        for stage in board.exercise.stages:
            here = page.locator(cell(board, stage))
            offers = here.locator(".pass").count() or here.locator(".is-caution").count()
            assert offers or here.locator("small").inner_text(), (board.number, stage)
    told = page.inner_text(cell(full_class[0], "soldered"))
    assert "to judge: " in told
    passed = full_class[0]
    screen.tap(f"{cell(passed, 'prepared')} .pass")
    page.wait_for_selector(f"{cell(passed, 'prepared')}.is-to_sign")
    assert page.locator("td.not-asked").first.inner_text() == "not asked for"
