"""From a list to a class, and from a class to its certificates, in a real browser; acts counted."""

from datetime import timedelta

import pytest
from django.utils import timezone

from certification.models import Certificate, Proposal
from people.models import Person
from tests import factories
from tests.browser.test_classes import Hands
from training.models import ClassSession, Course, Enrolment, Exercise

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

NAMES = ("Ada Brisk", "Ben Colt", "Cy Dunne", "Di Ewart", "Eli Frost", "Fay Grange")


@pytest.fixture
def hands_of(visitor):
    """Somebody at a browser, at the desk or with a phone."""

    def open_as(user, *, phone: bool = False) -> Hands:
        opened = visitor(phone=phone)
        opened.sign_in(user.employee_number)
        return Hands(opened)

    return open_as


def prove(hands: Hands) -> None:
    """The password, which is not counted among the acts."""
    hands.page.get_by_label("Your password").fill(factories.PASSWORD)


def a_class(shop, people: list[Person], exercise: Exercise) -> ClassSession:
    today = shop.trainee.person.site.today()
    session = factories.make_session(
        shop.trainee.person.site,
        people=tuple(people),
        instructor=shop.instructor,
        starts_on=today - timedelta(days=1),
        ends_on=today,
    )
    session.course_revision.lessons.create(order=1, title="Wrap", minutes=60, exercise=exercise)
    return session


def people_of(shop, names=NAMES) -> list[Person]:
    return [factories.make_person(shop.trainee.person.site, full_name=name) for name in names]


def test_six_names_go_from_months_ahead_into_a_class(hands_of, shop):
    site, today = shop.trainee.person.site, shop.trainee.person.site.today()
    scope = factories.make_scope(title="Splices, operator")
    revision = factories.make_revision(scope, validity_months=1)
    people = people_of(shop)
    for person in people:
        factories.make_certificate(
            person, scope, revision=revision, issued_on=today - timedelta(days=20)
        )
    session = factories.make_session(
        site,
        people=(people[5],),
        instructor=shop.instructor,
        starts_on=today + timedelta(days=5),
        ends_on=today + timedelta(days=5),
    )
    hands = hands_of(shop.instructor)
    hands.visitor.go("/months-ahead/")
    page = hands.page
    names_at = page.locator(".to-do").first.bounding_box()["y"]
    assert names_at < page.locator("#h-months").bounding_box()["y"]
    assert page.get_by_text("in class").first.is_visible()

    for name in NAMES[:5]:
        hands.click(page.get_by_role("checkbox", name=name))
    hands.audit()
    hands.button("Put who is ticked in a class")
    hands.audit()
    hands.click(page.get_by_role("radio"))
    hands.button("Put them in the class")

    assert "5 people are enrolled." in page.inner_text("#messages")
    assert session.enrolments.count() == 6
    assert hands.acts == 8
    page.go_back()
    page.go_back()
    assert Enrolment.objects.count() == 6


def test_class_is_planned_from_the_register_for_whoever_is_ticked(hands_of, shop):
    people_of(shop, NAMES[:2])
    hands = hands_of(shop.instructor)
    hands.visitor.go("/register/")
    page = hands.page
    for name in NAMES[:2]:
        hands.click(page.get_by_role("checkbox", name=name))
    hands.button("Put who is ticked in a class")
    hands.link("Plan one for the 2")
    hands.choose("Course", str(Course.objects.get(code="HS-TERM").revisions.get()))
    today = shop.trainee.person.site.today()
    for label in ("First day", "Last day"):
        hands.type(label, f"{today:%Y-%m-%d}")
    hands.button("Plan the class and enrol 2")

    assert ClassSession.objects.get().enrolments.count() == 2
    assert hands.acts == 2 + 1 + 1 + 2 + 22 + 1
    hands.audit()


def test_class_is_proposed_and_certified(hands_of, shop):
    """Two acts and a password propose five of six; three acts and one password issue them."""
    exercise, scope = factories.make_exercise(), factories.make_scope(title="Splices, operator")
    factories.make_revision(scope, exercise=exercise)
    people = people_of(shop)
    for person in people[:5]:
        factories.make_passed_board(
            person, exercise, grader=shop.instructor, signed_at=timezone.now()
        )
    session = a_class(shop, people, exercise)

    teaches = hands_of(shop.instructor)
    teaches.visitor.go(f"/classes/{session.number}/")
    teaches.link("Propose who meets a scheme")
    page = teaches.page
    assert page.locator("[name=ticked]:checked").count() == 5
    assert "Make and pass 1 more board" in page.inner_text("main")
    teaches.audit()
    prove(teaches)
    teaches.button("Propose who is ticked")
    assert "5 are proposed." in page.inner_text("#messages")
    assert Proposal.objects.open().count() == 5
    assert teaches.acts == 2
    teaches.audit()

    decides = hands_of(shop.quality)
    decides.visitor.go("/register/")
    page = decides.page
    assert "5 proposals wait for you to decide." in page.inner_text("main")
    decides.link("Decide")
    decides.link("Tick all 5")
    decides.audit()
    prove(decides)
    decides.button("Issue and sign what is ticked")
    assert "5 certificates are issued" in page.inner_text("#messages")
    assert Certificate.objects.filter(scope=scope).count() == 5
    assert decides.acts == 3
    decides.audit()

    page.go_back()
    assert Certificate.objects.filter(scope=scope).count() == 5


def test_back_and_a_second_press_issue_nothing_twice(hands_of, shop):
    exercise, scope = factories.make_exercise(), factories.make_scope(title="Splices, operator")
    factories.make_revision(scope, exercise=exercise)
    people = people_of(shop, NAMES[:2])
    for person in people:
        factories.make_passed_board(
            person, exercise, grader=shop.instructor, signed_at=timezone.now()
        )
    teaches = hands_of(shop.instructor)
    teaches.visitor.go("/proposals/new/?all=1")
    prove(teaches)
    teaches.button("Propose who is ticked")
    decides = hands_of(shop.quality)
    decides.visitor.go("/proposals/decide/?all=1")
    prove(decides)
    decides.button("Issue and sign what is ticked")
    decides.page.go_back()
    decides.page.wait_for_load_state("load")
    if decides.page.locator("[name=ticked]").count():
        prove(decides)
        decides.button("Issue and sign what is ticked")
        assert "decided already" in decides.page.inner_text("#messages")

    assert Certificate.objects.filter(scope=scope).count() == 2


def test_bench_says_what_to_do_now_and_for_how_long(hands_of, shop):
    person = people_of(shop, NAMES[:1])[0]
    exercise = factories.make_exercise()
    factories.make_revision(factories.make_scope(title="Splices, operator"), exercise=exercise)
    now = timezone.now()
    factories.make_passed_board(
        person, exercise, grader=shop.instructor, signed_at=now - timedelta(days=3)
    )
    board = factories.make_board(person, handed_in_at=now - timedelta(days=1))
    hands = hands_of(shop.instructor)
    hands.visitor.go("/bench/")
    lines = hands.page.locator(".boards > li")
    assert lines.count() == 2
    assert "1 meets a scheme and is not proposed" in lines.nth(0).inner_text()
    assert board.number in lines.nth(1).inner_text().replace("\u2011", "-")
    assert "about 1 min" in lines.nth(1).inner_text().replace("\u00a0", " ")
    assert "Minutes are assumed" in hands.page.inner_text("main")
    hands.audit()
    hands.click(lines.nth(0).get_by_role("link", name="Propose"))
    assert hands.page.url.endswith("/proposals/new/")
    assert hands.acts == 1


def test_line_lead_lands_on_the_bench_check_and_asks_by_name(hands_of, shop):
    scope = factories.make_scope(title="Splices, operator")
    person = people_of(shop, NAMES[:1])[0]
    factories.make_certificate(person, scope, issued_on=person.site.today())
    hands = hands_of(shop.lead, phone=True)
    hands.visitor.go("/")
    page = hands.page
    assert page.url.endswith("/check/")
    hands.choose("Work", scope.title)
    hands.type("Number, stamp or name", "brisk")
    hands.button("Check")
    page.get_by_text("Ada Brisk may do this work today.").wait_for()
    assert hands.acts == 9
    hands.audit()
