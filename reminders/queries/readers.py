"""Who reads of what ends, and where their mail goes."""

import re
from collections.abc import Collection
from datetime import date
from email.errors import MessageError
from email.headerregistry import Address

from django.db.models import QuerySet
from django.utils.encoding import punycode

from people.models import Person, Role, Site, User

_ATOM = r"[a-z0-9_+-]+"
ORDINARY_ADDRESS = re.compile(rf"{_ATOM}(\.{_ATOM})*@[a-z0-9-]+(\.[a-z0-9-]+)*", re.ASCII)


def address_of(person: Person) -> str:
    """Where somebody's mail goes, written one way, so that one mailbox is one recipient.

    Empty where there is no address, or none that a mail can be sent to.
    """
    return usable_address(person.email)


def usable_address(email: str) -> str:
    name, at, host = email.strip().lower().rpartition("@")
    if not (name and at and host and name.isascii() and name.isprintable()) or " " in name:
        return ""
    try:
        address = f"{name}@{punycode(host)}"
        if ORDINARY_ADDRESS.fullmatch(address):
            return address
        # What cannot stand in a mail's head would stop the mail from being written.
        return address if Address(addr_spec=address).addr_spec == address else ""
    except (UnicodeError, ValueError, IndexError, MessageError):
        return ""


def reachable_lead(person: Person, day: date) -> Person | None:
    """The line lead who can be written to on a day."""
    lead = person.line_lead
    if lead is None or lead.pk == person.pk or not address_of(lead) or not is_employed(lead, day):
        return None
    return lead


def is_employed(person: Person, day: date) -> bool:
    return person.left_on is None or person.left_on >= day


def people_of(person_ids: Collection[int]) -> list[Person]:
    return list(
        Person.objects.filter(pk__in=person_ids)
        .select_related("site", "line_lead__site")
        .order_by("full_name", "pk")
    )


def people_with_leads(person_ids: Collection[int]) -> QuerySet[Person]:
    """People with as much of them and their line leads as says who reads of what."""
    needed = ("email", "left_on", "line_lead")
    return (
        Person.objects.filter(pk__in=person_ids)
        .select_related("line_lead")
        .only(*needed, *(f"line_lead__{name}" for name in needed))
        .order_by("full_name", "pk")
    )


def instructors_at(site: Site, day: date) -> list[Person]:
    return _who_are(Role.INSTRUCTOR, site, day)


def quality_at(site: Site, day: date) -> list[Person]:
    """Whoever decides on proposals at a site."""
    return _who_are(Role.QUALITY, site, day)


def _who_are(role: str, site: Site, day: date) -> list[Person]:
    users = User.objects.filter(
        roles__site=site, roles__role=role, is_active=True, person__isnull=False
    )
    return list(Person.objects.at_work_on(day).filter(user__in=users).select_related("site"))
