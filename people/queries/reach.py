"""Whose particulars somebody may change, and whose sign-in they may let somebody else into."""

from dataclasses import dataclass

from people.models import Person, Role, SiteRole, User

KEEPERS = (Role.INSTRUCTOR, Role.ADMINISTRATOR)
WITHIN_INSTRUCTORS_REACH = frozenset({Role.LINE_LEAD, Role.INSTRUCTOR, Role.OPERATOR})


def sign_in_of(person: Person) -> User | None:
    return User.objects.filter(person=person).first()


def may_reset_sign_in(actor: User, user: User) -> bool:
    """Whether somebody administers every site where a sign-in works or holds a role.

    Whoever could not give it a password may not say either where its links go.
    """
    if user.is_superuser and not actor.is_superuser:
        return False
    administered = actor.sites_as(Role.ADMINISTRATOR)
    if user.person is not None and user.person.site_id not in administered:
        return False
    return not user.roles.exclude(site__in=administered).exists()


def may_change_person(actor: User, person: Person) -> bool:
    """Whether somebody changes particulars: as an administrator, or as an instructor within reach.

    Out of an instructor's reach are they themselves, whoever holds a role where the instructor
    has none to keep people by, and whoever audits or administers.
    """
    if actor.has_role(Role.ADMINISTRATOR, site=person.site_id):
        return True
    if actor.person_id == person.pk or not actor.has_role(Role.INSTRUCTOR, site=person.site_id):
        return False
    user = sign_in_of(person)
    if user is None:
        return True
    administered, kept = actor.sites_as(Role.ADMINISTRATOR), actor.sites_as(*KEEPERS)
    return not user.is_superuser and all(
        site_id in administered or (site_id in kept and role in WITHIN_INSTRUCTORS_REACH)
        for site_id, role in user.roles.values_list("site_id", "role")
    )


def may_change_address(actor: User, person: Person) -> bool:
    """Whether somebody changes an e-mail address, to which links that set a password go.

    Nobody changes their own: whoever passes an open session could have them sent elsewhere.
    """
    user = sign_in_of(person)
    if user is None:
        return True
    return actor.pk != user.pk and may_reset_sign_in(actor, user)


@dataclass(frozen=True)
class RolesOnReturn:
    """Roles of a sign-in whose owner comes back: those that go with it, and those that stay."""

    taken: list[SiteRole]
    staying: list[SiteRole]


def roles_on_return(actor: User, user: User) -> RolesOnReturn:
    """What of somebody's roles goes when the actor enters their return: what they could take."""
    administered = actor.sites_as(Role.ADMINISTRATOR)
    taken: list[SiteRole] = []
    staying: list[SiteRole] = []
    for role in user.roles.select_related("site").order_by("site__prefix", "role"):
        (taken if role.site_id in administered else staying).append(role)
    return RolesOnReturn(taken, staying)
