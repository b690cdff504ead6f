"""From the bench to the photographs behind what fails most, acts counted."""

import pytest
from django.utils import timezone
from playwright.sync_api import ViewportSize

from assessments.models import Board
from assessments.services import photos
from tests import factories
from tests.assessments import several
from tests.browser.hands import Hands
from tests.browser.test_grading_screen import picture
from tests.browser.test_readings import eye_criterion

SIZES: list[ViewportSize] = [{"width": 390, "height": 844}, {"width": 1280, "height": 800}]


@pytest.fixture
def boards(shop) -> list[Board]:
    """Three boards on which E02 fails most, with a photograph of each E02."""
    at = timezone.now()
    exercise = factories.make_exercise(("turret",) * 3, pass_mark=80, title="Turret wraps")
    code = eye_criterion()
    made = []
    for number in range(3):
        board = factories.make_board(shop.trainee.person, exercise)
        photo = photos.add_photo(
            board=board,
            joint=several.joint(board, "E02"),
            stage="soldered",
            file=picture(60 * number),
            name=f"{board.number}.png",
            actor=shop.instructor,
            at=at,
        )
        photos.make_renditions(photo)
        several.read(board, shop.instructor, ("E02", code), at=at)
        made.append(board)
    return made


def test_two_acts_from_the_bench_to_the_photographs_of_what_fails_most(visitor, shop, boards):
    hands = Hands(visitor())
    page = hands.page
    hands.visitor.sign_in(shop.instructor.employee_number)
    hands.visitor.go("/bench/")
    hands.click(page.locator("main").get_by_role("link", name="What fails most"))
    first = page.locator("tbody tr").first
    assert eye_criterion() in first.inner_text().replace("\N{NON-BREAKING HYPHEN}", "-")
    hands.click(first.locator("a").first)
    assert hands.acts == 2
    thumbs = page.locator(".joints-behind .thumb img")
    assert thumbs.count() == 3
    loaded = "(one) => one.complete && one.naturalWidth > 0"
    assert all(one.evaluate(loaded) for one in thumbs.all())
    assert {one.inner_text() for one in page.locator(".joints-behind h2 a").all()} == {
        board.number for board in boards
    }
    for path in (page.url, f"{hands.visitor.address}/what-fails/?by=month"):
        page.goto(path)
        hands.visitor.settle()
        for size in SIZES:
            page.set_viewport_size(size)
            for scheme in ("light", "dark"):
                page.emulate_media(color_scheme=scheme, reduced_motion="reduce")
                hands.audit()


def test_filters_fold_on_a_phone_and_every_choice_has_room(visitor, shop, boards):
    window = visitor(phone=True)
    window.sign_in(shop.quality.employee_number)
    window.go("/what-fails/")
    assert not window.page.get_by_label("Purpose").is_visible()
    window.page.get_by_text("Filters", exact=True).tap()
    assert window.page.get_by_label("Purpose").is_visible()
    assert window.cuts_no_choice()
    window.page.get_by_label("Purpose").select_option("qualification")
    window.page.get_by_role("button", name="Show").tap()
    window.page.wait_for_url("**purpose=qualification**")
    window.settle()
    assert window.page.get_by_text("Nothing to count in these months").is_visible()
    window.audit()
