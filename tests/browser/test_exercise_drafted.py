"""From nothing to a published exercise with twenty positions, acts counted."""

from playwright.sync_api import ViewportSize

from tests.browser.conftest import PASSWORD
from tests.browser.hands import Hands
from training.models import Exercise

SIZES: list[ViewportSize] = [{"width": 390, "height": 844}, {"width": 1280, "height": 800}]
MOST_CLICKS = 25


def looked_at(hands: Hands) -> None:
    for size in SIZES:
        hands.page.set_viewport_size(size)
        for scheme in ("light", "dark"):
            hands.page.emulate_media(color_scheme=scheme, reduced_motion="reduce")
            hands.audit()


def test_an_exercise_of_twenty_positions_is_drafted_and_published(visitor, shop):
    hands = Hands(visitor())
    page = hands.page
    hands.visitor.sign_in(shop.quality.employee_number)
    hands.visitor.go("/exercises/")
    typed = 0

    def fill(field, text: str) -> None:
        nonlocal typed
        typed += len(text)
        hands.acts += len(text) + 1
        field.fill(text)

    hands.link("Begin an exercise")
    fill(page.get_by_label("Code"), "EX-OWN")
    fill(page.get_by_label("Title"), "Our own turrets")
    hands.button("Begin the draft")
    fill(page.get_by_label("What it is for"), "To wrap alike.")
    hands.click(page.get_by_label("formed"))
    hands.click(page.get_by_label("soldered"))
    looked_at(hands)
    hands.button("Save, on to the positions")
    row = page.locator(".position-rows > li").first
    fill(row.get_by_label("Positions"), "E01-E20")
    fill(row.get_by_label("AWG"), "22")
    fill(row.get_by_label("Strands"), "19/34")
    looked_at(hands)
    hands.button("Save, on to the steps")
    step = page.locator(".step-rows > li").first
    hands.acts += 2
    step.get_by_label("Stage").select_option("soldered")
    fill(step.get_by_label("What to do"), "Heat both.")
    looked_at(hands)
    hands.button("Save, and look at it whole")
    looked_at(hands)
    hands.link("Publish it")
    fill(page.get_by_label("Why"), "Tried.")
    fill(page.get_by_label("Your password"), PASSWORD)
    looked_at(hands)
    hands.button("Publish what is ticked")

    exercise = Exercise.objects.current().get(code="EX-OWN")
    assert exercise.positions.count() == 20
    assert exercise.steps.get().stage == "soldered"
    clicks = hands.acts - typed
    assert clicks <= MOST_CLICKS, clicks
    print(f"{hands.acts} acts, {clicks} of them clicks")
