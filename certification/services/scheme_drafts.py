"""Drafts of schemes: begun, changed, drawn up anew from a published one, discarded."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import Max
from django.utils.translation import gettext as _

from assessments.models import Board
from assessments.queries.criteria_sets import two_confirm
from certification.domain.scheme_rules import MOST_BOARDS, MOST_DAYS, MOST_MONTHS, MOST_STEPS
from certification.exceptions import CertificationError, ChangedMeanwhile
from certification.models import Scheme, SchemeRequirement, SchemeRevision, Scope
from certification.queries.scheme_drafts import RULES, SOURCED, draft_digest, state_of
from people.models import Role, User
from records.services import trail

from .schemes import Asked, locked, revision_name

DRAFTED = "scheme revision drafted"
CHANGED = "scheme draft changed"
LOOKED_THROUGH = "scheme draft looked through"
DISCARDED = "scheme draft discarded"


@dataclass(frozen=True)
class Draft:
    """Everything that a draft says.

    Attributes
    ----------
    title : str
        Of the scheme; it is taken while no revision of it was published, and kept afterwards.
    rules : mapping
        By the names of `queries.scheme_drafts.RULES`.
    sources : mapping of str to str
        Where a figure comes from, by the names of `queries.scheme_drafts.SOURCED`.
    """

    title: str
    rules: Mapping[str, Any]
    scopes: Collection[Scope]
    requirements: Sequence[Asked]
    sources: Mapping[str, str] = field(default_factory=dict)


@transaction.atomic
def begin_scheme(
    *, code: str, draft: Draft, actor: User | str | None, at: datetime, is_starter: bool = False
) -> SchemeRevision:
    """Begin a scheme with the draft of its first revision.

    Raises
    ------
    CertificationError
        If there is a scheme of that code, in whatever capitals, or something does not fit.
    """
    _refuse_others(actor)
    _refuse_unsound(draft)
    # Scopes before the trail, as everybody locks them who changes one.
    held = [scope.pk for scope in draft.scopes] + [asked.scope.pk for asked in draft.requirements]
    list(Scope.objects.filter(pk__in=held).order_by("pk").select_for_update(no_key=True))
    # A scheme that is being begun has no row yet that others could wait for.
    trail.lock_trail()
    for known in Scheme.objects.values_list("code", flat=True):
        if known.casefold() == code.casefold():
            raise CertificationError(
                _("There is a scheme %(code)s already. Draft its next revision, or give another.")
                % {"code": known}
            )
    scheme = Scheme.objects.create(code=code, title=draft.title)
    revision = SchemeRevision.objects.create(
        scheme=scheme,
        revision=1,
        name=revision_name(code, 1),
        recorded_at=at,
        is_starter=is_starter,
        sources=_sources(draft.sources),
        **_changed_by(actor, at),
        **draft.rules,
    )
    _write_rows(revision, draft)
    _record(DRAFTED, revision, actor, at, state=state_of(revision))
    return revision


@transaction.atomic
def draft_next_revision(*, revision: SchemeRevision, actor: User, at: datetime) -> SchemeRevision:
    """Copy a published revision into a draft with the scheme's next number.

    Raises
    ------
    CertificationError
        If it is a draft itself, or the scheme has one.
    """
    _refuse_others(actor)
    scheme = Scheme.objects.select_for_update(no_key=True).get(pk=revision.scheme_id)
    source = SchemeRevision.objects.get(pk=revision.pk)
    draft = SchemeRevision.objects.drafts().filter(scheme=scheme).first()
    if draft is not None:
        raise CertificationError(
            _("There is a draft already: %(draft)s. Go on with that one.") % {"draft": draft}
        )
    last = scheme.revisions.aggregate(last=Max("revision"))["last"]
    made = SchemeRevision.objects.create(
        scheme=scheme,
        revision=last + 1,
        name=revision_name(scheme.code, last + 1),
        recorded_at=at,
        begun_from=source,
        sources=source.sources,
        **_changed_by(actor, at),
        **{name: getattr(source, name) for name in RULES},
    )
    _write_rows(made, draft_of(source))
    _record(DRAFTED, made, actor, at, copied_from=source.name)
    return made


def draft_of(revision: SchemeRevision) -> Draft:
    """What a revision says, to begin another from."""
    return Draft(
        title=revision.scheme.title,
        rules={name: getattr(revision, name) for name in RULES},
        scopes=list(revision.scopes.all()),
        requirements=[
            Asked(
                scope=row.scope,
                exercise_code=row.exercise_code,
                boards=row.boards,
                purposes=tuple(row.purposes),
                within_months=row.within_months,
                after_exercise=row.after_exercise,
                after_course=row.after_course,
            )
            for row in revision.requirements.select_related("scope")
        ],
        sources=revision.sources,
    )


def retitled(draft: Draft, title: str) -> Draft:
    """What a draft says, under another title."""
    return replace(draft, title=title)


@transaction.atomic
def change_draft(
    *, revision: SchemeRevision, draft: Draft, seen: str, actor: User, at: datetime
) -> list[str]:
    """Have a draft say something else; return the figures whose source no longer holds.

    A source that stayed while its figure changed would speak of another figure, and is taken off.
    Where a site asks for two people, one that nobody has changed yet counts as looked through.

    Parameters
    ----------
    seen : str
        `queries.scheme_drafts.draft_digest` of it as the page showed it.

    Raises
    ------
    CertificationError
        If it is published, or something does not fit.
    ChangedMeanwhile
        If somebody else changed it since it was shown.
    """
    _refuse_others(actor)
    current = _locked_draft(revision)
    before = state_of(current)
    if seen != draft_digest(current):
        raise ChangedMeanwhile(
            _(
                "%(who)s changed the draft since you opened it. What stands there now is said "
                "below; what you typed is kept. Save again to have yours."
            )
            % {"who": current.changed_by or _("Somebody else")}
        )
    _refuse_unsound(draft)
    given = _sources(draft.sources)
    stale = [
        name
        for name in RULES
        if given.get(name)
        and given[name] == current.sources.get(name)
        and before[name] != draft.rules[name]
    ]
    _write_row(current, draft, {name: given[name] for name in given if name not in stale})
    after = state_of(current)
    if after == before:
        _look_through(current, actor, at)
        return []
    _save_changed_by(current, actor, at)
    changed = [name for name in after if after[name] != before[name]]
    _record(
        CHANGED,
        current,
        actor,
        at,
        before={name: before[name] for name in changed},
        after={name: after[name] for name in changed},
    )
    return stale


def _write_row(current: SchemeRevision, draft: Draft, sources: Mapping[str, str]) -> None:
    for name in RULES:
        setattr(current, name, draft.rules[name])
    current.sources = dict(sources)
    current.save(update_fields=[*RULES, "sources"])
    scheme = current.scheme
    if scheme.title != draft.title and not has_been_published(scheme):
        scheme.title = draft.title
        scheme.save(update_fields=["title"])
    current.requirements.all().delete()
    _write_rows(current, draft)


def has_been_published(scheme: Scheme) -> bool:
    """Whether any revision of a scheme ever was, so that its title is known and stays."""
    return scheme.revisions.filter(published_at__isnull=False).exists()


def _look_through(current: SchemeRevision, actor: User, at: datetime) -> None:
    if current.changed_by_id is None and two_confirm():
        _save_changed_by(current, actor, at)
        _record(LOOKED_THROUGH, current, actor, at)


def _save_changed_by(current: SchemeRevision, actor: User, at: datetime) -> None:
    current.changed_at, current.changed_by = at, actor
    current.save(update_fields=["changed_at", "changed_by"])


@transaction.atomic
def discard_draft(
    *, revision: SchemeRevision, why: str, seen: str, actor: User, at: datetime
) -> None:
    """Throw a draft away, and its scheme with the first one; the trail keeps what it said.

    Raises
    ------
    CertificationError
        If it is published, no reason was given, or it was changed since it was shown.
    """
    _refuse_others(actor)
    current = _locked_draft(revision)
    if seen != draft_digest(current):
        raise ChangedMeanwhile(
            _("The draft was changed since you opened this page. Look at it again first.")
        )
    if not why.strip():
        raise CertificationError(_("Say why: whoever reads of it later asks."))
    _record(DISCARDED, current, actor, at, why=why.strip(), state=state_of(current))
    scheme = current.scheme
    current.delete()
    if not scheme.revisions.exists():
        scheme.delete()


def _write_rows(revision: SchemeRevision, draft: Draft) -> None:
    revision.scopes.set(draft.scopes)
    SchemeRequirement.objects.bulk_create(asked.as_row(revision) for asked in draft.requirements)


def _locked_draft(revision: SchemeRevision) -> SchemeRevision:
    """The draft under its lock, which is taken after its scheme's, as by publishing."""
    try:
        Scheme.objects.select_for_update(no_key=True).get(pk=revision.scheme_id)
        current = locked(revision)
    except (Scheme.DoesNotExist, SchemeRevision.DoesNotExist):
        raise CertificationError(
            _("%(name)s was discarded meanwhile.") % {"name": revision}
        ) from None
    if current.published_at is not None:
        raise CertificationError(
            _("%(name)s is published and never changes. Draft the next revision.")
            % {"name": current}
        )
    return current


def _refuse_others(actor: User | str | None) -> None:
    if isinstance(actor, User) and not actor.has_role(Role.INSTRUCTOR, Role.QUALITY):
        raise CertificationError(_("Schemes are drafted by instructors and quality."))


def _refuse_unsound(draft: Draft) -> None:
    """Raise CertificationError for what no draft may say, whether or not it is published."""
    if set(draft.rules) != set(RULES):
        raise TypeError(f"A draft says {', '.join(RULES)}, each of them.")
    months = [draft.rules[name] for name in RULES if name.endswith("_months")]
    if draft.rules["validity_months"] < 1 or not all(0 <= one <= MOST_MONTHS for one in months):
        raise CertificationError(
            _("Give months from 0 to %(most)d, and at least 1 for how long it is good.")
            % {"most": MOST_MONTHS}
        )
    steps = draft.rules["reminder_steps"]
    days = [draft.rules["renewal_window_days"], draft.rules["wait_days"], *steps]
    if not all(0 <= one <= MOST_DAYS for one in days) or len(steps) > MOST_STEPS:
        raise CertificationError(
            _("Give days from 0 to %(most)d, and no more than %(steps)d reminders.")
            % {"most": MOST_DAYS, "steps": MOST_STEPS}
        )
    boards = [draft.rules["attempts"], draft.rules["retraining_boards"]]
    if not all(0 <= one <= MOST_BOARDS for one in boards):
        raise CertificationError(
            _("Give attempts and practice boards from 0 to %(most)d.") % {"most": MOST_BOARDS}
        )
    seen = set()
    for asked in draft.requirements:
        if (asked.scope.pk, asked.exercise_code) in seen:
            raise CertificationError(
                _("%(scope)s asks for %(exercise)s twice. Put both into one line.")
                % {"scope": asked.scope.code, "exercise": asked.exercise_code}
            )
        seen.add((asked.scope.pk, asked.exercise_code))
        _refuse_unsound_line(asked)


def _refuse_unsound_line(asked: Asked) -> None:
    is_sound = 1 <= asked.boards <= MOST_BOARDS and 0 <= asked.within_months <= MOST_MONTHS
    if not is_sound or set(asked.purposes) - set(Board.Purpose.values):
        raise CertificationError(
            _("Ask for 1 to %(boards)d boards, passed within 0 to %(months)d months.")
            % {"boards": MOST_BOARDS, "months": MOST_MONTHS}
        )


def _sources(sources: Mapping[str, str]) -> dict[str, str]:
    unknown = set(sources) - set(SOURCED)
    if unknown:
        raise TypeError(f"Schemes have no {', '.join(sorted(unknown))} to give a source for.")
    return {name: text.strip() for name, text in sources.items() if text.strip()}


def _changed_by(actor: User | str | None, at: datetime) -> dict[str, Any]:
    return {"changed_at": at, "changed_by": actor} if isinstance(actor, User) else {}


def _record(
    act: str, revision: SchemeRevision, actor: User | str | None, at: datetime, **details: Any
) -> None:
    payload = {"name": revision.name, **details}
    trail.record(actor=actor, act=act, about=revision, payload=payload, at=at)
