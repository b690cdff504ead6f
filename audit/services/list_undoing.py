"""Undoing a list within a day: facts are withdrawn, nothing is deleted, what was used stays."""

from datetime import date, datetime, timedelta
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from audit.exceptions import ListChanged, ListRefused
from audit.models import PeopleList
from audit.queries.list_bringers import Bringer
from audit.queries.list_undoing import Undoing, plan_undoing
from certification.services.acts import Act
from certification.services.events import withdraw_certificate
from people.models import FormerEmployeeNumber, Person, User
from people.services.moves import withdraw_move
from people.services.people import change_person, lock_people, refuse_last_administrators
from people.services.sign_ins import set_sign_in_active
from people.services.stamps import return_stamp
from records.services import trail
from training.services.facts import withdraw_practice, withdraw_vision_test


@transaction.atomic
def undo(
    *,
    people_list: PeopleList,
    bringer: Bringer,
    actor: User,
    reason: str,
    proof: str,
    shown: str,
    at: datetime,
) -> PeopleList:
    """Undo what a list made and nobody has used since.

    Certificates, vision tests and work are withdrawn, each under a signature by one proof; changes
    are changed back, sign-ins closed, and people who were entered by mistake have left.

    Raises
    ------
    ListRefused
        If its day is over, it was undone before, or no reason is given.
    ListChanged
        If something was used since the page was shown; nothing was undone.
    """
    people_list = PeopleList.objects.select_for_update().get(pk=people_list.pk)
    if not people_list.may_be_undone(at):
        raise ListRefused(_("A list is undone once, within a day of being taken in."))
    if not reason.strip():
        raise ListRefused(_("Say why it is undone: it stands with whatever is withdrawn."))
    _lock_all(plan_undoing(people_list, bringer, at))
    undoing = plan_undoing(people_list, bringer, at)
    if undoing.digest() != shown:
        raise ListChanged(
            _(
                "Something of this list has been used since you were shown it, so nothing was "
                "undone. Read it as it is now, then go on."
            )
        )
    # Roles are locked before anything is written down, as whoever gives them does.
    refuse_last_administrators(
        [person for person, values in undoing.changes if values.get("left_on")], at
    )
    act = Act(actor=actor, at=at, proof=proof, reason=reason.strip())
    _withdraw(undoing, act)
    people_left = _take_back(undoing, act)
    people_list.undone_at = at
    people_list.undoing = {
        "left": people_left,
        "count": undoing.count,
        "stays": [[each.name, each.what, each.why] for each in undoing.stays],
    }
    people_list.save(update_fields=["undone_at", "undoing"])
    trail.record(
        actor=actor,
        act="list of people undone",
        about=people_list,
        payload={
            "file": people_list.file_name,
            "reason": act.reason,
            "undone": undoing.count,
            "stays": len(undoing.stays),
        },
        at=at,
    )
    return people_list


def _lock_all(undoing: Undoing) -> None:
    facts: list[Any] = [*undoing.certificates, *undoing.tests, *undoing.practice, *undoing.stamps]
    lock_people(
        {fact.person_id for fact in facts}
        | {move.person_id for move in undoing.moves}
        | {person.pk for person, _values in undoing.changes}
        | {user.person_id for user in undoing.sign_ins if user.person_id}
        | {person.pk for person in undoing.people}
    )


def _withdraw(undoing: Undoing, act: Act) -> None:
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


def _take_back(undoing: Undoing, act: Act) -> list[int]:
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
