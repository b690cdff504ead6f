"""Who brings a list of people, and what of it they may bring where."""

from dataclasses import dataclass

from audit.domain.list_columns import FACTS, OF_PEOPLE, Field
from people.models import Role, Site, User


@dataclass(frozen=True)
class Bringer:
    """Who acts, by whose right, and where.

    Attributes
    ----------
    actor : User or str
        What the trail names: somebody, or a program.
    authority : User or None
        Whose reach is asked; None at the terminal, from which everything can be changed.
    people_sites, facts_sites : frozenset of int
        Sites whose people they enter and change, and those where they enter certificates, vision
        tests and work.
    """

    actor: User | str
    authority: User | None
    people_sites: frozenset[int]
    facts_sites: frozenset[int]

    @property
    def fields(self) -> tuple[Field, ...]:
        """What columns may hold that they bring, in the order in which it is chosen from."""
        allowed = {Field.EMPLOYEE_NUMBER}
        if self.people_sites:
            allowed |= OF_PEOPLE
        if self.facts_sites:
            allowed |= FACTS
        if not isinstance(self.actor, User):
            allowed -= {Field.STAMP}  # Somebody hands a stamp out.
        return tuple(field for field in Field if field in allowed)


def bringer_for(user: User) -> Bringer:
    """People by administrators of their sites, facts by quality there."""
    return Bringer(
        actor=user,
        authority=user,
        people_sites=frozenset(user.sites_as(Role.ADMINISTRATOR)),
        facts_sites=frozenset(user.sites_as(Role.QUALITY)),
    )


def program(name: str, sites: frozenset[int], authority: User | None = None) -> Bringer:
    """A program that brings people alone, of some sites."""
    return Bringer(actor=name, authority=authority, people_sites=sites, facts_sites=frozenset())


def all_sites() -> frozenset[int]:
    return frozenset(Site.objects.values_list("pk", flat=True))
