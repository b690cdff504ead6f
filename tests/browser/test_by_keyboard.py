"""The main job of each of five people without a mouse, from sign-in to what it is for."""

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from assessments.models import Board, BoardOutcome, Grading, Judgement
from assessments.services import grading as grading_service
from certification.models import Certificate, Scope
from certification.services import proposals
from certification.services.acts import Act
from people.models import Person, SiteRole, Stamp
from tests import factories
from tests.browser.conftest import Shop
from tests.browser.keyboard import Keyboard
from tests.factories import PASSWORD
from training.models import PracticeRecord

MOST_JUDGEMENTS = 40

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def trainee(shop: Shop) -> Person:
    assert shop.trainee.person is not None
    return shop.trainee.person


def sign_in(keys: Keyboard, user) -> None:
    """Number and password, which are not counted among the acts."""
    keys.open("/account/login/")
    keys.to_field("Employee number or e-mail")
    keys.type(user.employee_number)
    keys.press("Tab")
    keys.look()
    keys.type(PASSWORD)
    keys.go_on()
    keys.acts = 0


def prove(keys: Keyboard) -> None:
    """The password once more, which is not counted either; Enter sends it."""
    keys.to_field("Your password")
    keys.page.keyboard.type(PASSWORD)
    keys.go_on()


def instructor_grades_and_signs(keys: Keyboard, shop: Shop) -> None:
    """Two joints, one of which fails, from the bench to the result."""
    board = factories.make_board(
        shop.trainee.person,
        factories.make_exercise(("wire", "wire"), stages=("prepared",)),
        handed_in_at=timezone.now() - timedelta(hours=1),
    )
    other = factories.make_board(shop.trainee.person, board.exercise)
    sign_in(keys, shop.instructor)
    keys.to_content()
    keys.to_link("Grade")
    keys.go_on()
    page = keys.page
    rejected = False
    for _judgement in range(MOST_JUDGEMENTS):
        if page.locator("#go-sign").is_visible():
            break
        if page.is_visible("#by-eye summary"):
            keys.press("e")
        else:
            keys.press("a" if rejected else "r")
            rejected = True
        if page.is_visible("#reasons"):
            keys.press("1")
        keys.visitor.settle()
        saved(keys)
    keys.go_on("s")
    prove(keys)
    assert page.url.endswith(f"/boards/{board.number}/result/")
    keys.pages[2] = f"/boards/{other.number}/grade/"  # What is signed is not graded any more.
    assert BoardOutcome.objects.get(board=board).complete
    failed = Judgement.objects.get(outcome="reject")
    expect(page.locator("main")).to_contain_text(failed.joint.position.name)


def saved(keys: Keyboard) -> None:
    keys.page.wait_for_function(
        "() => !document.querySelector('.htmx-request, .htmx-swapping, .htmx-settling')"
        " && !Object.keys(localStorage).some((one) => one.startsWith('grading:'))"
    )


def quality_answers_an_auditor_and_issues(keys: Keyboard, shop: Shop) -> None:
    """Who was stamp 47 three days ago, and were they certified? Then a proposal is decided."""
    person = trainee(shop)
    today = person.site.today()
    scope = factories.make_scope(title="Splices, operator")
    Stamp.objects.create(mark="47", person=person, issued_on=today - timedelta(days=20))
    factories.make_certificate(person, scope, issued_on=today - timedelta(days=10))
    proposed = propose(shop)

    sign_in(keys, shop.quality)
    keys.to_content()
    keys.to(keys.page.locator("#who-was-that"))
    day = today - timedelta(days=3)
    keys.type(f"stamp 47 on {day:%Y-%m-%d}")
    keys.go_on()
    answer = keys.page.locator(".that-was")
    expect(answer).to_contain_text(person.full_name)
    expect(answer.get_by_role("row", name="Splices, operator")).to_contain_text("certified")

    keys.to_link("Proposals")
    keys.go_on()
    keys.to_content()
    keys.to_link(person.full_name)
    keys.go_on()
    keys.to_content()
    prove(keys)
    assert Certificate.objects.get(person=person, scope=proposed).issued_on == today


def propose(shop: Shop) -> Scope:
    """A proposal of the trainee that waits; its scope."""
    exercise, scope = factories.make_exercise(), factories.make_scope(title="Cups, operator")
    revision = factories.make_revision(scope, exercise=exercise)
    now = timezone.now()
    factories.make_passed_board(trainee(shop), exercise, grader=shop.instructor, signed_at=now)
    act = Act(actor=shop.instructor, at=now, proof="password")
    proposals.propose(person=trainee(shop), scope=scope, revision=revision, act=act)
    return scope


def operator_reads_the_card_and_why_a_joint_failed(keys: Keyboard, shop: Shop) -> None:
    person, today = shop.trainee.person, shop.trainee.person.site.today()
    scope = factories.make_scope(title="Splices, operator")
    factories.make_certificate(person, scope, issued_on=today - timedelta(days=10))
    board = failed_board(shop)

    sign_in(keys, shop.trainee)
    page = keys.page
    assert page.url.endswith("/my-card/")
    expect(page.get_by_role("heading", name="Splices, operator")).to_be_visible()
    expect(page.locator("main")).to_contain_text("until")
    keys.to_content()
    keys.to_link(board.number)
    keys.go_on()
    expect(page.locator("main")).to_contain_text("E01")


def failed_board(shop: Shop) -> Board:
    """A board whose first joint was rejected, signed."""
    board = factories.make_board(
        shop.trainee.person, factories.make_exercise(("wire",) * 2), handed_in_at=timezone.now()
    )
    joint = board.joints.order_by("position__order").first()
    grading = Grading.objects.create(
        board=board, grader=shop.instructor, criteria_set=factories.make_criteria_set()
    )
    for criterion in grading.criteria_set.criteria.all():
        for each in board.joints.all() if criterion.of == "joint" else [None]:
            rejected = each == joint and criterion.order == 1
            Judgement.objects.create(
                grading=grading,
                joint=each,
                criterion=criterion,
                stage=criterion.stage,
                outcome="reject" if rejected else "accept",
                how="at_board",
            )
    grading_service.sign_stage(
        grading=grading,
        stage="soldered",
        signer=shop.instructor,
        proof="password",
        at=timezone.now(),
    )
    return board


def lead_checks_at_the_bench_and_records_who_did_work(keys: Keyboard, shop: Shop) -> None:
    site, today = shop.trainee.person.site, shop.trainee.person.site.today()
    scope = Scope.objects.get(code="WIRE-OP")
    may = factories.make_person(site, full_name="Ada Holm", line_lead=shop.lead.person)
    factories.make_certificate(may, scope, issued_on=today - timedelta(days=10))

    sign_in(keys, shop.lead)
    page = keys.page
    assert page.url.endswith("/check/")
    keys.to(page.locator("#scope"))
    keys.type("Wire prep")
    keys.to_field("Number, stamp or name", key="Shift+Tab")
    for person, word, why in (
        (may, "Yes", "Ada Holm may do this work today."),
        (shop.trainee.person, "No", "may not do this work today."),
    ):
        keys.type(person.employee_number)
        keys.press("Enter")
        expect(page.locator("#answer")).to_contain_text(why)
        assert page.locator("#answer .word").inner_text() == word
        assert page.evaluate("document.activeElement.id") == "number"

    keys.to_link("Record practice", key="Shift+Tab")
    keys.go_on()
    keys.to_content()
    keys.to_field("Unit or work order")
    keys.type("WO-41355")
    keys.to(page.locator(".grid-row input").first)
    keys.press("p")
    keys.press("p")
    keys.go_on()
    assert "practice of 2 people" in page.evaluate("document.activeElement.innerText")
    assert PracticeRecord.objects.filter(reference="WO-41355").count() == 2


def administrator_adds_a_person_with_a_role_and_sees_health(keys: Keyboard, shop: Shop) -> None:
    site = shop.trainee.person.site
    sign_in(keys, factories.make_user("administrator", site=site, password=PASSWORD))
    page = keys.page
    keys.to_link("People")
    keys.go_on()
    keys.to_content()
    keys.to_link("Enrol somebody")
    keys.go_on()
    keys.to_content()
    keys.to_field("Employee number")
    keys.type("77001")
    keys.go_on()  # Without a name: refused, and the focus is where it is to be typed.
    assert focused(keys) == "full_name"
    keys.type("Ilka Norrgard")
    keys.go_on()
    person = Person.objects.get(employee_number="77001")
    assert page.evaluate("document.activeElement.innerText") == "Ilka Norrgard is enrolled."
    keys.to_link("Sign-in and roles")
    keys.go_on()
    keys.to_field("instructor")
    keys.press("Space")
    keys.go_on()
    assert SiteRole.objects.get(user__person=person).role == "instructor"
    keys.to_link("Health")
    keys.go_on()
    expect(page.get_by_role("heading", name="Health", level=1)).to_be_visible()


def focused(keys: Keyboard) -> str:
    return keys.page.evaluate("document.activeElement.name ?? document.activeElement.id")


JOBS: dict[str, tuple[Callable[[Keyboard, Shop], None], int]] = {
    "instructor": (instructor_grades_and_signs, 30),
    "quality manager": (quality_answers_an_auditor_and_issues, 50),
    "operator": (operator_reads_the_card_and_why_a_joint_failed, 10),
    "line lead": (lead_checks_at_the_bench_and_records_who_did_work, 55),
    "administrator": (administrator_adds_a_person_with_a_role_and_sees_health, 105),
}
"""What each does, and the most keys that it takes."""


@pytest.mark.parametrize("who", JOBS)
def test_main_job_is_done_with_the_keyboard_alone(visitor, shop, who):
    does, most = JOBS[who]
    keys = Keyboard(visitor())
    does(keys, shop)
    assert keys.acts <= most
    # What was signed or decided is not to be opened once more.
    home, *others = dict.fromkeys(path for path in keys.pages[1:] if "/sign/" not in path)
    keys.walk(home, whole=True)
    for path in others:
        keys.walk(path)
    assert not keys.faults, "\n".join(dict.fromkeys(keys.faults))
