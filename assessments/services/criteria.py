"""Criteria sets: begun, loaded, revised, confirmed, published, retired.

A published set never changes. What is changed in a draft stands in `criteria_drafts`.
"""

from collections.abc import Collection, Mapping
from datetime import datetime
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import Max
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from assessments.content import CriteriaSetContent, CriterionContent
from assessments.domain.source_notes import without_doubts
from assessments.exceptions import CannotChangeCriteria
from assessments.models import CriteriaSet, Criterion, ExerciseCriteria
from assessments.queries import criteria_sets, written_down
from people.models import Installation, User
from records.exceptions import ShownOtherwise
from records.services import trail
from training.models import Exercise


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
    record("criteria set drafted", made, actor, at, criteria=len(content.criteria))
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
def begin_criteria_set(
    *,
    title: str,
    actor: User,
    at: datetime,
    summary: str = "",
    document: str = "",
    product_class: str = "",
    copied_from: CriteriaSet | None = None,
) -> CriteriaSet:
    """Begin a set of the site's own as a draft, empty or as a copy of another.

    What was confirmed in the one that is copied stays confirmed. Where boards are judged by
    another set already, exercises have to name the new one before anything is judged by it.

    Raises
    ------
    CannotChangeCriteria
        If there is a set of that title.
    """
    # A set that is being begun has no row yet that others could wait for.
    trail.lock_trail()
    titles = CriteriaSet.objects.order_by().values_list("title", flat=True).distinct()
    # In Python, since SQLite knows the capitals of ASCII alone.
    alike = next((known for known in titles if known.casefold() == title.casefold()), None)
    if alike is not None:
        raise CannotChangeCriteria(
            _("There is a set “%(title)s” already. Draft its next revision, or give another title.")
            % {"title": alike}
        )
    made = CriteriaSet.objects.create(
        title=title,
        revision=1,
        summary=summary,
        document=document,
        product_class=product_class,
        by_default=not CriteriaSet.objects.filter(by_default=True).exists(),
        recorded_at=at,
    )
    if copied_from is not None:
        _copy(copied_from, made)
    record(
        "criteria set drafted",
        made,
        actor,
        at,
        document=document,
        product_class=product_class,
        copied_from=str(copied_from) if copied_from else "",
    )
    return made


def _copy(source: CriteriaSet, made: CriteriaSet) -> None:
    Criterion.objects.bulk_create(
        criterion.as_draft_copy(made) for criterion in source.criteria.all()
    )


@transaction.atomic
def draft_next_revision(*, criteria_set: CriteriaSet, actor: User, at: datetime) -> CriteriaSet:
    """Copy a set into a draft with the next revision number; what was confirmed stays so."""
    _lock_title(criteria_set.title)
    # Read anew: whoever waited for the lock does not see in it what was begun meanwhile.
    draft = CriteriaSet.objects.drafts().filter(title=criteria_set.title).first()
    if draft is not None:
        raise CannotChangeCriteria(
            _("There is a draft already: %(draft)s. Go on with that one.") % {"draft": draft}
        )
    last = CriteriaSet.objects.filter(title=criteria_set.title).aggregate(n=Max("revision"))["n"]
    source = CriteriaSet.objects.get(pk=criteria_set.pk)
    made = CriteriaSet.objects.create(
        title=source.title,
        revision=last + 1,
        summary=source.summary,
        document=source.document,
        product_class=source.product_class,
        by_default=source.by_default,
        begun_from=source,
        recorded_at=at,
    )
    _copy(source, made)
    record("criteria set drafted", made, actor, at, copied_from=source.revision)
    return made


@transaction.atomic
def discard_draft(
    *, criteria_set: CriteriaSet, why: str, seen: str, actor: User, at: datetime
) -> None:
    """Throw a draft away whole; the trail keeps what it said and why it went.

    Parameters
    ----------
    seen : str
        `criteria_sets.draft_digest` of it as the page showed it.

    Raises
    ------
    CannotChangeCriteria
        If it is published, or was changed since it was shown.
    """
    made = locked(criteria_set)
    refuse_published(made)
    if seen != criteria_sets.draft_digest(made):
        raise CannotChangeCriteria(
            _("The draft was changed since you opened this page. Look at it again first.")
        )
    said = {criterion.code: criteria_sets.state_of(criterion) for criterion in made.criteria.all()}
    record("criteria draft discarded", made, actor, at, why=why.strip(), criteria=said)
    made.delete()


DESCRIBED = ("summary", "document", "product_class", "by_default")


@transaction.atomic
def describe_draft(
    *, criteria_set: CriteriaSet, actor: User, at: datetime, shown: Mapping[str, Any], **said: Any
) -> CriteriaSet:
    """Change what a draft says of itself as a whole.

    Parameters
    ----------
    shown : mapping
        What the page was filled with, by the names of `DESCRIBED`.

    Raises
    ------
    CannotChangeCriteria
        If it is published, or says otherwise by now than the page showed.
    """
    unknown = set(said) - set(DESCRIBED)
    if unknown:
        raise TypeError(f"Sets have no {', '.join(sorted(unknown))} to change.")
    made = locked(criteria_set)
    refuse_published(made)
    before = {name: getattr(made, name) for name in DESCRIBED}
    if any(str(before[name]) != str(value) for name, value in shown.items() if name in before):
        raise CannotChangeCriteria(
            _("Somebody else changed this meanwhile. Look at what holds now, then do it again.")
        )
    after = before | said
    if after == before:
        return made
    for name, value in said.items():
        setattr(made, name, value)
    made.save(update_fields=list(said))
    changed = [name for name in DESCRIBED if before[name] != after[name]]
    record(
        "criteria set described",
        made,
        actor,
        at,
        before={name: before[name] for name in changed},
        after={name: after[name] for name in changed},
    )
    return made


@transaction.atomic
def confirm_criteria(
    *,
    criteria_set: CriteriaSet,
    codes: Collection[str],
    actor: User,
    at: datetime,
    edition: str = "",
    seen: Mapping[str, str] | None = None,
) -> int:
    """Say that somebody read these limits in the document they name; return how many are new.

    What a note said of an uncertain source goes by it; the trail keeps the note. Where a site
    asks for two, whoever comes second confirms again what somebody else has confirmed.

    Parameters
    ----------
    edition : str
        The edition that was read; each of the criteria names it from then on.
    seen : mapping of str to str, optional
        By code the digest of each as the page showed it.

    Raises
    ------
    CannotChangeCriteria
        If the set is published, one was changed since, or none of them waits for this person.
    """
    made = locked(criteria_set)
    refuse_published(made)
    by_two = criteria_sets.two_confirm()
    first: list[Criterion] = []
    second: list[Criterion] = []
    mine: list[Criterion] = []
    for criterion in made.criteria.filter(code__in=codes):
        if seen is not None and seen.get(criterion.code) != criteria_sets.digest_of(criterion):
            raise CannotChangeCriteria(
                _("%(code)s was changed since you opened this page. Read it again, then confirm.")
                % {"code": criterion.code}
            )
        if criterion.confirmed_at is None:
            first.append(criterion)
        elif by_two and criterion.also_confirmed_at is None:
            (mine if criterion.confirmed_by_id == actor.pk else second).append(criterion)
    if mine and not first and not second:
        raise CannotChangeCriteria(
            _("You confirmed them first. A second person has to read them too.")
        )
    if not first and not second:
        raise CannotChangeCriteria(_("Tick at least one criterion that is not confirmed yet."))
    notes, editions = {}, {}
    for criterion in first:
        criterion.confirmed_at, criterion.confirmed_by = at, actor
        note = without_doubts(criterion.source_note)
        if note != criterion.source_note:
            notes[criterion.code], criterion.source_note = criterion.source_note, note
    for criterion in second:
        criterion.also_confirmed_at, criterion.also_confirmed_by = at, actor
    for criterion in (*first, *second):
        if edition and criterion.edition != edition:
            if criterion in second:
                raise CannotChangeCriteria(
                    _("%(code)s was confirmed in %(edition)s. Read the same edition, or change it.")
                    % {"code": criterion.code, "edition": criterion.edition or _("no edition")}
                )
            editions[criterion.code], criterion.edition = criterion.edition, edition
    Criterion.objects.bulk_update(
        [*first, *second],
        [
            "confirmed_at",
            "confirmed_by",
            "also_confirmed_at",
            "also_confirmed_by",
            "edition",
            "source_note",
        ],
    )
    read = {
        criterion.code: [criterion.document, criterion.edition, criterion.clause]
        for criterion in (*first, *second)
    }
    details: dict[str, Any] = {"read": read}
    details |= {"notes_before": notes} if notes else {}
    details |= {"editions_before": editions} if editions else {}
    details |= {"second": sorted(one.code for one in second)} if second else {}
    record("criteria confirmed", made, actor, at, criteria=sorted(read), **details)
    return len(read)


@transaction.atomic
def publish_criteria_set(
    *,
    criteria_set: CriteriaSet,
    actor: User | None,
    at: datetime,
    reason: str = "",
    proof: str = "",
    shown: str | None = None,
) -> CriteriaSet:
    """Publish a draft, which boards are judged by from then on; what it replaces retires.

    Sets belong to the organisation: quality at any site publishes for all. What was begun by the
    set that is replaced is finished by it, so nobody at another site is stopped.

    Parameters
    ----------
    reason, proof : str
        Why, and what `people.services.proof.prove_identity` returned; in the trail. Nobody is
        asked for them where a command publishes.
    shown : str, optional
        `criteria_sets.draft_digest` of the draft as the page showed it; None where a command
        publishes.

    Raises
    ------
    CannotChangeCriteria
        If it is published already, has no criteria, or, outside a demo, has one whose limit nobody
        has confirmed.
    ShownOtherwise
        If it is not what was shown.
    """
    _lock_sets()
    made = CriteriaSet.objects.get(pk=criteria_set.pk)
    refuse_published(made)
    if shown is not None and shown != criteria_sets.draft_digest(made):
        raise ShownOtherwise
    if not made.criteria.exists():
        raise CannotChangeCriteria(_("A set without criteria has nothing to publish."))
    by_two = criteria_sets.two_confirm()
    unverified = len(criteria_sets.unconfirmed(made.criteria.all(), by_two=by_two))
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
    made.publishing_reason = reason.strip()
    made.save(update_fields=["published_at", "published_by", "publishing_reason"])
    content = written_down.published_content(made)
    why = {"reason": reason.strip(), "proof": proof}
    record(written_down.PUBLISHED, made, actor, at, **content, unverified=unverified, **why)
    replaced = CriteriaSet.objects.current().filter(title=made.title).exclude(pk=made.pk)
    for old in replaced:
        _retire(old, actor=actor, at=at, reason=reason, proof=proof)
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
        If it is a draft or retired already, or no site could judge any more without it, or an
        exercise names it.
    """
    _lock_sets()
    made = CriteriaSet.objects.get(pk=criteria_set.pk)
    return _retire(made, actor=actor, at=at, reason=reason, proof=proof)


def _retire(
    made: CriteriaSet, *, actor: User | None, at: datetime, reason: str, proof: str
) -> CriteriaSet:
    """Retire a set that is read under the lock of all."""
    others = CriteriaSet.objects.current().exclude(pk=made.pk)
    if made.retired_at is not None:
        raise CannotChangeCriteria(_("%(set)s is retired already.") % {"set": made})
    if made.published_at is None:
        raise CannotChangeCriteria(
            _("%(set)s is a draft: nothing is judged by it yet.") % {"set": made}
        )
    if made.by_default and not any(other.by_default for other in others):
        raise CannotChangeCriteria(
            _(
                "%(set)s is the only published set, and no site could judge without it. Publish "
                "its next revision: it retires by that."
            )
            % {"set": made}
        )
    naming = criteria_sets.exercises_naming(made.title)
    if naming and not any(other.title == made.title for other in others):
        raise CannotChangeCriteria(
            _("These exercises name %(set)s: %(exercises)s. Let them name another set first.")
            % {"set": made.title, "exercises": ", ".join(naming)}
        )
    made.retired_at = at
    made.save(update_fields=["retired_at"])
    record(written_down.SET_RETIRED, made, actor, at, reason=reason.strip(), proof=proof)
    return made


@transaction.atomic
def choose_for_exercise(
    *, exercise: Exercise, title: str, shown: str, actor: User, at: datetime
) -> ExerciseCriteria | None:
    """Name the set that boards of an exercise begin with, in every revision of it.

    Boards that somebody has begun to judge keep the set they were begun with.

    Parameters
    ----------
    title : str
        Empty for the set that judges by default.
    shown : str
        What the page showed as chosen.

    Raises
    ------
    CannotChangeCriteria
        If nothing of that title is in force, or another was chosen meanwhile.
    """
    # Every set in force, so that the one that is chosen is not retired at the same moment.
    in_force = list(CriteriaSet.objects.current().order_by("pk").select_for_update(no_key=True))
    if title and not any(made.title == title for made in in_force):
        raise CannotChangeCriteria(
            _("Nothing of “%(title)s” is published. Publish it first, then choose it.")
            % {"title": title}
        )
    choice = (
        ExerciseCriteria.objects.select_for_update(no_key=True)
        .filter(exercise_code=exercise.code)
        .first()
    )
    before = choice.title if choice else ""
    if before != shown:
        raise CannotChangeCriteria(
            _("Somebody else changed this meanwhile. Look at what holds now, then do it again.")
        )
    if before == title:
        return choice
    if choice is None:
        try:
            with transaction.atomic():
                choice = ExerciseCriteria.objects.create(
                    exercise_code=exercise.code, title=title, chosen_by=actor, recorded_at=at
                )
        except IntegrityError as error:
            raise CannotChangeCriteria(
                _("Somebody else changed this meanwhile. Look at what holds now, then do it again.")
            ) from error
    else:
        choice.title, choice.chosen_by = title, actor
        choice.save(update_fields=["title", "chosen_by"])
    payload = written_down.exercise_criteria_content(choice) | {"before": before}
    trail.record(actor=actor, act=written_down.CHOSEN, about=choice, payload=payload, at=at)
    return choice


def _lock_sets() -> None:
    """Hold every set, in one order.

    Of two who publish or retire at once each decides by what is in force of all titles: one who
    held a title first and all else after would wait for one who did the same with another.
    """
    list(CriteriaSet.objects.order_by("pk").select_for_update(no_key=True))


def _lock_title(title: str) -> None:
    """Hold every revision of a title, in one order, so that no two who decide on it cross."""
    list(CriteriaSet.objects.filter(title=title).order_by("pk").select_for_update(no_key=True))


def locked(criteria_set: CriteriaSet) -> CriteriaSet:
    """The set as it stands, so that two people deciding on it do not cross."""
    return CriteriaSet.objects.select_for_update(no_key=True).get(pk=criteria_set.pk)


def refuse_published(criteria_set: CriteriaSet) -> None:
    if criteria_set.published_at is not None:
        raise CannotChangeCriteria(
            _("%(set)s is published and never changes. Draft the next revision.")
            % {"set": criteria_set}
        )


def record(
    act: str, made: CriteriaSet, actor: User | str | None, at: datetime, **details: Any
) -> None:
    payload = {"set": made.title, "revision": made.revision} | details
    trail.record(actor=actor, act=act, about=made, payload=payload, at=at)
