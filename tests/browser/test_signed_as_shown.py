"""Two windows on one board: before it signs, and when it judges, each is told what changed."""

import pytest

from assessments.models import Judgement, StageSigning
from assessments.queries import board_results
from assessments.services import grading as services
from assessments.services import judgements
from tests.browser.test_grading_screen import Bench, lay_out
from tests.browser.test_grading_screen import visitor as _with_photographs
from tests.factories import NOW, PASSWORD

visitor = _with_photographs


def accept_everything(board, instructor) -> None:
    grading = services.start_grading(board=board, grader=instructor, at=NOW)
    for stage in board.exercise.stages:
        for joint in [*board_results.joints_that_count(board), None]:
            for criterion in board_results.criteria_for(grading, stage, joint):
                judgements.judge(
                    grading=grading,
                    criterion=criterion,
                    joint=joint,
                    outcome=Judgement.Outcome.ACCEPT,
                    seen=judgements.Circumstances(),
                    at=NOW,
                )


@pytest.fixture
def windows(shop, visitor) -> tuple[Bench, Bench]:
    """One board before one instructor on two devices."""
    one = lay_out(shop, visitor(), joints=2, a_joint=1)
    other = Bench(visitor(), one.board)
    other.visitor.sign_in(shop.instructor.employee_number)
    return one, other


def test_an_act_queued_offline_tells_what_it_replaced(windows):
    one, other = windows
    one.open()
    other.open()
    other.page.context.set_offline(True)
    other.page.keyboard.press("a")
    other.page.wait_for_selector("#unsaved:not([hidden])")
    one.press("r")
    other.page.context.set_offline(False)
    told = other.page.wait_for_selector("#refused .notice")
    assert "was reject, judged in another window on" in told.inner_text()
    assert "now: accept." in told.inner_text()
    assert Judgement.objects.get().outcome == "accept"
    other.visitor.complaints.clear()  # Of the network that was away.
    other.visitor.audit()
    # It stays until it was read, whatever is judged or loaded meanwhile.
    other.open()
    other.page.click("#refused .notice button")
    other.page.wait_for_selector("#refused .notice", state="detached")
    other.settle()
    other.page.keyboard.press("u")
    other.settle()
    assert Judgement.objects.get().outcome == "reject"
    # What it shows by now it replaces without a word.
    other.open()
    other.press("a")
    assert other.page.locator("#refused .notice").count() == 0


def test_a_stage_changed_in_another_window_is_shown_and_not_signed(shop, windows):
    one, other = windows
    accept_everything(one.board, shop.instructor)
    sign = f"/boards/{one.board.number}/grade/sign/soldered/"
    one.visitor.go(sign)
    other.open(joint="E02", criterion="S-01")
    other.press("r")
    one.page.fill("[name=password]", PASSWORD)
    one.page.click("button[data-when-saved]")
    one.page.wait_for_selector(".changed")
    assert "What you were shown has changed since" in one.page.inner_text("main")
    assert "E02" in one.page.inner_text(".changes")
    assert one.page.inner_text(".changes del").startswith("accept")
    assert not StageSigning.objects.exists()
    one.visitor.complaints.clear()  # Of an answer that is a refusal.
    one.visitor.audit()
    one.page.fill("[name=password]", PASSWORD)
    one.page.click("button[data-when-saved]")
    one.page.wait_for_url(lambda url: "/sign/" not in url)
    assert StageSigning.objects.get().result["rejected"] == {"E02": ["S-01"]}
