"""Tokens by which programs read the bench check and hand people and work over.

They are made, looked up and revoked.
"""

import hashlib
import secrets
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from django.db import transaction
from django.utils.translation import gettext as _

from audit.queries.list_bringers import Bringer, program
from interfaces.exceptions import InterfaceError
from interfaces.models import ApiToken
from people.models import Role, Site, User
from records.services import trail

PREFIX_OF_TOKENS = "jw-"
SECRET_BYTES = 32  # 256 bits: nothing to guess, so one round of SHA-256 keeps it.
BEGINNING_LENGTH = 10


@dataclass(frozen=True, slots=True)
class Caller:
    """Whose token came with a request, as far as answering needs it."""

    token_id: int
    site_id: int
    zone: ZoneInfo
    last_used_on: date | None
    may_bring_people: bool = False
    may_record_work: bool = False

    def today(self, now: datetime) -> date:
        return now.astimezone(self.zone).date()


def hash_of(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


def caller_of(token: str) -> Caller | None:
    """Whose token it is; None for one that never was and for one that was revoked alike."""
    row = (
        ApiToken.objects.in_use()
        .order_by()
        .filter(token_hash=hash_of(token))
        .values_list(
            "pk",
            "site_id",
            "site__time_zone",
            "last_used_on",
            "may_bring_people",
            "may_record_work",
        )
        .first()
    )
    if row is None:
        return None
    pk, site_id, zone, last_used_on, may_bring_people, may_record_work = row
    return Caller(pk, site_id, ZoneInfo(zone), last_used_on, may_bring_people, may_record_work)


def people_bringer_of(caller: Caller, at: datetime) -> Bringer | None:
    """For whom a token brings people: its maker, as long as they administer the site themselves.

    None where the token does not bring people at all, or its maker may not any more.
    """
    found = _token_of_administrator(caller, at) if caller.may_bring_people else None
    if found is None:
        return None
    token, maker = found
    return program(f"token {token.name}", frozenset({caller.site_id}), maker)


def work_recorder_of(caller: Caller, at: datetime) -> str:
    """What the trail calls a token that hands work over; empty where it does not or may not."""
    found = _token_of_administrator(caller, at) if caller.may_record_work else None
    return f"token {found[0].name}" if found else ""


def _token_of_administrator(caller: Caller, at: datetime) -> tuple[ApiToken, User] | None:
    """A token and its maker, as long as they may sign in and administer the site."""
    token = ApiToken.objects.select_related("made_by__person__site").get(pk=caller.token_id)
    maker = token.made_by
    if maker is None or not maker.may_sign_in(at):
        return None
    if not maker.has_role(Role.ADMINISTRATOR, site=caller.site_id):
        return None
    return token, maker


def record_use(caller: Caller, today: date) -> None:
    """Keep the day of the latest use: written once a day, whatever comes."""
    if caller.last_used_on != today:
        ApiToken.objects.filter(pk=caller.token_id).update(last_used_on=today)


@transaction.atomic
def make_token(
    *,
    site: Site,
    name: str,
    actor: User,
    at: datetime,
    may_bring_people: bool = False,
    may_record_work: bool = False,
) -> tuple[ApiToken, str]:
    """Make a token for a program at a site; return its row and the token, kept nowhere.

    Raises
    ------
    InterfaceError
        If the site is not the actor's to administer, or a token in use there has the name.
    """
    _refuse_site_of_others(site, actor)
    if ApiToken.objects.in_use().filter(site=site, name__iexact=name).exists():
        raise InterfaceError(
            _("There is a token %(name)s already. Give another name, or revoke it first.")
            % {"name": name}
        )
    token = PREFIX_OF_TOKENS + secrets.token_hex(SECRET_BYTES)
    made = ApiToken.objects.create(
        site=site,
        name=name,
        beginning=token[:BEGINNING_LENGTH],
        token_hash=hash_of(token),
        made_at=at,
        made_by=actor,
        may_bring_people=may_bring_people,
        may_record_work=may_record_work,
    )
    trail.record(actor=actor, act="API token made", about=made, payload=_trail_payload(made), at=at)
    return made, token


@transaction.atomic
def revoke_token(*, token: ApiToken, actor: User, at: datetime) -> ApiToken:
    """Have a token answer nobody from now on, for ever; revoking again changes nothing."""
    token = (
        ApiToken.objects.select_for_update(of=("self",), no_key=True)
        .select_related("site")
        .get(pk=token.pk)
    )
    _refuse_site_of_others(token.site, actor)
    if token.revoked_at is not None:
        return token
    token.revoked_at, token.revoked_by = at, actor
    token.save(update_fields=["revoked_at", "revoked_by"])
    payload = _trail_payload(token)
    trail.record(actor=actor, act="API token revoked", about=token, payload=payload, at=at)
    return token


def _trail_payload(token: ApiToken) -> dict[str, str]:
    may = ["enter and change people"] * token.may_bring_people
    may += ["record work"] * token.may_record_work
    brings = {"may": ", ".join(may)} if may else {}
    return {
        "name": token.name,
        "site": token.site.prefix,
        "begins with": token.beginning,
        **brings,
    }


def _refuse_site_of_others(site: Site, actor: User) -> None:
    if not actor.has_role(Role.ADMINISTRATOR, site=site):
        raise InterfaceError(
            _("Tokens of %(site)s are a matter of its administrators.") % {"site": site.name}
        )
