"""What is laid beside a joint on the grading screen, in a real browser: by key, tap and offline."""

import pytest
from django.core.files.base import File

from assessments.models import Board, Judgement
from assessments.queries import board_results
from assessments.services import grading as services
from assessments.services import judgements
from tests import factories
from tests.assessments import several
from tests.browser.test_grading_screen import Bench, lay_out, picture, visitor  # noqa: F401

TABS = """() => [...document.querySelectorAll('#comparison [data-view]')]
  .filter((one) => !one.hidden && one.checkVisibility()).map((one) => one.dataset.view)"""
SIZES = """() => ['.stage .photograph', '.comparison-photo svg'].map(
  (one) => document.querySelector(one)?.getBoundingClientRect().width)"""


def photograph(board: Board) -> None:
    photo = factories.make_photo(board, board.joints.first(), stage="soldered")
    photo.original.storage.save(photo.original.name, File(picture(90)))


@pytest.fixture
def make_bench(shop, visitor):  # noqa: F811
    """A board open before its grader, with an earlier board of the same operator signed."""

    def make(**how) -> tuple[Bench, str]:
        bench = lay_out(shop, visitor(**how), joints=2, a_joint=1)
        board = bench.board
        earlier = factories.make_board(board.person, board.exercise, handed_in_at=factories.NOW)
        photograph(earlier)
        grader = factories.make_user("instructor")
        reading = services.start_grading(board=earlier, grader=grader, at=factories.NOW)
        for joint in [*board_results.joints_that_count(earlier), None]:
            for criterion in board_results.criteria_for(reading, "soldered", joint):
                judgements.judge(
                    grading=reading, criterion=criterion, joint=joint, outcome="accept",
                    seen=several.IN_HAND, at=factories.NOW,
                )  # fmt: skip
        services.sign_stage(
            grading=reading, stage="soldered", signer=grader, proof="password", at=factories.NOW
        )
        return bench, earlier.number

    return make


def shown(bench: Bench, view: str) -> None:
    """Wait until one part stands beside the joint, or none."""
    wanted = f"['{view}']" if view else "[]"
    bench.page.wait_for_function(f"() => JSON.stringify(({TABS})()) === JSON.stringify({wanted})")


def test_one_key_turns_through_what_stands_beside_and_closes_it(make_bench):
    bench, earlier = make_bench()
    asked = []
    bench.page.on("request", lambda request: asked.append(request.url))
    bench.open()
    shown(bench, "")
    assert not any("/beside/" in url for url in asked)
    bench.page.keyboard.press("c")
    shown(bench, "earlier")
    assert earlier in bench.page.inner_text("#comparison")
    bench.page.keyboard.press("c")
    shown(bench, "drawings")
    assert bench.page.locator("#comparison .drawing").count() == 2
    bench.page.keyboard.press("c")
    shown(bench, "")
    assert bench.page.locator("#comparison").is_hidden()


def test_it_follows_the_joint_and_judging_goes_on_by_the_same_keys(make_bench):
    bench, _earlier = make_bench()
    bench.open()
    bench.page.keyboard.press("c")
    shown(bench, "earlier")
    assert "E01" in bench.page.inner_text("#comparison .comparison-head")
    while bench.where()["place"] == "E01":
        bench.accept()
    bench.page.wait_for_function(
        "() => document.querySelector('#comparison .comparison-head')?.textContent.includes('E02')"
    )
    said = Judgement.objects.filter(grading__board=bench.board, joint__position__name="E01")
    assert said.count() == len(bench.board.joints.first().judgements.all()) > 0
    assert set(said.values_list("outcome", flat=True)) == {"accept"}


def test_both_pictures_come_closer_together_and_go_back(make_bench):
    bench, _earlier = make_bench()
    bench.open()
    bench.page.keyboard.press("c")
    shown(bench, "earlier")
    before = bench.page.evaluate(SIZES)
    bench.page.keyboard.press("z")
    closer = bench.page.evaluate(SIZES)
    assert closer == pytest.approx([2.5 * one for one in before])
    bench.page.keyboard.press("z")
    assert bench.page.evaluate(SIZES) == pytest.approx(before)


def test_a_place_marked_while_closer_is_the_place_that_was_pressed(make_bench):
    bench, _earlier = make_bench()
    bench.open()
    bench.page.mouse.move(1, 1)
    bench.page.keyboard.press("z")
    bench.page.click(".stage > figure", position={"x": 200, "y": 200})
    marked = bench.page.evaluate(
        """() => {
          const box = document.querySelector('.stage .mark-kept .line').getBoundingClientRect();
          const frame = document.querySelector('.stage > figure').getBoundingClientRect();
          return [box.x + box.width / 2 - frame.x, box.y + box.height / 2 - frame.y];
        }"""
    )
    assert marked == pytest.approx([200, 200], abs=2)


def test_without_the_network_it_says_so_and_judging_goes_on(make_bench):
    bench, _earlier = make_bench()
    bench.open()
    bench.page.wait_for_load_state("networkidle")
    bench.page.context.set_offline(True)
    bench.page.keyboard.press("c")
    bench.page.wait_for_selector("#comparison p")
    assert "No answer came" in bench.page.inner_text("#comparison")
    first = bench.where()["criterion"]
    bench.page.keyboard.press("n")
    assert bench.where()["criterion"] != first
    bench.page.context.set_offline(False)
    bench.settle()


def test_on_a_phone_it_is_turned_by_tap_and_nothing_runs_off_the_page(make_bench):
    bench, _earlier = make_bench(phone=True)
    bench.open()
    bench.page.tap("#show-comparison")
    shown(bench, "earlier")
    bench.page.tap("[data-shows=drawings]")
    shown(bench, "drawings")
    assert bench.page.evaluate("document.documentElement.scrollWidth") <= 390
    bench.page.tap("[data-shows='']")
    shown(bench, "")


def test_without_an_earlier_board_it_begins_with_the_drawings(shop, visitor):  # noqa: F811
    bench = lay_out(shop, visitor(), joints=2, a_joint=1)
    bench.open()
    bench.page.keyboard.press("c")
    shown(bench, "drawings")
    assert bench.page.locator("#comparison .drawing").count() == 2
    bench.page.keyboard.press("c")
    shown(bench, "")
    bench.page.click("#show-comparison")
    bench.page.click("[data-shows=earlier]")
    shown(bench, "earlier")
    assert "No earlier board of this operator" in bench.page.inner_text("#comparison")


def test_drawing_earlier_make_and_good_example_are_one_key_away_and_close_by_it(make_bench):
    bench, _earlier = make_bench()
    other = factories.make_board(
        factories.make_person(bench.board.site, full_name="Ilse Quarrington"),
        bench.board.exercise,
        handed_in_at=factories.NOW,
    )
    photograph(other)
    several.read(other, factories.make_user("instructor"))
    bench.open()
    page = bench.page
    for key, view, says in (
        ("d", "drawings", "Accept"),
        ("f", "make", "This is its first attempt."),
        ("g", "example", "Ilse Quarrington"),
    ):
        page.keyboard.press(key)
        shown(bench, view)
        assert says in page.inner_text("#comparison")
        page.keyboard.press(key)
        shown(bench, "")
    # From one to the other, each by its own key.
    page.keyboard.press("g")
    shown(bench, "example")
    page.keyboard.press("d")
    shown(bench, "drawings")
    bench.visitor.audit()
