"""People: entered, changed, and found again under a number they had before."""

from collections.abc import Collection
from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from people import ports
from people.domain.employee_numbers import NumberFault, number_fault
from people.exceptions import PeopleError
from people.models import (
    BadgePin,
    FormerEmployeeNumber,
    Person,
    Role,
    Site,
    SiteRole,
    User,
)
from people.queries import administrators, reach
from people.queries.erased import is_erased
from records.services import trail

from .change_rows import write_line_lead
from .memberships import add_membership
from .sign_in_mails import send_address_changed

NUMBER_FAULT_MESSAGES = {
    NumberFault.SPELLING: gettext_lazy(
        "%(number)s cannot be a number: use letters, digits, dots, hyphens and spaces, a letter "
        "or digit first, no accents."
    ),
    NumberFault.LENGTH: gettext_lazy("%(number)s is too long for a number: shorten it."),
    NumberFault.RESERVED: gettext_lazy("%(number)s cannot be a number. Give another."),
}
WHEREABOUTS = frozenset({"site", "started_on", "left_on"})
OWN_TO_CHANGE = frozenset({"language"})
CHANGEABLE = (
    "full_name",
    "email",
    "kind",
    "employer",
    "site",
    "line_lead",
    "language",
    "started_on",
    "left_on",
)


@transaction.atomic
def enrol_person(
    *,
    employee_number: str,
    full_name: str,
    site: Site,
    actor: User | str | None,
    at: datetime,
    kind: str = Person.Kind.OWN,
    employer: str = "",
    email: str = "",
    line_lead: Person | None = None,
    language: str = "en",
    started_on: date | None = None,
    left_on: date | None = None,
) -> Person:
    """Enter somebody; raise PeopleError where the number is or was somebody else's."""
    person = Person(
        employee_number=employee_number,
        full_name=full_name,
        site=site,
        kind=kind,
        employer=employer,
        email=email,
        line_lead=line_lead,
        language=language,
        started_on=started_on,
        left_on=left_on,
        recorded_at=at,
    )
    _refuse_number(person, employee_number)
    refuse_contradictions(person)
    person.save()
    details = {name: trail_value(getattr(person, name)) for name in CHANGEABLE}
    trail.record(
        actor=actor,
        act="person enrolled",
        about=person,
        payload={"employee_number": employee_number, **details},
        at=at,
    )
    return person


def lock_person(person: Person) -> Person:
    """Wait for other acts on somebody, keep others waiting, and read them anew.

    For whoever decides by what is recorded of one person: it comes before the reading, and
    before every other lock. Lasts until the transaction ends.
    """
    # Read once the row is ours: one that is joined while waiting is compared with what it was
    # joined by before, so that PostgreSQL finds nobody where the other act changed the site.
    lock_people([person.pk])
    return Person.objects.select_related("site", "line_lead").get(pk=person.pk)


def lock_people(person_ids: Collection[int]) -> None:
    """The same for many people, one after another in the order of their keys."""
    locked = Person.objects.select_for_update(no_key=True).filter(pk__in=person_ids)
    list(locked.order_by("pk").values_list("pk", flat=True))


@transaction.atomic
def change_person(
    *,
    person: Person,
    actor: User | str,
    at: datetime,
    employee_number: str = "",
    by_right_of: User | None = None,
    was_entered_in_error: bool = False,
    **details: Any,
) -> Person:
    """Change what is known of somebody; a new employee number keeps the former one.

    Parameters
    ----------
    actor : User or str
        Who changes it, or the name of a program that does.
    by_right_of : User, optional
        Whose reach is asked where a program acts for somebody. A program of which nothing is said
        was started at the terminal, from which everything can be changed.
    was_entered_in_error : bool
        Whether a last day that has passed was entered by mistake, so that nobody comes back.

    Raises
    ------
    PeopleError
        If the number is or was somebody else's, the details contradict each other, they are not
        the actor's to change (`people.queries.reach`), or nobody would administer any more.
    """
    unknown = set(details) - set(CHANGEABLE)
    if unknown:
        raise TypeError(f"People have no {', '.join(sorted(unknown))}.")
    # The row as it is, since the caller's may hold what a refused form wrote on it.
    person = lock_person(person)
    before = {name: getattr(person, name) for name in details}
    for name, value in details.items():
        if name != "site":
            setattr(person, name, value)
    refuse_contradictions(person)
    changed = [name for name in details if before[name] != details[name]]
    is_renumbered = bool(employee_number) and employee_number != person.employee_number
    everything_changed = [*changed, "employee_number"] if is_renumbered else changed
    authority = actor if isinstance(actor, User) else by_right_of
    if authority is not None:
        _refuse_out_of_reach(person, before, everything_changed, authority)
    if "left_on" in changed and not was_entered_in_error:
        _refuse_to_undo_leaving(person, before["left_on"], at)
    if "left_on" in changed and administrators.ends_sooner(before["left_on"], person.left_on):
        refuse_last_administrators([person], at)
    if is_renumbered:
        change_number(person, employee_number, actor, at)
        ports.whereabouts_changed(person)
    if not changed:
        return person
    if "site" in changed:
        _move_today(person, details["site"], actor, at)
    person.save(update_fields=[name for name in changed if name != "site"])
    if "line_lead" in changed:
        write_line_lead(
            person,
            before=before["line_lead"],
            after=person.line_lead,
            from_day=person.site.today(at),
            reason="",
            actor=actor,
            at=at,
        )
    if WHEREABOUTS.intersection(changed):
        ports.whereabouts_changed(person)
    if "email" in changed:
        _update_sign_in_email(person, before["email"], actor, at)
    trail.record(
        actor=actor,
        act="person changed",
        about=person,
        payload={
            "before": {name: trail_value(before[name]) for name in changed},
            "after": {name: trail_value(details[name]) for name in changed},
        },
        at=at,
    )
    return person


def _move_today(person: Person, site: Site, actor: User | str, at: datetime) -> None:
    """Have them be at another site from today on; where they were before is kept."""
    add_membership(person=person, site=site, from_day=site.today(at), reason="", actor=actor, at=at)


def change_number(
    person: Person, number: str, actor: User | str, at: datetime, until_on: date | None = None
) -> None:
    """Give somebody who is locked another number; the former one was theirs until a day."""
    _refuse_number(person, number)
    before, until = person.employee_number, until_on or person.site.today(at)
    FormerEmployeeNumber.objects.update_or_create(
        employee_number=before,
        defaults={"person": person, "until_on": until},
        create_defaults={"person": person, "until_on": until, "recorded_at": at},
    )
    if is_erased(person):
        person.full_name = number  # It is what they are called.
    person.employee_number = number
    person.save(update_fields=["employee_number", "full_name"])
    User.objects.filter(person=person).update(employee_number=number)
    trail.record(
        actor=actor,
        act="employee number changed",
        about=person,
        payload={"before": before, "after": number, "until": until.isoformat()},
        at=at,
    )


def _refuse_out_of_reach(
    person: Person, before: dict[str, Any], changed: Collection[str], actor: User
) -> None:
    """Refuse changes that would let the actor into somebody else's sign-in, or end their work.

    The person is locked, and whoever gives roles or opens a sign-in locks them too.
    """
    if actor.person_id == person.pk and OWN_TO_CHANGE.issuperset(changed):
        return
    # As they were recorded, whatever the change says of where they are.
    as_before = Person(pk=person.pk, site=before.get("site", person.site))
    if not reach.may_change_person(actor, as_before):
        raise PeopleError(
            _("What is known of %(name)s is changed by administrators of their sites.")
            % {"name": person.full_name}
        )
    if "email" in changed and not reach.may_change_address(actor, as_before):
        raise PeopleError(
            _("%(name)s signs in, so an administrator of all their sites changes the address.")
            % {"name": person.full_name}
        )
    is_administered = actor.has_role(Role.ADMINISTRATOR, site=as_before.site_id)
    if "site" in changed and not is_administered and reach.sign_in_of(person) is not None:
        raise PeopleError(
            _("%(name)s signs in, so an administrator of %(site)s moves them.")
            % {"name": person.full_name, "site": as_before.site}
        )


def _refuse_to_undo_leaving(person: Person, left_on: date | None, at: datetime) -> None:
    """Whoever has left comes back by a return, which gives back neither roles nor password."""
    had_left = left_on is not None and left_on < person.site.today(at)
    if had_left and not person.has_left(at):
        raise PeopleError(
            _("%(name)s left on %(day)s. Enter that they are back, on their page.")
            % {"name": person.full_name, "day": left_on}
        )


def refuse_last_administrators(people: Collection[Person], at: datetime) -> None:
    """Refuse to let the last leave who could let others in; the people are locked.

    From here until the transaction ends nobody else takes a role of an administrator or has one
    leave, so that two do not rely on each other.
    """
    leaving = administrators.administrators_among([person.pk for person in people])
    if not leaving:
        return
    roles = SiteRole.objects.select_for_update(no_key=True).filter(role=Role.ADMINISTRATOR)
    list(roles.order_by("pk").values_list("pk", flat=True))
    # Read once the roles are ours: whoever was waited for may have had a last day entered.
    if not administrators.administrators_stay(at, without=leaving):
        names = ", ".join(sorted(person.full_name for person in people if person.pk in leaving))
        raise PeopleError(administrators.last_administrator(names))


def _update_sign_in_email(person: Person, former: str, actor: User | str, at: datetime) -> None:
    """Let the sign-in, if there is one, follow the person's address, and say so to the former."""
    user = User.objects.select_for_update(of=("self",), no_key=True).filter(person=person).first()
    if user is None:
        return
    refuse_taken_address(person)
    change_sign_in_address(user, person, former, actor, at)


def change_sign_in_address(
    user: User, person: Person, former: str, actor: User | str, at: datetime
) -> None:
    """Write a person's address into their sign-in; the trail and the former address tell of it."""
    user.person = person
    user.email = person.email
    user.save(update_fields=["email"])
    trail.record(
        actor=actor,
        act="sign-in address changed",
        about=user,
        payload={"person": person.employee_number, "before": former, "after": person.email},
        at=at,
    )
    if former:
        send_address_changed(user=user, former=former, actor=actor, at=at)


def refuse_taken_address(person: Person) -> None:
    """Refuse to let somebody sign in by an address that is somebody else's."""
    taken = User.objects.exclude(person=person).filter(email__iexact=person.email)
    if person.email and taken.exists():
        raise PeopleError(
            _("%(email)s is how somebody else signs in. Give another address, or none.")
            % {"email": person.email}
        )


def _refuse_number(person: Person, number: str) -> None:
    """Refuse what cannot be a number, and what is or was somebody else's."""
    fault = number_fault(number)
    if fault is not None:
        raise PeopleError(NUMBER_FAULT_MESSAGES[fault] % {"number": number})
    holder = (
        Person.objects.filter(employee_number__iexact=number).exclude(pk=person.pk or 0).first()
    )
    if holder is not None:
        raise PeopleError(
            _("Employee number %(number)s is %(name)s’s. Look them up, or give another number.")
            % {"number": number, "name": holder.full_name}
        )
    former = (
        FormerEmployeeNumber.objects.filter(employee_number__iexact=number)
        .exclude(person=person.pk or 0)
        .select_related("person")
        .first()
    )
    if former is not None:
        raise PeopleError(
            _("Employee number %(number)s was %(name)s’s and is not given again. Give another.")
            % {"number": number, "name": former.person.full_name}
        )
    sign_in = User.objects.filter(employee_number__iexact=number).exclude(person=person.pk or 0)
    if sign_in.exists():
        raise PeopleError(
            _("There is a sign-in %(number)s of somebody else. Give another number.")
            % {"number": number}
        )
    badge = BadgePin.objects.filter(badge__iexact=number).exclude(user__person=person.pk or 0)
    if badge.exists():
        raise PeopleError(
            _("%(number)s is what somebody else’s badge says. Give another number.")
            % {"number": number}
        )


def refuse_contradictions(person: Person) -> None:
    without_employer = person.kind == Person.Kind.CONTRACTOR and not person.employer
    if without_employer and not is_erased(person):  # With the name the employer is erased too.
        raise PeopleError(_("Say whom a contractor is employed by."))
    if person.line_lead is not None and person.line_lead.pk == person.pk:
        raise PeopleError(_("Nobody is their own line lead. Choose somebody else, or nobody."))
    if person.started_on and person.left_on and person.left_on < person.started_on:
        raise PeopleError(_("The last day comes before the first. Change one of them."))


def trail_value(value: Any) -> Any:
    """A value as it stands in the trail."""
    if isinstance(value, Person):
        return value.employee_number
    return str(value) if isinstance(value, Site | str) else value
