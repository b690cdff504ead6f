"""Operations of a routing and the scopes they ask for: taken in, changed, removed."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from certification.exceptions import CertificationError, ChangedMeanwhile
from certification.models import Operation, Scope
from certification.queries import schemes_written_down as written_down
from people.models import Role, User
from records.services import trail


@dataclass(frozen=True, slots=True)
class Routed:
    """One operation and the scope that its work asks for."""

    code: str
    scope: Scope


@transaction.atomic
def add_operations(*, rows: Sequence[Routed], actor: User, at: datetime) -> tuple[int, int]:
    """Take in operations; return how many are new, and how many were there just so.

    All or none are taken in.

    Raises
    ------
    CertificationError
        If one is given twice with two scopes, asks for another scope already, or asks for a scope
        that is retired.
    """
    _refuse_others(actor)
    _lock_scopes(row.scope for row in rows)
    trail.lock_trail()
    scopes: dict[str, Scope] = {}
    for row in rows:
        if scopes.setdefault(row.code, row.scope) != row.scope:
            raise CertificationError(
                _("%(operation)s is given twice, with two scopes. Keep one line of it.")
                % {"operation": row.code}
            )
    there = {
        operation.code: operation
        for operation in Operation.objects.filter(code__in=scopes).select_related("scope")
    }
    new = []
    for code, scope in scopes.items():
        if code not in there:
            _refuse_retired(scope)
            new.append(Operation(code=code, scope=scope))
        elif there[code].scope_id != scope.pk:
            raise CertificationError(
                _(
                    "%(operation)s asks for %(scope)s already. Change it in the list, or take its "
                    "line out."
                )
                % {"operation": code, "scope": there[code].scope.code}
            )
    made = Operation.objects.bulk_create(new)
    trail.record_many(
        actor=actor,
        act=written_down.OPERATION_ADDED,
        items=[(operation, written_down.operation_content(operation)) for operation in made],
        at=at,
    )
    return len(made), len(there)


@transaction.atomic
def change_operation(
    *, operation: Operation, code: str, scope: Scope, shown: Routed, actor: User, at: datetime
) -> Operation:
    """Give an operation another code, or have it ask for another scope.

    Work logs that were checked keep what they were found to say.

    Raises
    ------
    CertificationError
        If another operation has the code, or the scope is retired.
    ChangedMeanwhile
        If it is not what was shown.
    """
    _refuse_others(actor)
    _lock_scopes([scope])
    current = _locked(operation)
    _refuse_stale(current, shown)
    if (current.code, current.scope_id) == (code, scope.pk):
        return current
    if current.scope_id != scope.pk:
        _refuse_retired(scope)
    before = written_down.operation_content(current)
    current.code, current.scope = code, scope
    try:
        with transaction.atomic():
            current.save(update_fields=["code", "scope"])
    except IntegrityError as error:
        raise CertificationError(
            _("There is an operation %(operation)s already.") % {"operation": code}
        ) from error
    _record(written_down.OPERATION_CHANGED, current, actor, at, before=before)
    return current


@transaction.atomic
def remove_operation(*, operation: Operation, shown: Routed, actor: User, at: datetime) -> None:
    """Remove an operation; rows of work logs that name it are told as unknown from then on.

    Nothing refers to its row: checks of work logs keep what they found.

    Raises
    ------
    ChangedMeanwhile
        If it is not what was shown.
    """
    _refuse_others(actor)
    current = _locked(operation)
    _refuse_stale(current, shown)
    _record(written_down.OPERATION_REMOVED, current, actor, at)
    current.delete()


def _refuse_others(actor: User) -> None:
    if not actor.has_role(Role.QUALITY):
        raise CertificationError(_("Operations are kept by quality."))


def _refuse_retired(scope: Scope) -> None:
    if Scope.objects.get(pk=scope.pk).retired_at is not None:
        raise CertificationError(
            _("%(scope)s is retired. Name another scope, or restore it first.")
            % {"scope": scope.code}
        )


def _lock_scopes(scopes: Any) -> None:
    """Hold scopes, in one order, so that none is changed or retired while it begins to be used."""
    keys = {scope.pk for scope in scopes}
    list(Scope.objects.filter(pk__in=keys).order_by("pk").select_for_update(no_key=True))


def _locked(operation: Operation) -> Operation:
    # Read once the row is ours: one that is joined while waiting is compared with what it was
    # joined by before, so that PostgreSQL finds none where the other act changed the scope.
    held = Operation.objects.select_for_update(no_key=True).filter(pk=operation.pk)
    list(held.values_list("pk", flat=True))
    try:
        return Operation.objects.select_related("scope").get(pk=operation.pk)
    except Operation.DoesNotExist:
        raise ChangedMeanwhile(
            _("%(operation)s was removed meanwhile.") % {"operation": operation.code}
        ) from None


def _refuse_stale(current: Operation, shown: Routed) -> None:
    if (current.code, current.scope_id) != (shown.code, shown.scope.pk):
        raise ChangedMeanwhile(
            _("Somebody else changed this meanwhile. Look at what holds now, then do it again.")
        )


def _record(act: str, operation: Operation, actor: User, at: datetime, **details: Any) -> None:
    payload = written_down.operation_content(operation) | details
    trail.record(actor=actor, act=act, about=operation, payload=payload, at=at)
