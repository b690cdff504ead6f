"""Scopes and schemes: made, published, retired."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import Max
from django.utils.translation import gettext as _

from certification.domain.path import NO_FIGURES, PathFigures
from certification.exceptions import CertificationError
from certification.models import Scheme, SchemeRequirement, SchemeRevision, Scope
from certification.queries import scheme_drafts, scheme_faults
from certification.queries import schemes_written_down as written_down
from people.models import Role, User
from records.services import trail
from records.services.shown import refuse_unless_shown
from training.models import JointType

from .scopes import refuse_known_code

NAME_LENGTH = 80
"""Of a revision, which may be another scheme's code in full."""


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
    after_exercise: str = ""
    after_course: str = ""

    def as_row(self, revision: SchemeRevision) -> SchemeRequirement:
        """The row that says so; not stored."""
        return SchemeRequirement(
            revision=revision,
            scope=self.scope,
            exercise_code=self.exercise_code,
            boards=self.boards,
            purposes=list(self.purposes),
            within_months=self.within_months,
            after_exercise=self.after_exercise,
            after_course=self.after_course,
        )


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
    source_note: str = "",
) -> Scope:
    """Make a scope; nothing is certified for it before a scheme that covers it is published.

    Raises
    ------
    CertificationError
        If there is no such joint type, or a scope of that code, in whatever capitals.
    """
    unknown = [name for name in joint_types if name not in JointType.values]
    if unknown:
        raise CertificationError(
            _("There is no joint type %(names)s.") % {"names": ", ".join(unknown)}
        )
    # A scope that is being made has no row yet that others could wait for.
    trail.lock_trail()
    refuse_known_code(code)
    scope = Scope.objects.create(
        code=code,
        title=title,
        level=level,
        joint_types=list(joint_types),
        document=document,
        source_note=source_note,
    )
    payload = written_down.scope_content(scope)
    trail.record(actor=actor, act=written_down.SCOPE_CREATED, about=scope, payload=payload, at=at)
    return scope


def revision_name(scheme_code: str, number: int) -> str:
    """``<code>, rev. <number>``, told from what an earlier register calls a scheme of its own."""
    for again in range(1, 1000):
        ending = f", rev. {number}" + (f" ({again})" if again > 1 else "")
        name = scheme_code[: NAME_LENGTH - len(ending)] + ending
        if not SchemeRevision.objects.filter(name=name).exists():
            return name
    raise CertificationError(
        _("There are too many revisions called %(name)s. Begin a scheme under another code.")
        % {"name": scheme_code}
    )


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
    path: PathFigures = NO_FIGURES,
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
        name=name or revision_name(scheme_code, last + 1),
        instructor_may_issue=instructor_may_issue,
        grader_needs_standing=grader_needs_standing,
        recorded_at=at,
        **figures.as_json(),
        **asdict(path),
        **extra,
    )
    revision.scopes.set(scopes)
    SchemeRequirement.objects.bulk_create(asked.as_row(revision) for asked in requirements)
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
    *,
    revision: SchemeRevision,
    actor: User | None,
    at: datetime,
    reason: str = "",
    proof: str = "",
    shown: str | None = None,
) -> SchemeRevision:
    """Publish a draft: from here on certificates are issued under it, and it never changes.

    The scheme's earlier revisions retire with that. Schemes belong to the organisation: quality at
    any site publishes for all; ``actor`` None is a program that sets an installation up.
    Certificates that were issued keep the figures that they were issued under.

    Parameters
    ----------
    reason, proof : str
        Why, and what `people.services.proof.prove_identity` returned; with a proof it is signed.
    shown : str, optional
        The digest of `scheme_drafts.content_to_publish` as the page showed it; None without a page.

    Raises
    ------
    CertificationError
        If it is published already, something keeps it from being published
        (`certification.domain.scheme_rules`), or a second person has to.
    ShownOtherwise
        If it is not what was shown.
    """
    _refuse_others(actor, _("Schemes are published by quality."))
    _lock_schemes()
    revision = locked(revision)
    if revision.published_at is not None:
        raise CertificationError(_("%(name)s is published already.") % {"name": revision})
    _lock_scopes(revision)
    refuse_unless_shown(shown, scheme_drafts.content_to_publish(revision))
    if actor is not None and (why := scheme_drafts.refusing_for_second(revision, actor)):
        raise CertificationError(scheme_faults.second_said(why))
    wrong = scheme_faults.faults_of(revision)
    if wrong:
        raise CertificationError(" ".join([_("Not yet: it cannot be published so."), *wrong]))
    replaced = scheme_drafts.replaced_by(revision)
    revision.published_at, revision.published_by = at, actor
    revision.publishing_reason = reason.strip()
    revision.save(update_fields=["published_at", "published_by", "publishing_reason"])
    content = written_down.published_content(revision)
    if actor is not None and proof:
        trail.sign(
            actor=actor,
            meaning=written_down.PUBLISHES,
            about=revision,
            content=content,
            at=at,
            zone=actor.person.site.time_zone if actor.person else "UTC",
            proof=proof,
        )
    trail.record(actor=actor, act=written_down.PUBLISHED[0], about=revision, payload=content, at=at)
    for old in replaced:
        _retire(old, actor=actor, at=at, replaced_by=revision.name)
    return revision


@transaction.atomic
def retire_scheme_revision(
    *,
    revision: SchemeRevision,
    actor: User | None,
    at: datetime,
    reason: str = "",
    proof: str = "",
) -> SchemeRevision:
    """Issue nothing more under a revision; what was issued under it keeps its figures.

    Raises
    ------
    CertificationError
        If it is a draft, or retired already.
    """
    _refuse_others(actor, _("Schemes are retired by quality."))
    _lock_schemes()
    revision = locked(revision)
    if revision.published_at is None:
        raise CertificationError(
            _("%(name)s is a draft: nothing is issued under it yet. Discard it instead.")
            % {"name": revision}
        )
    if revision.retired_at is not None:
        raise CertificationError(_("%(name)s is retired already.") % {"name": revision})
    _retire(revision, actor=actor, at=at, reason=reason.strip(), proof=proof)
    return revision


def _retire(revision: SchemeRevision, *, actor: User | None, at: datetime, **said: str) -> None:
    revision.retired_at = at
    revision.save(update_fields=["retired_at"])
    details = {name: text for name, text in said.items() if text}
    trail.record(
        actor=actor,
        act=written_down.RETIRED,
        about=revision,
        payload={"name": revision.name, **details},
        at=at,
    )


def _refuse_others(actor: User | None, sentence: str) -> None:
    if actor is not None and not actor.has_role(Role.QUALITY):
        raise CertificationError(sentence)


def _lock_schemes() -> None:
    """Hold every scheme, in one order.

    Whoever publishes or retires decides by what else is in force, of all schemes. Locks are taken
    in this order: schemes, the revision, its scopes.
    """
    list(Scheme.objects.order_by("pk").select_for_update(no_key=True))


def _lock_scopes(revision: SchemeRevision) -> None:
    """Hold the scopes of a revision, so that none is changed or retired while it is published."""
    scopes = revision.scopes.order_by().values("pk")
    list(Scope.objects.filter(pk__in=scopes).order_by("pk").select_for_update(no_key=True))


def locked(revision: SchemeRevision) -> SchemeRevision:
    """The revision as it stands, so that two people deciding on it do not cross."""
    return (
        SchemeRevision.objects.select_for_update(of=("self",), no_key=True)
        .select_related("scheme")
        .get(pk=revision.pk)
    )
