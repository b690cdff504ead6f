"""Scopes and schemes: made, published, retired."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import Max
from django.utils.translation import gettext as _

from certification.exceptions import CertificationError
from certification.models import Scheme, SchemeRequirement, SchemeRevision, Scope
from certification.queries import written_down
from people.models import Role, User
from records.services import trail
from training.models import JointType


@dataclass(frozen=True)
class Figures:
    """The figures of a scheme revision, as the rules of standing use them."""

    validity_months: int
    expiry_rule: str = SchemeRevision.ExpiryRule.SAME_DAY
    renewal_window_days: int = 0
    vision_months: int = 0
    max_absence_months: int = 0

    @classmethod
    def of(cls, revision: SchemeRevision) -> "Figures":
        return cls(
            validity_months=revision.validity_months,
            expiry_rule=str(revision.expiry_rule),
            renewal_window_days=revision.renewal_window_days,
            vision_months=revision.vision_months,
            max_absence_months=revision.max_absence_months,
        )

    def as_json(self) -> dict[str, Any]:
        return asdict(self)


@dataclass(frozen=True)
class Asked:
    """Boards of one exercise that a scheme asks for; ``within_months`` 0 is ever."""

    scope: Scope
    exercise_code: str
    boards: int = 1
    purposes: Sequence[str] = ()
    within_months: int = 12


@transaction.atomic
def create_scope(
    *,
    code: str,
    title: str,
    level: str,
    joint_types: Sequence[str],
    actor: User | str | None,
    at: datetime,
    document: str = "",
) -> Scope:
    unknown = [name for name in joint_types if name not in JointType.values]
    if unknown:
        raise CertificationError(
            _("There is no joint type %(names)s.") % {"names": ", ".join(unknown)}
        )
    if Scope.objects.filter(code=code).exists():
        raise CertificationError(_("There is a scope %(code)s already.") % {"code": code})
    scope = Scope.objects.create(
        code=code, title=title, level=level, joint_types=list(joint_types), document=document
    )
    payload = written_down.scope_as_json(scope)
    trail.record(actor=actor, act=written_down.SCOPE_CREATED, about=scope, payload=payload, at=at)
    return scope


@transaction.atomic
def create_scheme_revision(
    *,
    scheme_code: str,
    title: str,
    figures: Figures,
    scopes: Sequence[Scope],
    requirements: Sequence[Asked] = (),
    actor: User | str | None,
    at: datetime,
    name: str = "",
    instructor_may_issue: bool = False,
    grader_needs_standing: bool = True,
    reminder_steps: Sequence[int] | None = None,
) -> SchemeRevision:
    """Draft the next revision of a scheme; the scheme is made with its first one.

    The name is ``<code>, rev. <number>`` unless given.
    """
    for asked in requirements:
        if asked.scope not in scopes:
            raise CertificationError(
                _("The revision asks for boards for %(scope)s without covering it.")
                % {"scope": asked.scope}
            )
    scheme, _made = Scheme.objects.get_or_create(code=scheme_code, defaults={"title": title})
    last = scheme.revisions.aggregate(last=Max("revision"))["last"] or 0
    extra: Mapping[str, Any] = (
        {} if reminder_steps is None else {"reminder_steps": sorted(reminder_steps, reverse=True)}
    )
    revision = SchemeRevision.objects.create(
        scheme=scheme,
        revision=last + 1,
        name=name or f"{scheme_code}, rev. {last + 1}",
        instructor_may_issue=instructor_may_issue,
        grader_needs_standing=grader_needs_standing,
        recorded_at=at,
        **figures.as_json(),
        **extra,
    )
    revision.scopes.set(scopes)
    SchemeRequirement.objects.bulk_create(
        SchemeRequirement(
            revision=revision,
            scope=asked.scope,
            exercise_code=asked.exercise_code,
            boards=asked.boards,
            purposes=list(asked.purposes),
            within_months=asked.within_months,
        )
        for asked in requirements
    )
    trail.record(
        actor=actor,
        act="scheme revision drafted",
        about=revision,
        payload={"name": revision.name, **figures.as_json()},
        at=at,
    )
    return revision


@transaction.atomic
def publish_scheme_revision(
    *, revision: SchemeRevision, actor: User | None, at: datetime
) -> SchemeRevision:
    """Publish a draft: from here on certificates are issued under it, and it never changes.

    The scheme's earlier revisions retire with that. Quality publishes; ``actor`` None is a
    program that sets an installation up.
    """
    if actor is not None and not actor.has_role(Role.QUALITY):
        raise CertificationError(_("Schemes are published by quality."))
    revision = SchemeRevision.objects.select_for_update(no_key=True).get(pk=revision.pk)
    if revision.published_at is not None:
        raise CertificationError(_("%(name)s is published already.") % {"name": revision})
    if not revision.scopes.exists():
        raise CertificationError(
            _("%(name)s covers no scope: say first what it certifies.") % {"name": revision}
        )
    revision.published_at, revision.published_by = at, actor
    revision.save(update_fields=["published_at", "published_by"])
    SchemeRevision.objects.filter(
        scheme=revision.scheme_id, published_at__isnull=False, retired_at__isnull=True
    ).exclude(pk=revision.pk).update(retired_at=at)
    trail.record(
        actor=actor,
        act=written_down.PUBLISHED[0],
        about=revision,
        payload=written_down.published_content(revision),
        at=at,
    )
    return revision


@transaction.atomic
def retire_scheme_revision(
    *, revision: SchemeRevision, actor: User | None, at: datetime
) -> SchemeRevision:
    """Issue nothing more under a revision; what was issued under it keeps its figures."""
    if actor is not None and not actor.has_role(Role.QUALITY):
        raise CertificationError(_("Schemes are retired by quality."))
    revision.retired_at = at
    revision.save(update_fields=["retired_at"])
    trail.record(
        actor=actor,
        act="scheme revision retired",
        about=revision,
        payload={"name": revision.name},
        at=at,
    )
    return revision
