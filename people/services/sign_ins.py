"""Sign-ins: opened for people, with the roles they hold at each site."""

import secrets
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from people.exceptions import PeopleError
from people.models import Installation, Person, Role, SignInCode, Site, SiteRole, User
from people.queries.reach import may_reset_sign_in
from records.services import trail

from .people import change_sign_in_address, enrol_person, lock_person, refuse_taken_address
from .second_factors import forget_factors

# Nothing that could be read as something else, since it is copied from a screen or a slip.
LETTERS = "abcdefghjkmnpqrstuvwxyz23456789"
GROUPS, GROUP = 4, 4


def one_time_password() -> str:
    """Sixteen letters and digits in groups of four: 79 bits."""
    return "-".join(
        "".join(secrets.choice(LETTERS) for _letter in range(GROUP)) for _group in range(GROUPS)
    )


@transaction.atomic
def open_sign_in(
    *, person: Person, roles: Collection[tuple[Site, str]] = (), actor: User, at: datetime
) -> tuple[User, str]:
    """Let somebody sign in; return the sign-in and its one-time password, kept nowhere.

    The password is empty where the person has an address: they choose one by a link that goes
    there (`sign_in_mails.send_password_link`), so that nobody else ever knows one.
    """
    person = lock_person(person)
    if User.objects.filter(person=person).exists():
        raise PeopleError(_("%(name)s can sign in already.") % {"name": person.full_name})
    _refuse_left(person, at)
    refuse_taken_address(person)
    password = "" if person.email else one_time_password()
    user = new_sign_in(person=person, password=password, actor=actor, at=at)
    return set_roles(user=user, roles=roles, actor=actor, at=at), password


def new_sign_in(*, person: Person, actor: User, at: datetime, password: str = "") -> User:
    """The sign-in of somebody who is locked and has none, without roles; a password is one-time."""
    user = User.objects.create_user(
        person.employee_number,
        password or None,
        person=person,
        email=person.email,
        password_is_one_time=bool(password),
    )
    trail.record(
        actor=actor, act="sign-in opened", about=user, payload=_person_payload(person), at=at
    )
    return user


@transaction.atomic
def give_password(*, user: User, actor: User, at: datetime) -> str:
    """Take a lost password away, which ends every session of its owner; return a one-time one.

    As in `open_sign_in` it is empty where the person has an address. Whoever knows a one-time
    password could choose another and go on under the name of its owner, so it is made for those
    alone whom no mail reaches; the trail says who made it, when it was used and what came of it.
    """
    if user.pk == actor.pk:
        raise PeopleError(_("Change your own password under Password, at the foot of the page."))
    _lock_person_of(user)
    _refuse_other_sites(user, actor)
    password = "" if user.person and user.person.email else one_time_password()
    user.set_password(password or None)
    user.password_is_one_time = bool(password)
    user.save(update_fields=["password", "password_is_one_time"])
    SignInCode.objects.void([user], at)
    act = "password given" if password else "password taken away"
    trail.record(actor=actor, act=act, about=user, payload=_person_payload(user.person), at=at)
    return password


@transaction.atomic
def set_roles(
    *, user: User, roles: Collection[tuple[Site, str]], actor: User, at: datetime
) -> User:
    """Give a sign-in exactly these roles at the sites where the actor is administrator.

    What it holds at other sites stays.

    Raises
    ------
    PeopleError
        If a site is not the actor's to administer, nobody would administer one any more, or
        somebody would become a kiosk, which has a sign-in of its own.
    """
    if any(role == Role.KIOSK for _site, role in roles):
        raise PeopleError(_("A kiosk is nobody: make it a sign-in of its own, under Kiosks."))
    _lock_person_of(user)
    # The lock on whoever administers keeps two from taking the role off each other.
    site_ids = actor.sites_as(Role.ADMINISTRATOR)
    current = list(
        SiteRole.objects.select_for_update(of=("self",), no_key=True)
        .filter(site__in=site_ids)
        .select_related("user__person__site")
    )
    after = {(site.pk, str(role)) for site, role in roles if role != Role.OPERATOR}
    if not {site for site, _role in after} <= site_ids:
        raise PeopleError(_("Roles at another site are given by its administrators."))
    before = {
        (site_role.site_id, site_role.role) for site_role in current if site_role.user_id == user.pk
    }
    for site_id, role in before - after:
        if role == Role.ADMINISTRATOR:
            _refuse_last_administrator(user, site_id, current, at)
    if before == after:
        return user
    for site_role in current:
        if site_role.user_id == user.pk and (site_role.site_id, site_role.role) not in after:
            site_role.delete()
    SiteRole.objects.bulk_create(
        SiteRole(user=user, site_id=site_id, role=role, recorded_at=at)
        for site_id, role in sorted(after - before)
    )
    prefixes = dict(Site.objects.filter(pk__in=site_ids).values_list("pk", "prefix"))
    trail.record(
        actor=actor,
        act="roles set",
        about=user,
        payload={
            **_person_payload(user.person),
            "before": sorted(f"{prefixes[site]}: {role}" for site, role in before),
            "after": sorted(f"{prefixes[site]}: {role}" for site, role in after),
        },
        at=at,
    )
    return User.objects.get(pk=user.pk)


def _refuse_last_administrator(
    user: User, site_id: int, current: Iterable[SiteRole], at: datetime
) -> None:
    """Refuse to take the role from the only administrator of a site who may sign in."""
    others = any(
        (site_role.site_id, site_role.role) == (site_id, Role.ADMINISTRATOR)
        and site_role.user_id != user.pk
        and site_role.user.may_sign_in(at)
        for site_role in current
    )
    if not others:
        raise PeopleError(
            _("Nobody else administers %(site)s. Make somebody else administrator first.")
            % {"site": Site.objects.get(pk=site_id)}
        )


@transaction.atomic
def set_sign_in_active(*, user: User, active: bool, actor: User, at: datetime) -> User:
    """Close a sign-in, which ends its sessions, or open it again; nothing is deleted."""
    if user.pk == actor.pk:
        raise PeopleError(_("Another administrator has to close your own sign-in."))
    _lock_person_of(user)
    _refuse_other_sites(user, actor)
    if user.is_active == active:
        return user
    user.is_active = active
    user.save(update_fields=["is_active"])
    trail.record(
        actor=actor,
        act="sign-in opened again" if active else "sign-in closed",
        about=user,
        payload=_person_payload(user.person),
        at=at,
    )
    return user


@dataclass(frozen=True)
class NewSite:
    """A site as an installation begins with it."""

    name: str
    prefix: str
    time_zone: str


@transaction.atomic
def make_administrator(
    *,
    employee_number: str,
    full_name: str,
    password: str,
    at: datetime,
    organisation: str = "",
    email: str = "",
    new_site: NewSite | None = None,
    site: Site | None = None,
    another: bool = False,
) -> User:
    """Make an administrator from the terminal; the first makes installation and site too.

    Somebody who is known by this number already becomes administrator with this password, and
    with this address where one is given, and without second factors: nobody else could change the
    only administrator's.

    Raises
    ------
    PeopleError
        If there is an administrator and ``another`` is not said, or there is no site to
        administer and none described.
    """
    if not another and SiteRole.objects.filter(role=Role.ADMINISTRATOR).exists():
        raise PeopleError(_("There is an administrator already. Say --another to make one more."))
    if organisation:
        Installation.objects.update_or_create(id=1, defaults={"organisation": organisation})
    site = site or _first_site(new_site)
    person = Person.objects.select_related("site").with_number(employee_number)
    if person is None:
        person = enrol_person(
            employee_number=employee_number,
            full_name=full_name,
            site=site,
            email=email,
            actor="make_administrator",
            at=at,
        )
    person = lock_person(person)
    _refuse_left(person, at)
    former = person.email
    if email and email != former:
        person.email = email
        person.save(update_fields=["email"])
    refuse_taken_address(person)
    user = User.objects.filter(person=person).first() or User(person=person)
    user.employee_number = person.employee_number
    user.email = person.email
    user.is_active = True
    user.password_is_one_time = False
    user.set_password(password)
    user.save()
    if person.email != former:
        change_sign_in_address(user, person, former, "make_administrator", at)
    forget_factors(user=user, actor="make_administrator", details={}, at=at)
    SiteRole.objects.get_or_create(
        user=user, site=site, role=Role.ADMINISTRATOR, defaults={"recorded_at": at}
    )
    trail.record(
        actor="make_administrator",
        act="administrator made",
        about=user,
        payload={**_person_payload(person), "site": site.prefix},
        at=at,
    )
    return user


def _first_site(new_site: NewSite | None) -> Site:
    sites = list(Site.objects.all()[:2])
    if len(sites) == 1 and new_site is None:
        return sites[0]
    if new_site is None:
        raise PeopleError(
            _("Say which site: %(names)s.")
            % {"names": ", ".join(Site.objects.values_list("prefix", flat=True))}
            if sites
            else _("There is no site yet: give --site-name, --prefix and --time-zone.")
        )
    site_by_prefix = Site.objects.filter(prefix=new_site.prefix).first()
    if site_by_prefix is not None:
        return site_by_prefix
    site = Site(name=new_site.name, prefix=new_site.prefix, time_zone=new_site.time_zone)
    try:
        site.full_clean()
    except ValidationError as error:
        raise PeopleError(" ".join(error.messages)) from error
    site.save()
    return site


def _refuse_other_sites(user: User, actor: User) -> None:
    """Nobody takes over a sign-in that holds roles where they administer nothing."""
    if not may_reset_sign_in(actor, user):
        raise PeopleError(
            _("%(name)s holds roles at another site, whose administrators have to do this.")
            % {"name": user}
        )


def _refuse_left(person: Person, at: datetime) -> None:
    if person.has_left(at):
        raise PeopleError(
            _("%(name)s has left, so nobody signs in as them. Change their last day first.")
            % {"name": person.full_name}
        )


def _lock_person_of(user: User) -> None:
    """Keep the person as they are: what may be changed of them rests on the roles they hold."""
    if user.person is not None:
        user.person = lock_person(user.person)


def _person_payload(person: Person | None) -> dict[str, str]:
    return {"person": person.employee_number if person else ""}
