"""People who book a place in a class themselves, and give it back."""

from datetime import date, datetime, timedelta

from django.db import transaction
from django.utils.translation import gettext as _

from people.models import Person, User
from people.presenters.days import format_day_with_weekday
from people.services.people import lock_people
from training.exceptions import TrainingError
from training.models import ClassSession, Enrolment, WaitingPlace

from . import courses, waiting
from .class_lock import lock_session


def last_day_to_book(session: ClassSession) -> date:
    """The last day on which people book a place and give it back, at the site of the class."""
    return session.starts_on - timedelta(days=session.book_until_days)


def is_open_to(session: ClassSession, person: Person) -> bool:
    """Whether somebody may book a place, as far as it depends on where they are."""
    if session.open_to == ClassSession.OpenTo.SITE:
        return session.site_id == person.site_id
    return session.open_to == ClassSession.OpenTo.ALL


@transaction.atomic
def book_place(*, session: ClassSession, person: Person, actor: User, at: datetime) -> Enrolment:
    """Take a place in a class; whoever has one keeps it, so a second press changes nothing.

    Raises
    ------
    TrainingError
        If the class is full, cancelled or not open to them, or it is too late.
    InAnotherClass
        If they are in another class on the same days.
    """
    session, person = _lock(session, person)
    enrolment = session.enrolments.filter(person=person).first()
    if enrolment is None:
        _refuse_booking(session, person, at)
        if session.enrolments.count() >= session.places:
            raise TrainingError(
                _("The last place is taken. You can wait for one that is given back.")
            )
        [enrolment] = courses.enrol_people(
            session=session, people=[person], actor=actor, at=at, overlaps=[]
        )
    return enrolment


@transaction.atomic
def book_waiting(
    *, session: ClassSession, person: Person, actor: User, at: datetime
) -> WaitingPlace | None:
    """Wait for a place in a class that is full; None where they are in it already.

    Raises
    ------
    TrainingError
        As `book_place`, and if there is a place free.
    """
    session, person = _lock(session, person)
    if session.enrolments.filter(person=person).exists():
        return None
    waits = session.waiting_places.filter(person=person).first()
    if waits is None:
        _refuse_booking(session, person, at)
        [waits] = waiting.wait_for_place(session=session, people=[person], actor=actor, at=at)
    return waits


@transaction.atomic
def give_back(*, session: ClassSession, person: Person, actor: User, at: datetime) -> None:
    """Give back a place, or one on the waiting list; who has waited longest gets it.

    Raises
    ------
    TrainingError
        If they have none, it is too late, or attendance was taken.
    """
    session = waiting.lock_with_waiting(session, [person.pk])
    waits = session.waiting_places.filter(person=person).first()
    if waits is not None:
        waiting.stop_waiting(waiting=waits, actor=actor, at=at)
        return
    enrolment = session.enrolments.select_related("person").filter(person=person).first()
    if enrolment is None:
        raise TrainingError(
            _("You have no place in %(number)s any more.") % {"number": session.number}
        )
    if session.site.today(at) > last_day_to_book(session):
        raise TrainingError(
            _("Places were given back until %(day)s. Tell your instructor that you cannot come.")
            % {"day": format_day_with_weekday(last_day_to_book(session))}
        )
    courses.cancel_enrolment(enrolment=enrolment, actor=actor, at=at)


def _lock(session: ClassSession, person: Person) -> tuple[ClassSession, Person]:
    """Both as they are once nobody else changes them: somebody may have moved meanwhile."""
    lock_people([person.pk])
    return lock_session(session), Person.objects.get(pk=person.pk)


def _refuse_booking(session: ClassSession, person: Person, at: datetime) -> None:
    if session.cancelled_at is not None:
        raise TrainingError(
            _("%(number)s is cancelled. Choose another class.") % {"number": session.number}
        )
    if not is_open_to(session, person):
        raise TrainingError(_("This class is not open to you. Ask your instructor for a place."))
    if session.site.today(at) > last_day_to_book(session):
        raise TrainingError(
            _("Places were booked until %(day)s. Ask your instructor for one.")
            % {"day": format_day_with_weekday(last_day_to_book(session))}
        )
