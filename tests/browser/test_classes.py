"""The instructor's jobs around a class, in a real browser; clicks and keys are counted."""

from datetime import timedelta

import pytest

from assessments.models import Board
from people.presenters.days import format_day_with_weekday
from reminders.models import Message
from tests import factories
from tests.browser.conftest import PASSWORD
from tests.browser.hands import Hands
from training.models import Attendance, ClassSession, Course, Exercise

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def hands(visitor, shop) -> Hands:
    opened = visitor()
    opened.sign_in(shop.instructor.employee_number)
    return Hands(opened)


def make_class(shop, **fields) -> ClassSession:
    """A class of today in which the trainee and another prepare wires."""
    site = shop.trainee.person.site
    today = site.today()
    people = (shop.trainee.person, factories.make_person(site, full_name="Ferro Lindqvist"))
    session = factories.make_session(
        site,
        **{
            "people": people,
            "instructor": shop.instructor,
            "starts_on": today,
            "ends_on": today,
            **fields,
        },
    )
    session.course_revision = Course.objects.get(code="HS-TERM").revisions.get()
    session.save(update_fields=["course_revision"])
    return session


def test_attendance_is_taken_on_a_day_off(hands, shop):
    site = shop.trainee.person.site
    today = site.today()
    yesterday = today - timedelta(days=1)
    site.working_days = [yesterday.isoweekday()]
    site.save(update_fields=["working_days"])
    make_class(shop, starts_on=yesterday)
    hands.visitor.go("/class-day/")

    assert "is not held today" not in hands.page.inner_text("main")
    hands.link(ClassSession.objects.get().number)
    hands.audit()
    hands.link("Take attendance")
    hands.button(f"Record 2 there on {format_day_with_weekday(today)}")

    assert Attendance.objects.filter(day=today, present=True).count() == 2
    assert hands.acts == 3


def test_boards_of_a_class_handed_out_again_and_wrongly_are_put_right(hands, shop):
    session = make_class(shop)
    hands.visitor.go(f"/classes/{session.number}/")

    hands.link("Hand out boards to the class")
    hands.choose("Exercise", "Strip and tin")
    assert hands.page.get_by_label("Purpose").input_value() == "qualification"
    hands.audit()
    hands.button("Hand out boards")
    assert hands.acts == 4
    assert {board.purpose for board in Board.objects.all()} == {"qualification"}

    # Handed out to the same people once more: said first, and let be.
    hands.visitor.go(f"/boards/new/?session={session.number}&exercise=EX-WIRE")
    hands.acts = 0
    hands.button("Hand out boards")
    assert "is with the trainee already" in hands.page.inner_text("main")
    hands.audit()
    assert Board.objects.count() == 2
    hands.button("Hand out again all the same")
    assert Board.objects.count() == 4
    assert hands.acts == 2

    # A mistake after all: cancelled from the page that followed.
    hands.acts = 0
    hands.link("Made by mistake?")
    hands.audit()
    hands.type("Why", "Twice.")
    hands.button("Cancel the boards")
    assert hands.acts == 2 + len("Twice.") + 1
    assert Board.objects.cancelled().count() == 2

    # The whole day was practice.
    hands.visitor.go(f"/classes/{session.number}/day/")
    hands.acts = 0
    hands.link("Correct what boards are for, or cancel some")
    hands.type("Why", "Practice.")
    hands.choose("What they are for", "practice")
    hands.button("Correct the purpose")
    assert hands.acts == 4 + len("Practice.") + 1
    assert Board.objects.filter(purpose="practice", cancelled_at=None).count() == 2


def test_hand_in_asks_once_and_is_taken_back(visitor, shop):
    board = factories.make_board(shop.trainee.person)
    hands = Hands(visitor(phone=True))
    hands.visitor.sign_in(shop.trainee.employee_number)
    hands.visitor.go(f"/boards/{board.number}/")

    hands.link("Hand in")
    hands.audit()
    assert Board.objects.get().handed_in_at is None
    hands.button("Hand in")
    assert Board.objects.get().handed_in_at is not None
    assert hands.acts == 2
    hands.button("Give back to the trainee")
    assert Board.objects.get().handed_in_at is None
    assert hands.acts == 3


def test_back_after_a_refusal_and_success_shows_what_is_true(hands, shop):
    session = make_class(shop, people=(), places=1)
    person = shop.trainee.person
    there = f"/classes/{session.number}/"
    hands.visitor.go("/classes/")
    hands.visitor.go(there)
    hands.type("Whom to enrol", "nobody of that name")
    hands.button("Enrol")
    assert hands.page.url.endswith(there)
    assert "nobody" in hands.page.locator("#id_people").input_value()
    hands.type("Whom to enrol", person.employee_number)
    hands.button("Enrol")
    assert session.enrolments.get().person == person

    hands.page.go_back()
    hands.visitor.settle()

    shown = hands.page.inner_text("main")
    assert person.full_name in shown
    assert "The class is full" in shown
    assert hands.page.get_by_role("button", name="Enrol").count() == 0
    hands.audit()


def test_back_to_a_board_handed_in_meanwhile_offers_no_hand_in(visitor, shop):
    board = factories.make_board(shop.trainee.person)
    hands = Hands(visitor())
    hands.visitor.sign_in(shop.trainee.employee_number)
    hands.visitor.go(f"/boards/{board.number}/")
    hands.link("Hand in")
    hands.button("Hand in")

    for _step in range(2):
        hands.page.go_back()
        hands.visitor.settle()
        assert hands.page.url.endswith(f"/boards/{board.number}/")
        assert hands.page.get_by_role("link", name="Hand in", exact=True).count() == 0


def test_operator_books_the_class_for_what_ends_next_and_gives_it_back(visitor, shop):
    today = shop.trainee.person.site.today()
    scope = factories.make_scope(title="Wires, operator")
    exercise = Exercise.objects.get(code="EX-WIRE")
    factories.make_certificate(
        shop.trainee.person,
        scope,
        revision=factories.make_revision(scope, exercise=exercise),
        issued_on=today - timedelta(days=700),
    )
    day = today + timedelta(days=4)
    session = make_class(
        shop, people=(), starts_on=day, ends_on=day + timedelta(days=1), places=1, open_to="site"
    )
    opened = visitor()
    opened.sign_in(shop.trainee.employee_number)
    hands = Hands(opened)
    opened.go("/my-card/")

    hands.click(hands.page.locator(".next a.btn"))
    assert "For Wires, operator, which you hold through" in hands.page.inner_text("main")
    hands.audit()
    hands.button(f"Book a place {session.number}")
    assert hands.acts == 2
    assert "you have a place" in hands.page.inner_text("main")
    hands.audit()
    assert session.enrolments.get().person == shop.trainee.person
    [letter] = Message.objects.filter(person=shop.trainee.person)
    assert b'method="REQUEST"' in bytes(letter.raw)

    # Another one sees the class full at desk and phone, waits, and gets the place.
    other = factories.make_user(site=shop.trainee.person.site, password=PASSWORD)
    waits = visitor()
    waits.sign_in(other.employee_number)
    waits.go("/classes/to-come/")
    Hands(waits).button(f"Wait for a place {session.number}")
    assert "you wait, in place 1" in waits.page.inner_text("main")
    hands.button(f"Give it back {session.number}")
    assert hands.acts == 3
    assert session.enrolments.get().person == other.person
