"""Sites: added and set up by administrators; a site's prefix stays for ever."""

from collections.abc import Collection
from datetime import datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.db import transaction
from django.utils.translation import gettext as _

from people.exceptions import PeopleError
from people.models import Installation, Role, Site, SiteRole, User
from records.services import trail

SETTINGS = (
    "name",
    "time_zone",
    "working_days",
    "work_starts",
    "work_ends",
    "send_hour",
    "reminders_start_on",
    "proposal_days",
    "lock_minutes",
    "address",
    "contact",
    "criteria_by_two",
    "trail_head_to",
)

# Who teaches, grades, decides and administers; operators sign for nobody but themselves.
SECOND_FACTOR_ROLES = (Role.INSTRUCTOR, Role.QUALITY, Role.ADMINISTRATOR)


@transaction.atomic
def name_organisation(*, organisation: str, actor: User, at: datetime) -> Installation:
    """Say whose installation this is; it stands on cards from then on."""
    # Made first and locked then, so that of two who name it at once the trail tells both.
    Installation.objects.get_or_create(id=1, defaults={"organisation": organisation})
    installation = Installation.objects.select_for_update().get(id=1)
    before, installation.organisation = installation.organisation, organisation
    installation.save(update_fields=["organisation"])
    payload = {"before": before, "after": organisation}
    trail.record(actor=actor, act="organisation named", about=installation, payload=payload, at=at)
    return installation


@transaction.atomic
def add_site(*, prefix: str, actor: User, at: datetime, **settings: Any) -> Site:
    """Add a site, which the actor administers from then on."""
    site = Site(prefix=prefix, **_checked_settings(settings))
    _refuse_invalid(site)
    site.save()
    SiteRole.objects.create(user=actor, site=site, role=Role.ADMINISTRATOR, recorded_at=at)
    payload = {"prefix": prefix, **_trail_values(site, settings)}
    trail.record(actor=actor, act="site added", about=site, payload=payload, at=at)
    return site


@transaction.atomic
def change_site(*, site: Site, actor: User, at: datetime, **settings: Any) -> Site:
    """Change how a site is set up.

    A day that has been read off its time zone stays the day it was.
    """
    site = Site.objects.select_for_update(no_key=True).get(pk=site.pk)
    before = _trail_values(site, settings)
    for name, value in _checked_settings(settings).items():
        setattr(site, name, value)
    _refuse_invalid(site)
    after = _trail_values(site, settings)
    changed = [name for name in settings if before[name] != after[name]]
    if not changed:
        return site
    site.save(update_fields=changed)
    trail.record(
        actor=actor,
        act="site changed",
        about=site,
        payload={
            "before": {name: before[name] for name in changed},
            "after": {name: after[name] for name in changed},
        },
        at=at,
    )
    return site


def sign_in_policy(site: Site) -> str:
    """What a site asks now, in the words by which a page shows again what it was filled from."""
    asks = [*sorted(site.second_factor_roles), *(["signs"] if site.second_factor_signs else [])]
    return ",".join(asks) or "nothing"


@transaction.atomic
def change_sign_in_policy(
    *,
    site: Site,
    second_factor_roles: Collection[str],
    second_factor_signs: bool,
    shown: str,
    reason: str,
    proof: str,
    actor: User,
    at: datetime,
) -> Site:
    """Say which roles need a second factor at a site, and whether signatures ask for it.

    Parameters
    ----------
    shown : str
        `sign_in_policy` of the site as the page showed it.
    reason, proof : str
        Why, and what `people.services.proof.prove_identity` returned; in the trail.

    Raises
    ------
    PeopleError
        If the site is not the actor's to administer, asks otherwise by now, or would ask a role
        that signs in by no password.
    """
    if not actor.has_role(Role.ADMINISTRATOR, site=site):
        raise PeopleError(_("What a site asks is changed by its administrators."))
    if not set(second_factor_roles) <= {str(role) for role in SECOND_FACTOR_ROLES}:
        raise PeopleError(_("A second factor is asked of those who teach, decide or administer."))
    site = Site.objects.select_for_update(no_key=True).get(pk=site.pk)
    before = sign_in_policy(site)
    if before != shown:
        raise PeopleError(
            _("Somebody else changed this meanwhile. Look at what holds now, then do it again.")
        )
    site.second_factor_roles = sorted(second_factor_roles)
    site.second_factor_signs = second_factor_signs
    after = sign_in_policy(site)
    if before == after:
        return site
    site.save(update_fields=["second_factor_roles", "second_factor_signs"])
    payload = {"before": before, "after": after, "reason": reason, "proof": proof}
    trail.record(actor=actor, act="sign-in policy changed", about=site, payload=payload, at=at)
    return site


def _checked_settings(settings: dict[str, Any]) -> dict[str, Any]:
    unknown = set(settings) - set(SETTINGS)
    if unknown:
        raise TypeError(f"Sites have no {', '.join(sorted(unknown))} to set.")
    return settings


def _refuse_invalid(site: Site) -> None:
    if not site.working_days:
        raise PeopleError(_("Choose at least one working day."))
    if site.work_ends <= site.work_starts:
        raise PeopleError(_("Work ends before it starts. Change one of the two."))
    for field, message in (
        ("prefix", _("%(value)s begins the numbers of another site. Give other letters.")),
        ("name", _("There is a site %(value)s already. Give another name.")),
    ):
        value = getattr(site, field)
        if Site.objects.filter(**{f"{field}__iexact": value}).exclude(pk=site.pk or 0).exists():
            raise PeopleError(message % {"value": value})
    for address in site.trail_head_to:
        try:
            validate_email(address)
        except ValidationError as error:
            raise PeopleError(
                _("%(address)s is not an e-mail address. Write them with commas between.")
                % {"address": address}
            ) from error
    try:
        site.clean_fields()
    except ValidationError as error:
        raise PeopleError(" ".join(error.messages)) from error


def _trail_values(site: Site, names: Any) -> dict[str, Any]:
    """Settings as they stand in the trail."""
    values = {name: getattr(site, name) for name in names}
    return {
        name: value.isoformat() if hasattr(value, "isoformat") else value
        for name, value in values.items()
    }
