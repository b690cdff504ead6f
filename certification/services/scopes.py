"""Scopes changed, corrected, retired and restored; `schemes.create_scope` makes them."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from certification.exceptions import CertificationError, ChangedMeanwhile
from certification.models import Scope
from certification.queries import schemes_written_down as written_down
from certification.queries.scope_use import use_of
from people.models import Role, User
from records.services import trail

FIELDS = ("code", "title", "level", "joint_types", "document")
"""What of a scope can be changed; of one that is used, the title alone."""


def scope_state(scope: Scope) -> dict[str, Any]:
    """What a page shows of a scope, to be compared when it is saved."""
    return {name: getattr(scope, name) for name in FIELDS} | {
        "retired": scope.retired_at is not None
    }


@transaction.atomic
def change_scope(
    *,
    scope: Scope,
    actor: User,
    at: datetime,
    shown: Mapping[str, Any],
    reason: str = "",
    **fields: Any,
) -> Scope:
    """Change a scope that nothing uses, or correct the title of one that is used.

    Parameters
    ----------
    shown : mapping
        `scope_state` as the page showed it.
    reason : str
        Why, which the trail keeps; asked for where the scope is used.
    fields : object
        Of `FIELDS`, those that change.

    Raises
    ------
    CertificationError
        If it is used and more than its title would change, without a reason then, or if its code
        is another scope's.
    ChangedMeanwhile
        If it is not what was shown.
    """
    _refuse_others(actor)
    current = _locked(scope)
    _refuse_stale(current, shown)
    _refuse_unsound(current, fields)
    before = {name: getattr(current, name) for name in FIELDS}
    changed = {name: value for name, value in fields.items() if before[name] != value}
    if not changed:
        return current
    is_used = use_of(current).is_used
    if is_used:
        _refuse_more_than_title(current, changed)
        if not reason.strip():
            raise CertificationError(
                _("Say why the title is corrected: certificates name it, and the trail keeps why.")
            )
    for name, value in changed.items():
        setattr(current, name, value)
    current.save(update_fields=list(changed))
    details: dict[str, Any] = {"reason": reason.strip()} if reason.strip() else {}
    # A corrected title alone is looked up again, as the text that it was.
    details["before"] = before["title"] if is_used else {name: before[name] for name in changed}
    act = written_down.SCOPE_RETITLED if is_used else written_down.SCOPE_CHANGED
    _record(act, current, actor, at, **details)
    return current


def _refuse_unsound(scope: Scope, fields: Mapping[str, Any]) -> None:
    unknown = set(fields) - set(FIELDS)
    if unknown:
        raise TypeError(f"Scopes have no {', '.join(sorted(unknown))} to change.")
    if "joint_types" in fields and not fields["joint_types"]:
        raise CertificationError(_("Choose at least one joint type."))
    if fields.get("code", scope.code) != scope.code:
        trail.lock_trail()
        refuse_known_code(fields["code"], scope)


def refuse_known_code(code: str, scope: Scope | None = None) -> None:
    """Raise CertificationError where another scope has a code, in whatever capitals."""
    others = Scope.objects.exclude(pk=scope.pk) if scope else Scope.objects.all()
    # In Python, since SQLite knows the capitals of ASCII alone.
    for known in others.values_list("code", flat=True):
        if known.casefold() == code.casefold():
            raise CertificationError(_("There is a scope %(code)s already.") % {"code": known})


def _refuse_more_than_title(scope: Scope, changed: Mapping[str, Any]) -> None:
    if set(changed) - {"title"}:
        raise CertificationError(
            _(
                "%(scope)s is used, so its code, level, joint types and document stay. Correct its"
                " title, or make a new scope and retire this one."
            )
            % {"scope": scope.code}
        )


@transaction.atomic
def retire_scope(
    *, scope: Scope, reason: str, actor: User, at: datetime, shown: Mapping[str, Any]
) -> Scope:
    """Offer a scope for nothing new from now on; certificates for it stand as they stood.

    Raises
    ------
    CertificationError
        If it is retired already, or no reason was given.
    ChangedMeanwhile
        If it is not what was shown.
    """
    _refuse_others(actor)
    current = _locked(scope)
    if current.retired_at is not None:
        raise CertificationError(_("%(scope)s is retired already.") % {"scope": current.code})
    _refuse_stale(current, shown)
    _refuse_no_reason(reason)
    current.retired_at = at
    current.save(update_fields=["retired_at"])
    _record(written_down.SCOPE_RETIRED, current, actor, at, reason=reason.strip())
    return current


@transaction.atomic
def restore_scope(*, scope: Scope, reason: str, actor: User, at: datetime) -> Scope:
    """Offer a retired scope again.

    Raises
    ------
    CertificationError
        If it is not retired, or no reason was given.
    """
    _refuse_others(actor)
    current = _locked(scope)
    if current.retired_at is None:
        raise CertificationError(_("%(scope)s is not retired.") % {"scope": current.code})
    _refuse_no_reason(reason)
    current.retired_at = None
    current.save(update_fields=["retired_at"])
    _record(written_down.SCOPE_RESTORED, current, actor, at, reason=reason.strip())
    return current


def _refuse_others(actor: User) -> None:
    if not actor.has_role(Role.QUALITY):
        raise CertificationError(_("Scopes are kept by quality."))


def _refuse_no_reason(reason: str) -> None:
    if not reason.strip():
        raise CertificationError(_("Say why: whoever reads of it later asks."))


def _refuse_stale(current: Scope, shown: Mapping[str, Any]) -> None:
    now = scope_state(current)
    if any(now[name] != value for name, value in shown.items() if name in now):
        raise ChangedMeanwhile(
            _("Somebody else changed this meanwhile. Look at what holds now, then do it again.")
        )


def _locked(scope: Scope) -> Scope:
    """The scope as it stands, kept from whoever would begin to use it.

    A stronger lock than foreign keys to it can share: whoever is issuing a certificate for it is
    waited for, and counts as using it.
    """
    return Scope.objects.select_for_update().get(pk=scope.pk)


def _record(act: str, scope: Scope, actor: User, at: datetime, **details: Any) -> None:
    payload = written_down.scope_content(scope) | details
    trail.record(actor=actor, act=act, about=scope, payload=payload, at=at)
