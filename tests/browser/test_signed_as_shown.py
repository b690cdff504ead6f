"""Two windows on one board: before it signs, and when it judges, each is told what changed."""

import pytest

from assessments.models import Grading, Judgement, StageSigning
from assessments.queries import board_results
from assessments.services import grading as services
from assessments.services import judgements, photos
from tests import factories
from tests.browser.test_grading_screen import Bench, lay_out, picture
from tests.browser.test_grading_screen import visitor as _with_photographs
from tests.browser.test_readings import eye_criterion
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
                    seen=judgements.Circumstances(
                        by_eye_because="far inside" if criterion.is_measured else ""
                    ),
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
    code = eye_criterion()
    one.open(joint="E01", criterion=code)
    other.open(joint="E01", criterion=code)
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
    other.open(joint="E01", criterion=code)
    other.page.click("#refused .notice button")
    other.page.wait_for_selector("#refused .notice", state="detached")
    other.settle()
    other.page.keyboard.press("u")
    other.settle()
    assert Judgement.objects.get().outcome == "reject"
    # What it shows by now it replaces without a word.
    other.open(joint="E01", criterion=code)
    other.press("a")
    assert other.page.locator("#refused .notice").count() == 0


def test_a_stage_changed_in_another_window_is_shown_and_not_signed(shop, windows):
    one, other = windows
    code = eye_criterion()
    accept_everything(one.board, shop.instructor)
    sign = f"/boards/{one.board.number}/grade/sign/soldered/"
    one.visitor.go(sign)
    other.open(joint="E02", criterion=code)
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
    assert StageSigning.objects.get().result["rejected"] == {"E02": [code]}


def class_day(shop, boards: int, stages: tuple[str, ...]) -> list:
    """Boards of which everything is accepted, some with a photograph, one with a reject."""
    factories.make_criteria_set(
        *({"code": f"{stage[0].upper()}-1", "stage": stage} for stage in stages),
        {"code": "S-2", "severity": "minor"},
    )
    exercise = factories.make_exercise(stages=stages)
    made = [factories.make_board(exercise=exercise) for _board in range(boards)]
    for place, board in enumerate(made):
        accept_everything(board, shop.instructor)
        if place < 2:
            photo = photos.add_photo(
                board=board,
                joint=board.joints.first(),
                stage="soldered",
                file=picture(place),
                name=f"E01_{place}.png",
                actor=shop.instructor,
                at=NOW,
            )
            photos.make_renditions(photo)
    return made


def test_a_class_day_is_signed_under_one_password(shop, visitor):
    boards = class_day(shop, 12, ("prepared", "formed", "soldered", "cleaned"))
    window = visitor()
    window.sign_in(shop.instructor.employee_number)
    window.go("/bench/")
    acts = 0
    window.page.click("text=Sign what is judged >> nth=0")
    acts += 1
    window.page.wait_for_url("**/sign/")
    window.settle()
    window.audit(in_each_look=True)
    assert window.page.locator("input[name=sign]:checked").count() == 48
    say = Grading.objects.get(board=boards[3])
    judgements.judge(
        grading=say,
        joint=boards[3].joints.get(position__name="E02"),
        criterion=say.criteria_set.criteria.get(code="S-1"),
        outcome="reject",
        seen=judgements.Circumstances(note="A ball at the back"),
        at=NOW,
    )
    window.page.click("[name=password]")
    acts += 1
    window.page.keyboard.type(PASSWORD)
    window.page.keyboard.press("Enter")
    acts += 1
    window.page.wait_for_selector(".is-changed .row-note")
    window.settle()
    window.complaints.clear()  # Of an answer that is a refusal.
    window.audit(in_each_look=True)
    assert not StageSigning.objects.exists()
    assert window.page.locator("input[name=sign]:checked").count() == 47
    window.page.check(".is-changed input[name=sign]")
    window.page.click("[name=password]")
    window.page.keyboard.type(PASSWORD)
    window.page.keyboard.press("Enter")
    acts += 3
    window.page.wait_for_selector("text=Signed: 48 stages.")
    window.audit(in_each_look=True)
    assert StageSigning.objects.count() == 48
    # Three where nothing changed meanwhile, and as many again where something did; two passwords.
    assert acts == 6
