"""People entered many at a time, and sign-ins opened for many, each with its entry in the trail.

The rows are written first and the trail late, since nobody else can write to it from then on.
"""

from collections.abc import Collection, Sequence
from datetime import datetime

from django.db import transaction
from django.utils.translation import gettext as _

from people.domain.employee_numbers import number_fault, number_key
from people.exceptions import PeopleError
from people.models import BadgePin, FormerEmployeeNumber, Person, User
from records.services import trail

from .people import CHANGEABLE, NUMBER_FAULT_MESSAGES, refuse_contradictions, trail_value

BATCH = 500


def enrol_people(people: Sequence[Person], at: datetime) -> list[Person]:
    """Write new people in the transaction of the caller, who records them (`record_enrolled`).

    Line leads may be among the people themselves, before or after those whom they lead.

    Raises
    ------
    PeopleError
        If a number is or was somebody else's, or what is said of somebody contradicts itself.
    """
    _refuse_numbers([person.employee_number for person in people])
    leads = [person.line_lead for person in people]
    for person, lead in zip(people, leads, strict=True):
        person.recorded_at = at
        person.line_lead = None
        refuse_contradictions(person)
        if lead is person:
            raise PeopleError(_("Nobody is their own line lead. Choose somebody else, or nobody."))
    made = Person.objects.bulk_create(people, batch_size=BATCH)
    led = []
    for person, lead in zip(made, leads, strict=True):
        if lead is not None:
            person.line_lead = lead
            led.append(person)
    Person.objects.bulk_update(led, ["line_lead"], batch_size=BATCH)
    return made


def record_enrolled(people: Sequence[Person], actor: User | str, at: datetime) -> None:
    """Write down that people were enrolled, as of each of them alone."""
    trail.record_many(
        actor=actor,
        act="person enrolled",
        items=[
            (
                person,
                {
                    "employee_number": person.employee_number,
                    **{name: trail_value(getattr(person, name)) for name in CHANGEABLE},
                },
            )
            for person in people
        ],
        at=at,
    )


def _refuse_numbers(numbers: Sequence[str]) -> None:
    """Refuse numbers that are none, stand twice, or are or were somebody's."""
    keys: set[str] = set()
    for number in numbers:
        fault = number_fault(number)
        if fault is not None:
            raise PeopleError(NUMBER_FAULT_MESSAGES[fault] % {"number": number})
        if number_key(number) in keys:
            raise PeopleError(_("The number %(number)s stands there twice.") % {"number": number})
        keys.add(number_key(number))
    for taken in _numbers_taken():
        if number_key(taken) in keys:
            raise PeopleError(
                _("%(number)s is or was somebody’s number, badge or sign-in. Give another.")
                % {"number": taken}
            )


def _numbers_taken() -> Collection[str]:
    taken = set(Person.objects.order_by().values_list("employee_number", flat=True))
    taken |= set(FormerEmployeeNumber.objects.order_by().values_list("employee_number", flat=True))
    taken |= set(User.objects.order_by().values_list("employee_number", flat=True))
    return taken | set(BadgePin.objects.exclude(badge="").values_list("badge", flat=True))


@transaction.atomic
def open_sign_ins(people: Sequence[Person], actor: User | str, at: datetime) -> list[User]:
    """Let people sign in once they have a password, which none has yet.

    Whoever has an address is sent a link to choose one; the others get theirs on paper. Everybody
    is locked by the caller, or was entered in the same transaction.

    Raises
    ------
    PeopleError
        If somebody can sign in already or has left, or an address is that of another sign-in.
    """
    there = set(User.objects.filter(person__in=people).values_list("person_id", flat=True))
    taken = {
        email.lower()
        for email in User.objects.exclude(email="").order_by().values_list("email", flat=True)
    }
    users = []
    for person in people:
        if person.pk in there:
            raise PeopleError(_("%(name)s can sign in already.") % {"name": person.full_name})
        if person.has_left(at):
            raise PeopleError(
                _("%(name)s has left, so nobody signs in as them. Change their last day first.")
                % {"name": person.full_name}
            )
        if person.email and person.email.lower() in taken:
            raise PeopleError(
                _("%(email)s is how somebody else signs in. Give another address, or none.")
                % {"email": person.email}
            )
        taken.add(person.email.lower())
        user = User(employee_number=person.employee_number, person=person, email=person.email)
        user.set_unusable_password()
        users.append(user)
    made = User.objects.bulk_create(users, batch_size=BATCH)
    trail.record_many(
        actor=actor,
        act="sign-in opened",
        items=[
            (user, {"person": person.employee_number})
            for user, person in zip(made, people, strict=True)
        ],
        at=at,
    )
    return made
