"""Rework, a decision between two graders and another reading, each done once in a real browser."""

from playwright.sync_api import ViewportSize

from assessments.models import Board, CriteriaSet, Grading, ReadingRequest
from assessments.queries import board_results
from assessments.services import grading as services
from assessments.services import judgements
from tests import factories
from tests.assessments import several
from tests.browser.conftest import PASSWORD, Shop, Visitor


def make_board(shop: Shop, **fields) -> Board:
    exercise = factories.make_exercise(("turret",) * 2, pass_mark=80, **fields)
    return factories.make_board(shop.trainee.person, exercise)


def read(board: Board, grader, *rejected: str) -> Grading:
    """Judge every place with the board in hand, rejecting all of these joints, and sign."""
    grading = services.start_grading(board=board, grader=grader, at=factories.NOW)
    joints = board_results.joints_read(grading, "soldered")
    for joint in [*joints, None]:
        for criterion in board_results.criteria_for(grading, "soldered", joint):
            name = joint.position.name if joint else "board"
            judgements.judge(
                grading=grading,
                criterion=criterion,
                joint=joint,
                outcome="reject" if f"{name} {criterion.code}" in rejected else "accept",
                seen=several.IN_HAND,
                at=factories.NOW,
            )
    services.sign_stage(
        grading=grading, stage="soldered", signer=grader, proof="password", at=factories.NOW
    )
    return grading


def eye_criterion() -> str:
    """The code of a criterion that fails a turret and is judged by eye."""
    current = CriteriaSet.objects.current()[0]
    found = current.criteria.filter(stage="soldered", of="joint", how="eye", severity="major")
    return next(one.code for one in found if "turret" in one.joint_types)


MOST_JUDGEMENTS = 40
SIZES: list[ViewportSize] = [{"width": 390, "height": 844}, {"width": 1280, "height": 800}]


def look(window: Visitor) -> None:
    """Audit the page as a phone and as a desk show it."""
    for size in SIZES:
        window.page.set_viewport_size(size)
        window.audit()


def decide(window: Visitor, board: Board) -> None:
    page = window.page
    window.go(f"/boards/{board.number}/")
    page.click("main a:text-is('Decide')")
    page.wait_for_url("**/decide/")
    assert page.locator(".differs").count() == 1
    assert page.locator("text=there is no photograph of it").is_visible()
    look(window)
    assert window.cuts_no_choice()
    page.check("input[type=radio][value=reject]")
    page.fill("input[name$=-note]", "Seen from the other side.")
    page.fill("input[name=password]", PASSWORD)
    page.click("main button:text-is('Decide and sign')")
    page.wait_for_url("**/result/")
    assert "Seen from the other side." in page.inner_text("#E01")
    assert "decision where two graders differ: E01" in page.inner_text(".signings")
    look(window)


def send_back_and_inspect(window: Visitor, board: Board, code: str) -> None:
    page = window.page
    window.go(f"/boards/{board.number}/result/")
    page.click("main a:text-is('Send E01 back')")
    page.wait_for_url("**/rework/**")
    look(window)
    assert page.is_checked(f"input[value='{code}']")
    page.fill("textarea[name=reason]", "Heat the terminal first.")
    page.click("main form .btn-primary")
    page.wait_for_url("**/result/")
    assert "Heat the terminal first." in page.inner_text("section:has(#h-makes)")
    look(window)
    window.go(f"/boards/{board.number}/grade/")
    accept_all(window)
    page.click("#go-sign")
    page.fill("input[name=password]", PASSWORD)
    page.click("main form .btn-primary")
    page.wait_for_url("**/result/")
    assert "inspection of reworked joints: E01, rework 1" in page.inner_text(".signings")
    board.refresh_from_db()
    assert board.outcome.passed


def accept_all(window: Visitor) -> None:
    """Accept by key whatever is open; what is measured, by eye for a reason."""
    page = window.page
    for _judgement in range(MOST_JUDGEMENTS):
        if page.locator("#go-sign").is_visible():
            return
        page.keyboard.press("e" if page.is_visible("#by-eye summary") else "a")
        if page.is_visible("#reasons"):
            page.keyboard.press("1")
        page.wait_for_function(
            "() => !Object.keys(localStorage).some((one) => one.startsWith('grading:'))"
        )
        window.settle()
    raise AssertionError("Something stays open, however often it is accepted.")


def ask_again(window: Visitor, board: Board) -> None:
    page = window.page
    window.go(f"/boards/{board.number}/result/")
    page.click("main a:text-is('Ask for a regrading')")
    page.wait_for_url("**/another-reading/**")
    look(window)
    page.fill("textarea[name=reason]", "The light was poor.")
    page.click("main form .btn-primary")
    page.wait_for_url(lambda url: url.endswith(f"/boards/{board.number}/"))
    assert "A regrading is asked for." in page.inner_text("main")
    look(window)
    assert ReadingRequest.objects.get(board=board).reason == "The light was poor."


def test_boards_are_decided_on_sent_back_and_read_again(shop, visitor):
    colleagues = [factories.make_user("instructor") for _ in range(2)]
    differing = make_board(shop, graders=2)
    code = eye_criterion()
    read(differing, colleagues[0], f"E01 {code}")
    read(differing, colleagues[1])
    failed = make_board(shop, rework_allowed=1)
    read(failed, shop.instructor, f"E01 {code}")
    doubted = make_board(shop)
    read(doubted, colleagues[0], f"E01 {code}")

    window = visitor()
    window.sign_in(shop.instructor.employee_number)
    decide(window, differing)
    send_back_and_inspect(window, failed, code)
    own = visitor()
    own.sign_in(shop.trainee.employee_number)
    ask_again(own, doubted)
