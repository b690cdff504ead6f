"""Criteria sets: loaded, drafted, confirmed, published, retired. A published one never changes."""

from collections.abc import Collection
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.db.models import Max
from django.forms.models import model_to_dict
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from assessments.content import CriteriaSetContent, CriterionContent
from assessments.exceptions import CannotChangeCriteria
from assessments.models import CriteriaSet, Criterion
from assessments.queries import written_down
from people.models import Installation, User
from records.services import trail

EDITABLE = ("low", "high", "severity", "demerits", "document", "clause", "source_note")
TEXTS = ("title", "text", "reject", "advice")


@transaction.atomic
def load_criteria_set(
    *, content: CriteriaSetContent, actor: User | str | None, at: datetime
) -> CriteriaSet | None:
    """Add a set that comes along as a draft; None where its title and revision are known."""
    if CriteriaSet.objects.filter(title=content.title, revision=content.revision).exists():
        return None
    made = CriteriaSet.objects.create(
        title=content.title, revision=content.revision, summary=content.summary, recorded_at=at
    )
    Criterion.objects.bulk_create(
        _criterion(made, criterion, order)
        for order, criterion in enumerate(content.criteria, start=1)
    )
    _record("criteria set drafted", made, actor, at, criteria=len(content.criteria))
    return made


def _criterion(made: CriteriaSet, criterion: CriterionContent, order: int) -> Criterion:
    # Whatever comes along counts as unconfirmed: only a site can confirm it.
    return Criterion(
        criteria_set=made,
        code=criterion.code,
        order=order,
        stage=criterion.stage,
        of=criterion.of,
        joint_types=list(criterion.joint_types),
        alloys=list(criterion.alloys),
        how=criterion.how,
        quantity=criterion.quantity,
        low=criterion.low,
        high=criterion.high,
        unit=criterion.unit,
        datum=criterion.datum,
        severity=criterion.severity,
        demerits=criterion.demerits,
        accept_drawing=criterion.accept_drawing,
        reject_drawing=criterion.reject_drawing,
        texts=criterion.texts(),
        document=criterion.document,
        clause=criterion.clause,
        source_note=criterion.source_note,
    )


@transaction.atomic
def draft_next_revision(*, criteria_set: CriteriaSet, actor: User, at: datetime) -> CriteriaSet:
    """Copy a set into a draft with the next revision number; what was confirmed stays so."""
    draft = CriteriaSet.objects.filter(
        title=criteria_set.title, published_at__isnull=True, retired_at__isnull=True
    ).first()
    if draft is not None:
        raise CannotChangeCriteria(
            _("There is a draft already: %(draft)s. Go on with that one.") % {"draft": draft}
        )
    last = CriteriaSet.objects.filter(title=criteria_set.title).aggregate(n=Max("revision"))["n"]
    made = CriteriaSet.objects.create(
        title=criteria_set.title,
        revision=last + 1,
        summary=criteria_set.summary,
        recorded_at=at,
    )
    copies = list(criteria_set.criteria.all())
    for criterion in copies:
        criterion.pk = None
        criterion.criteria_set = made
    Criterion.objects.bulk_create(copies)
    _record("criteria set drafted", made, actor, at, copied_from=criteria_set.revision)
    return made


@transaction.atomic
def change_criterion(
    *, criterion: Criterion, actor: User, at: datetime, texts: dict[str, str], **fields: Any
) -> Criterion:
    """Change a criterion of a draft; it has to be confirmed again afterwards.

    Raises
    ------
    CannotChangeCriteria
        If the set is published, or the limits contradict each other or are missing.
    """
    unknown = (set(fields) - set(EDITABLE)) | (set(texts) - set(TEXTS))
    if unknown:
        raise TypeError(f"Criteria have no {', '.join(sorted(unknown))} to change.")
    criterion = Criterion.objects.select_related("criteria_set").get(pk=criterion.pk)
    refuse_published(criterion.criteria_set)
    before = _described(criterion)
    for name, value in fields.items():
        setattr(criterion, name, value)
    english = {**criterion.texts.get("en", {}), **texts}
    criterion.texts = {**criterion.texts, "en": english}
    _refuse_limits(criterion)
    after = _described(criterion)
    if before == after:
        return criterion
    criterion.confirmed_at = criterion.confirmed_by = None
    criterion.save(update_fields=[*EDITABLE, "texts", "confirmed_at", "confirmed_by"])
    changed = [name for name in after if after[name] != before[name]]
    _record(
        "criterion changed",
        criterion.criteria_set,
        actor,
        at,
        criterion=criterion.code,
        before={name: before[name] for name in changed},
        after={name: after[name] for name in changed},
    )
    return criterion


@transaction.atomic
def confirm_criteria(
    *, criteria_set: CriteriaSet, codes: Collection[str], actor: User, at: datetime
) -> int:
    """Say that somebody read these limits in the document they name; return how many are new.

    Raises
    ------
    CannotChangeCriteria
        If the set is published, or none of its criteria is named.
    """
    made = _locked(criteria_set)
    refuse_published(made)
    waiting = made.criteria.filter(code__in=codes, confirmed_at__isnull=True)
    confirmed = sorted(waiting.values_list("code", flat=True))
    if not confirmed:
        raise CannotChangeCriteria(_("Tick at least one criterion that is not confirmed yet."))
    waiting.update(confirmed_at=at, confirmed_by=actor)
    _record("criteria confirmed", made, actor, at, criteria=confirmed)
    return len(confirmed)


@transaction.atomic
def publish_criteria_set(
    *,
    criteria_set: CriteriaSet,
    actor: User | None,
    at: datetime,
    reason: str = "",
    proof: str = "",
) -> CriteriaSet:
    """Publish a draft, which boards are judged by from then on; what it replaces retires.

    Sets belong to the organisation: quality at any site publishes for all. What was begun by the
    set that is replaced is finished by it, so nobody at another site is stopped.

    Parameters
    ----------
    reason, proof : str
        Why, and what `people.services.proof.prove_identity` returned; in the trail. Nobody is
        asked for them where a command publishes.

    Raises
    ------
    CannotChangeCriteria
        If it is published already, has no criteria, or, outside a demo, has one whose limit
        nobody has confirmed.
    """
    made = _locked(criteria_set)
    refuse_published(made)
    if not made.criteria.exists():
        raise CannotChangeCriteria(_("A set without criteria has nothing to publish."))
    unverified = made.criteria.filter(confirmed_at__isnull=True).count()
    if unverified and not Installation.is_demo():
        raise CannotChangeCriteria(
            ngettext(
                "%(n)d criterion is not verified. Read it in its document and confirm it first.",
                "%(n)d criteria are not verified. Read them in their documents and confirm them "
                "first.",
                unverified,
            )
            % {"n": unverified}
        )
    made.published_at, made.published_by = at, actor
    made.save(update_fields=["published_at", "published_by"])
    content = written_down.published_content(made)
    why = {"reason": reason.strip(), "proof": proof}
    _record(written_down.PUBLISHED, made, actor, at, **content, unverified=unverified, **why)
    replaced = CriteriaSet.objects.current().filter(title=made.title).exclude(pk=made.pk)
    for old in replaced:
        retire_criteria_set(criteria_set=old, actor=actor, at=at, reason=reason, proof=proof)
    return made


@transaction.atomic
def retire_criteria_set(
    *,
    criteria_set: CriteriaSet,
    actor: User | None,
    at: datetime,
    reason: str = "",
    proof: str = "",
) -> CriteriaSet:
    """Stop judging by a set; what was judged by it stays, and so does the set.

    Raises
    ------
    CannotChangeCriteria
        If it is a draft or retired already, or no site could judge any more without it.
    """
    # All that are in force, so that two who retire one each do not leave none.
    in_force = CriteriaSet.objects.current().order_by("pk").select_for_update(no_key=True)
    others = [other for other in in_force if other.pk != criteria_set.pk]
    made = _locked(criteria_set)
    if made.retired_at is not None:
        raise CannotChangeCriteria(_("%(set)s is retired already.") % {"set": made})
    if made.published_at is None:
        raise CannotChangeCriteria(
            _("%(set)s is a draft: nothing is judged by it yet.") % {"set": made}
        )
    if not others:
        raise CannotChangeCriteria(
            _(
                "%(set)s is the only published set, and no site could judge without it. Publish "
                "its next revision: it retires by that."
            )
            % {"set": made}
        )
    made.retired_at = at
    made.save(update_fields=["retired_at"])
    _record("criteria set retired", made, actor, at, reason=reason.strip(), proof=proof)
    return made


def _locked(criteria_set: CriteriaSet) -> CriteriaSet:
    """The set as it stands, so that two people deciding on it do not cross."""
    return CriteriaSet.objects.select_for_update(no_key=True).get(pk=criteria_set.pk)


def refuse_published(criteria_set: CriteriaSet) -> None:
    if criteria_set.published_at is not None:
        raise CannotChangeCriteria(
            _("%(set)s is published and never changes. Draft the next revision.")
            % {"set": criteria_set}
        )


def _refuse_limits(criterion: Criterion) -> None:
    low, high = criterion.low, criterion.high
    if criterion.is_measured and low is None and high is None:
        raise CannotChangeCriteria(_("What is measured needs a limit: give one or both."))
    if low is not None and high is not None and low > high:
        raise CannotChangeCriteria(_("The lower limit lies above the upper one."))


def _described(criterion: Criterion) -> dict[str, Any]:
    described = model_to_dict(criterion, fields=EDITABLE) | {"texts": criterion.texts.get("en", {})}
    return {
        name: format(value.normalize(), "f") if isinstance(value, Decimal) else value
        for name, value in described.items()
    }


def _record(
    act: str, made: CriteriaSet, actor: User | str | None, at: datetime, **details: Any
) -> None:
    payload = {"set": made.title, "revision": made.revision} | details
    trail.record(actor=actor, act=act, about=made, payload=payload, at=at)
