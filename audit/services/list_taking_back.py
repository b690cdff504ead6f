"""What undoing a list writes: facts withdrawn, changes changed back, sign-ins closed, people gone.

In the transaction of whoever undoes it; nothing is deleted.
"""

from datetime import date, datetime, timedelta
from typing import Any

from audit.queries.list_undoing import Undoing
from certification.services.acts import Act
from certification.services.events import withdraw_certificate
from people.models import FormerEmployeeNumber, Person
from people.services.moves import withdraw_move
from people.services.people import change_person, lock_people, refuse_last_administrators
from people.services.sign_ins import set_sign_in_active
from people.services.stamps import return_stamp
from training.services.facts import withdraw_practice, withdraw_vision_test


def lock_concerned(undoing: Undoing, at: datetime) -> None:
    """Lock everybody of whom something is undone, before anything is decided on.

    Roles come next, before anything is written down, as for whoever gives them.
    """
    lock_people(undoing.concerned())
    refuse_last_administrators(
        [person for person, values in undoing.changes if values.get("left_on")], at
    )


def withdraw_facts(undoing: Undoing, act: Act) -> None:
    """Withdraw certificates, tests and work, each under a signature by one proof."""
    common: dict[str, Any] = {
        "reason": act.reason,
        "actor": act.actor,
        "at": act.at,
        "proof": act.proof,
    }
    for certificate in undoing.certificates:
        withdraw_certificate(certificate=certificate, act=act)
    for test in undoing.tests:
        withdraw_vision_test(vision_test=test, **common)
    for practice in undoing.practice:
        withdraw_practice(practice=practice, **common)


def take_back(undoing: Undoing, act: Act) -> list[int]:
    """Take back what was said of people; return who was entered and has left by it."""
    who: dict[str, Any] = {"actor": act.actor, "at": act.at}
    for stamp in undoing.stamps:
        return_stamp(stamp=stamp, returned_on=stamp.issued_on, **who)
    for move in undoing.moves:
        withdraw_move(membership=move, reason=act.reason, **who)
    for person, values in undoing.changes:
        change_person(person=person, was_entered_in_error=True, **who, **_typed(values))
    for user in undoing.sign_ins:
        set_sign_in_active(user=user, active=False, **who)
    for person in undoing.people:
        change_person(person=person, **who, **_gone_before(person, act.at))
    return [person.pk for person in undoing.people]


def _typed(values: dict[str, Any]) -> dict[str, Any]:
    """Particulars as `Person` has them, of what the result of a list keeps."""
    typed: dict[str, Any] = {}
    for name, value in values.items():
        if name in ("started_on", "left_on"):
            typed[name] = date.fromisoformat(value) if value else None
        elif name == "line_lead":
            typed[name] = _with_number_then(value) if value else None
        else:
            typed[name] = value
    return typed


def _with_number_then(number: str) -> Person | None:
    """Whose number it was when the list was taken in, also if they have another by now."""
    former = FormerEmployeeNumber.objects.select_related("person")
    kept = former.filter(employee_number=number).first()
    return Person.objects.with_number(number) or (kept.person if kept else None)


def _gone_before(person: Person, at: datetime) -> dict[str, Any]:
    """The days of somebody who was never here: the last is yesterday, and no first comes later."""
    yesterday = person.site.today(at) - timedelta(days=1)
    days: dict[str, Any] = {"left_on": yesterday}
    if person.started_on and person.started_on > yesterday:
        days["started_on"] = yesterday
    return days
