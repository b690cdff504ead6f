"""What is changed in a draft of criteria: added, changed, put in order, taken out, taken up."""

import re
from collections.abc import Mapping, Sequence
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.contrib.staticfiles import finders
from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from assessments.domain.criterion_rules import fault_of_limits
from assessments.exceptions import CannotChangeCriteria, CriterionChangedMeanwhile
from assessments.models import CriteriaSet, Criterion, CriterionDrawing
from assessments.queries import criteria_sets
from assessments.queries.criteria_sets import FIELDS, TEXTS, state_of
from people.models import User
from training.models import JointType

from .criteria import locked, record, refuse_published

Texts = Mapping[str, Mapping[str, str]]
BROUGHT = re.compile(r"[a-z0-9-]{1,80}")
"""What drawings that come along are called; anything else would lead out of their folder."""

FAULTS = {
    "no_limit": gettext_lazy("What is measured needs a limit: give one or both."),
    "crossed": gettext_lazy("The lower limit lies above the upper one."),
    "no_unit": gettext_lazy("A limit needs its unit: choose one."),
    "unit_alone": gettext_lazy(
        "There is a unit and no limit: give a limit, or take the unit away."
    ),
    "wrong_unit": gettext_lazy(
        "The quantity is not stated in that unit. Choose one that fits: lengths and clearances in"
        " mm, d or D; wraps and angles in °; a fill in %; a fillet as a ratio."
    ),
    "negative": gettext_lazy("That quantity is never below 0: give limits from 0 on."),
    "beyond_scale": gettext_lazy(
        "The limit lies beyond what can be measured: a wrap goes to 720°, an angle to 180°."
    ),
    "unknown": gettext_lazy("Choose the quantity and the unit from the lists."),
}


@transaction.atomic
def add_criterion(
    *,
    criteria_set: CriteriaSet,
    code: str,
    actor: User,
    at: datetime,
    texts: Texts,
    **fields: Any,
) -> Criterion:
    """Add a criterion to a draft, last of its stage; its code was never used for another.

    Raises
    ------
    CannotChangeCriteria
        If the set is published, the code is used or was, or something does not fit together.
    """
    _refuse_unknown(fields, texts)
    made = locked(criteria_set)
    refuse_published(made)
    _refuse_used_code(made, code)
    rows = list(made.criteria.all())
    criterion = Criterion(criteria_set=made, code=code, changed_at=at, changed_by=actor, **fields)
    criterion.texts = _merged({}, texts)
    refuse_what_does_not_fit(criterion)
    criterion.order = 0
    criterion.save(force_insert=True)
    group = [row for row in rows if _group(row) == _group(criterion)]
    after = group[-1] if group else _last_before(rows, criterion)
    place = rows.index(after) + 1 if after else 0
    _put_in_order([*rows[:place], criterion, *rows[place:]])
    record("criterion added", made, actor, at, criterion=code, after=state_of(criterion))
    return criterion


def _last_before(rows: Sequence[Criterion], criterion: Criterion) -> Criterion | None:
    """The last criterion of the stages before, or of the joints at the same stage."""
    mine = place_of_group(criterion)
    before = [row for row in rows if place_of_group(row) < mine]
    return before[-1] if before else None


def place_of_group(criterion: Criterion) -> tuple[int, bool]:
    stages = [stage for stage, _label in Criterion._meta.get_field("stage").flatchoices]
    return stages.index(criterion.stage), criterion.of == Criterion.Of.BOARD


def _group(criterion: Criterion) -> tuple[str, str]:
    return criterion.stage, criterion.of


def _put_in_order(rows: Sequence[Criterion]) -> None:
    moved = [row for order, row in enumerate(rows, start=1) if row.order != order]
    for order, row in enumerate(rows, start=1):
        row.order = order
    Criterion.objects.bulk_update(moved, ["order"])


def _refuse_used_code(made: CriteriaSet, code: str) -> None:
    if code in made.dropped:
        raise CannotChangeCriteria(
            _("%(code)s was taken out of this draft. Take it up again, or give a new code.")
            % {"code": code}
        )
    used = criteria_sets.codes_used(made.title)
    if code in used:
        raise CannotChangeCriteria(
            _(
                "%(code)s names a criterion of %(set)s. A code means one thing for ever: give a"
                " new one."
            )
            % {"code": code, "set": used[code]}
        )


@transaction.atomic
def change_criterion(
    *,
    criterion: Criterion,
    actor: User,
    at: datetime,
    texts: Texts,
    shown: Mapping[str, Any] | None = None,
    **fields: Any,
) -> Criterion:
    """Change a criterion of a draft; it has to be confirmed again afterwards.

    Parameters
    ----------
    texts : mapping
        By language the texts that change, by `TEXTS`.
    shown : mapping, optional
        `criteria_sets.state_of` the criterion as the page showed it.

    Raises
    ------
    CriterionChangedMeanwhile
        If somebody else changed it since it was shown.
    CannotChangeCriteria
        If the set is published, it was taken out, or something does not fit together.
    """
    _refuse_unknown(fields, texts)
    made = locked(criterion.criteria_set)
    refuse_published(made)
    current = _still_there(made, criterion.code)
    before = state_of(current)
    if shown is not None:
        _refuse_stale(current, before, shown)
    group = _group(current)
    for name, value in fields.items():
        setattr(current, name, value)
    current.texts = _merged(current.texts, texts)
    after = state_of(current)
    if before == after:
        return current
    refuse_what_does_not_fit(current, before)
    current.confirmed_at = current.confirmed_by = None
    current.also_confirmed_at = current.also_confirmed_by = None
    current.changed_at, current.changed_by = at, actor
    current.save(
        update_fields=[
            *FIELDS,
            "texts",
            "confirmed_at",
            "confirmed_by",
            "also_confirmed_at",
            "also_confirmed_by",
            "changed_at",
            "changed_by",
        ]
    )
    if _group(current) != group:
        rows = [row for row in made.criteria.all() if row.pk != current.pk]
        same = [row for row in rows if _group(row) == _group(current)]
        last = same[-1] if same else _last_before(rows, current)
        place = rows.index(last) + 1 if last else 0
        _put_in_order([*rows[:place], current, *rows[place:]])
    changed = [name for name in after if after[name] != before[name]]
    record(
        "criterion changed",
        made,
        actor,
        at,
        criterion=current.code,
        before={name: before[name] for name in changed},
        after={name: after[name] for name in changed},
    )
    return current


def _still_there(made: CriteriaSet, code: str) -> Criterion:
    current = made.criteria.filter(code=code).select_related("changed_by__person").first()
    if current is None:
        raise CannotChangeCriteria(
            _("%(code)s was taken out of the draft meanwhile. Take it up again first.")
            % {"code": code}
        )
    return current


def _refuse_stale(current: Criterion, now: Mapping[str, Any], shown: Mapping[str, Any]) -> None:
    theirs = {name: value for name, value in now.items() if shown.get(name, "") != value}
    if theirs:
        raise CriterionChangedMeanwhile(
            _(
                "%(who)s changed %(code)s since you opened it. What stands there now is beside"
                " each field; what you typed is kept. Save again to have yours."
            )
            % {"who": current.changed_by or _("Somebody else"), "code": current.code},
            {
                name: ", ".join(map(str, value)) if isinstance(value, list) else str(value)
                for name, value in theirs.items()
            },
        )


@transaction.atomic
def remove_criterion(
    *,
    criterion: Criterion,
    why: str,
    actor: User,
    at: datetime,
    seen: str | None = None,
) -> CriteriaSet:
    """Take a criterion out of a draft; its code is given to no other.

    Parameters
    ----------
    seen : str, optional
        `criteria_sets.digest_of` it as the page showed it.

    Raises
    ------
    CannotChangeCriteria
        If the set is published, it is out already, or was changed since it was shown.
    """
    made = locked(criterion.criteria_set)
    refuse_published(made)
    current = _still_there(made, criterion.code)
    if seen is not None and seen != criteria_sets.digest_of(current):
        raise CannotChangeCriteria(
            _("%(code)s was changed since you opened this page. Look at it again first.")
            % {"code": current.code}
        )
    before = state_of(current)
    current.delete()
    made.dropped = {**made.dropped, criterion.code: why.strip()}
    made.save(update_fields=["dropped"])
    record(
        "criterion dropped",
        made,
        actor,
        at,
        criterion=criterion.code,
        why=why.strip(),
        before=before,
    )
    return made


@transaction.atomic
def restore_criterion(
    *, criteria_set: CriteriaSet, code: str, actor: User, at: datetime
) -> Criterion:
    """Take a dropped criterion up again, as the revision before has it.

    Raises
    ------
    CannotChangeCriteria
        If the set is published, it was not dropped, or was new in this draft.
    """
    made = locked(criteria_set)
    refuse_published(made)
    earlier = criteria_sets.earlier_of(made)
    source = earlier.criteria.filter(code=code).first() if earlier else None
    if code not in made.dropped or source is None:
        raise CannotChangeCriteria(
            _("%(code)s is in no earlier revision, so it cannot be taken up again. Add it anew.")
            % {"code": code}
        )
    restored = source.as_draft_copy(made)
    restored.order = 0
    restored.save(force_insert=True)
    rows = [row for row in made.criteria.all() if row.pk != restored.pk]
    ahead = [
        row for row in rows if (place_of_group(row), row.code) < (place_of_group(restored), code)
    ]
    place = rows.index(ahead[-1]) + 1 if ahead else 0
    _put_in_order([*rows[:place], restored, *rows[place:]])
    made.dropped = {name: why for name, why in made.dropped.items() if name != code}
    made.save(update_fields=["dropped"])
    record("criterion taken up again", made, actor, at, criterion=code)
    return restored


@transaction.atomic
def move_criterion(*, criterion: Criterion, earlier: bool, actor: User, at: datetime) -> bool:
    """Change places with the criterion before or after it at its stage; False where none is."""
    made = locked(criterion.criteria_set)
    refuse_published(made)
    rows = list(made.criteria.all())
    current = next((row for row in rows if row.code == criterion.code), None)
    if current is None:
        _still_there(made, criterion.code)
        return False
    group = [row for row in rows if _group(row) == _group(current)]
    here = group.index(current)
    there = here - 1 if earlier else here + 1
    if not 0 <= there < len(group):
        return False
    first, second = rows.index(current), rows.index(group[there])
    rows[first], rows[second] = rows[second], rows[first]
    _put_in_order(rows)
    record(
        "criteria put in order",
        made,
        actor,
        at,
        stage=current.stage,
        of=current.of,
        order=[row.code for row in rows if _group(row) == _group(current)],
    )
    return True


# What fits together


def _refuse_unknown(fields: Mapping[str, Any], texts: Texts) -> None:
    unknown = set(fields) - set(FIELDS)
    for said in texts.values():
        unknown |= set(said) - set(TEXTS)
    unknown |= set(texts) - set(criteria_sets.languages())
    if unknown:
        raise TypeError(f"Criteria have no {', '.join(sorted(unknown))} to change.")


def _merged(known: Mapping[str, Any], texts: Texts) -> dict[str, dict[str, str]]:
    merged = {language: dict(said) for language, said in known.items()}
    for language, said in texts.items():
        merged[language] = {**merged.get(language, {}), **said}
    return {language: said for language, said in merged.items() if any(said.values())}


def refuse_what_does_not_fit(criterion: Criterion, before: Mapping[str, Any] | None = None) -> None:
    """Raise CannotChangeCriteria with what to do; drawings that were there are not asked about."""
    fault = fault_of_limits(
        how=criterion.how,
        quantity=criterion.quantity,
        low=_decimal(criterion.low),
        high=_decimal(criterion.high),
        unit=criterion.unit,
    )
    if fault:
        raise CannotChangeCriteria(str(FAULTS[fault]))
    if criterion.datum and criterion.quantity != Criterion.Quantity.CLEARANCE:
        raise CannotChangeCriteria(
            _("Only an insulation clearance is measured from something. Leave that empty.")
        )
    if criterion.by_eye and not criterion.is_measured:
        raise CannotChangeCriteria(
            _("Only what is measured can be kept from being judged by eye. Leave that as it is.")
        )
    if not criterion.joint_types or set(criterion.joint_types) - set(JointType.values):
        raise CannotChangeCriteria(_("Choose at least one joint type that it is asked of."))
    if not any(
        all(said.get(key) for key in ("title", "text", "reject"))
        for said in criterion.texts.values()
    ):
        raise CannotChangeCriteria(
            _("Give the title, what is asked and what fails in one language at least.")
        )
    names = [criterion.accept_drawing, *criterion.reject_drawings]
    known = set()
    if before is not None:
        known = {
            before["accept_drawing"],
            before["reject_drawing"],
            *before["more_reject_drawings"],
        }
    for name in names:
        if name and name not in known and not drawing_exists(name):
            raise CannotChangeCriteria(
                _("There is no drawing “%(name)s”. Choose one from the list.") % {"name": name}
            )


def _decimal(value: Any) -> Decimal | None:
    return None if value is None else Decimal(value)


def drawing_exists(name: str) -> bool:
    """Whether a name is that of a drawing that comes along, or of one of the site's own."""
    if name.startswith(CriterionDrawing.PREFIX):
        sha256 = name.removeprefix(CriterionDrawing.PREFIX)
        return CriterionDrawing.objects.filter(sha256=sha256).exists()
    return bool(BROUGHT.fullmatch(name)) and bool(finders.find(f"img/drawings/{name}.svg"))
