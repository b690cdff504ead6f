"""Kiosks: sign-ins of machines on the shop floor, which open the bench check alone."""

from datetime import datetime

from django.db import transaction
from django.utils.translation import gettext as _

from people.exceptions import PeopleError
from people.models import FormerEmployeeNumber, Person, Role, Site, SiteRole, User
from records.services import trail

from .sign_ins import one_time_password


@transaction.atomic
def make_kiosk(*, site: Site, name: str, actor: User, at: datetime) -> tuple[User, str]:
    """Make a kiosk at a site; return its sign-in and its password, which is kept nowhere.

    The password stays until another is given: nobody signs anything in a kiosk's name.

    Raises
    ------
    PeopleError
        If the name is how somebody signs in, or is or was somebody's employee number.
    """
    _refuse_other_sites(site, actor)
    taken = (User, Person, FormerEmployeeNumber)
    if any(model.objects.filter(employee_number__iexact=name).exists() for model in taken):
        raise PeopleError(
            _("%(name)s is how somebody else is known. Give another name.") % {"name": name}
        )
    password = one_time_password()
    kiosk = User.objects.create_user(name, password)
    SiteRole.objects.create(user=kiosk, site=site, role=Role.KIOSK, recorded_at=at)
    payload = {"name": name, "site": site.prefix}
    trail.record(actor=actor, act="kiosk made", about=kiosk, payload=payload, at=at)
    return kiosk, password


@transaction.atomic
def give_kiosk_password(*, kiosk: User, actor: User, at: datetime) -> str:
    """Replace a kiosk's password, which ends its session."""
    _refuse_other_sites(_site_of(kiosk), actor)
    password = one_time_password()
    kiosk.set_password(password)
    kiosk.save(update_fields=["password"])
    trail.record(
        actor=actor,
        act="kiosk given a password",
        about=kiosk,
        payload={"name": kiosk.employee_number},
        at=at,
    )
    return password


@transaction.atomic
def set_kiosk_active(*, kiosk: User, active: bool, actor: User, at: datetime) -> User:
    """Close a kiosk, which ends its session, or open it again."""
    _refuse_other_sites(_site_of(kiosk), actor)
    if kiosk.is_active == active:
        return kiosk
    kiosk.is_active = active
    kiosk.save(update_fields=["is_active"])
    trail.record(
        actor=actor,
        act="kiosk opened again" if active else "kiosk closed",
        about=kiosk,
        payload={"name": kiosk.employee_number},
        at=at,
    )
    return kiosk


def _site_of(kiosk: User) -> Site:
    return kiosk.roles.select_related("site").get(role=Role.KIOSK).site


def _refuse_other_sites(site: Site, actor: User) -> None:
    if not actor.has_role(Role.ADMINISTRATOR, site=site):
        raise PeopleError(
            _("A kiosk at %(site)s is a matter of its administrators.") % {"site": site.name}
        )
