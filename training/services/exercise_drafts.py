"""Exercises drafted: begun, revised, changed part by part, thrown away.

A published revision never changes. What makes one of a draft stands in `exercise_publishing`.
"""

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from typing import Any

from django.contrib.staticfiles import finders
from django.db import transaction
from django.db.models import Max
from django.utils.translation import gettext as _

from people.models import User
from records.services import trail
from training import ports
from training.content.cautions import CAUTIONS
from training.exceptions import DraftChangedMeanwhile, TrainingError
from training.models import Exercise, ExerciseStep, Position, Stage
from training.queries import exercises as queries

Rows = Sequence[Mapping[str, Any]]
MOST_POSITIONS = 400
MOST_STEPS = 200
DRAFTED = "exercise drafted"
CHANGED = "exercise draft changed"
DISCARDED = "exercise draft discarded"


@transaction.atomic
def begin_exercise(
    *, code: str, title: str, actor: User, at: datetime, copied_from: Exercise | None = None
) -> Exercise:
    """Begin an exercise of the site's own as a draft, empty or as a copy of another.

    Raises
    ------
    TrainingError
        If the code is another exercise's, in whatever capitals.
    """
    # An exercise that is being begun has no row yet that others could wait for.
    trail.lock_trail()
    if Exercise.objects.filter(code__iexact=code).exists():
        raise TrainingError(
            _("%(code)s is the code of another exercise. Draft its next revision, or give another.")
            % {"code": code}
        )
    last = Exercise.objects.aggregate(last=Max("order"))["last"] or 0
    made = Exercise(code=code, revision=1, order=min(last + 1, 32_000), recorded_at=at)
    if copied_from is not None:
        _say(made, queries.head_of(copied_from))
    made.title = title
    made.changed_at, made.changed_by = at, actor
    made.save(force_insert=True)
    if copied_from is not None:
        _copy_rows(copied_from, made)
    record(DRAFTED, made, actor, at, copied_from=str(copied_from.code) if copied_from else "")
    return made


@transaction.atomic
def draft_next_revision(*, exercise: Exercise, actor: User, at: datetime) -> Exercise:
    """Copy the newest revision of an exercise into a draft with the next number.

    Raises
    ------
    TrainingError
        If there is a draft of it already.
    """
    rows = lock_code(exercise.code)
    if any(row.is_draft for row in rows):
        raise TrainingError(
            _("There is a draft of %(exercise)s already. Go on with that one.")
            % {"exercise": exercise.title}
        )
    source = rows[-1]
    made = Exercise(
        code=source.code,
        revision=source.revision + 1,
        order=source.order,
        source=source.source,
        begun_from=source,
        changed_at=at,
        changed_by=actor,
        recorded_at=at,
    )
    _say(made, queries.head_of(source))
    made.save(force_insert=True)
    _copy_rows(source, made)
    record(DRAFTED, made, actor, at, copied_from=source.revision)
    return made


@transaction.atomic
def change_head(
    *, exercise: Exercise, seen: str | None, actor: User, at: datetime, **fields: Any
) -> Exercise:
    """Change what a draft says beside its positions and steps, by the names of `HEAD`.

    Parameters
    ----------
    seen : str or None
        `queries.exercises.head_digest` of it as the page showed it; None where no page did.

    Raises
    ------
    DraftChangedMeanwhile
        If it says otherwise by now.
    TrainingError
        If it is published or gone, or something does not fit together.
    """
    unknown = set(fields) - set(queries.HEAD)
    if unknown:
        raise TypeError(f"Exercises have no {', '.join(sorted(unknown))} to change.")
    made = locked_draft(exercise)
    before = queries.head_of(made)
    _refuse_stale(made, queries.head_digest, seen)
    after = before | fields
    _refuse_head(after, before)
    if after == before:
        return made
    _say(made, fields)
    _touch(made, actor, at, *fields)
    changed = [name for name in queries.HEAD if before[name] != after[name]]
    record(
        CHANGED,
        made,
        actor,
        at,
        before={name: before[name] for name in changed},
        after={name: after[name] for name in changed},
    )
    return made


@transaction.atomic
def change_positions(
    *, exercise: Exercise, positions: Rows, seen: str | None, actor: User, at: datetime
) -> Exercise:
    """Have a draft call for these positions and no other, in this order; raises as `change_head`.

    Parameters
    ----------
    positions : sequence of mapping
        Each by the names of `queries.exercises.POSITION`.
    """
    made = locked_draft(exercise)
    _refuse_stale(made, queries.positions_digest, seen)
    names = [position["name"] for position in positions]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise TrainingError(
            _("Each position has a name of its own. Here twice: %(names)s.")
            % {"names": ", ".join(twice[:10])}
        )
    _refuse_many(len(positions), MOST_POSITIONS)
    before = queries.positions_of(made)
    Position.objects.filter(exercise=made).delete()
    Position.objects.bulk_create(
        Position(exercise=made, order=order, **position)
        for order, position in enumerate(positions, start=1)
    )
    _note_rows("positions", made, before, queries.positions_of(made), actor, at)
    return made


@transaction.atomic
def change_steps(
    *, exercise: Exercise, steps: Rows, seen: str | None, actor: User, at: datetime
) -> Exercise:
    """Have a draft give these steps and no other; raises as `change_head`.

    Parameters
    ----------
    steps : sequence of mapping
        Each by the names of `queries.exercises.STEP`; put in the order of the stages.
    """
    made = locked_draft(exercise)
    _refuse_stale(made, queries.steps_digest, seen)
    _refuse_many(len(steps), MOST_STEPS)
    stages = [stage.value for stage in Stage]
    in_order = sorted(steps, key=lambda step: stages.index(step["stage"]))
    before = queries.steps_of(made)
    _refuse_steps(in_order, before)
    ExerciseStep.objects.filter(exercise=made).delete()
    ExerciseStep.objects.bulk_create(
        ExerciseStep(exercise=made, order=order, **step)
        for order, step in enumerate(in_order, start=1)
    )
    _note_rows("steps", made, before, queries.steps_of(made), actor, at)
    return made


@transaction.atomic
def discard_draft(*, exercise: Exercise, why: str, seen: str, actor: User, at: datetime) -> None:
    """Throw a draft away whole; the trail keeps what it said and why it went.

    Raises
    ------
    TrainingError
        If it is published, was changed since it was shown, or a course has a lesson on it.
    """
    made = locked_draft(exercise)
    if seen != queries.draft_digest(made):
        raise DraftChangedMeanwhile(
            _("The draft was changed since you opened this page. Look at it again first.")
        )
    naming = queries.courses_naming(made)
    if naming:
        raise TrainingError(
            _("Courses have lessons on it: %(courses)s. Take it out of those first.")
            % {"courses": ", ".join(naming)}
        )
    record(DISCARDED, made, actor, at, why=why.strip(), said=queries.content_of(made))
    made.delete()


# What the acts share


def lock_code(code: str) -> list[Exercise]:
    """Hold every revision of an exercise, in one order, so that no two who decide on it cross."""
    held = Exercise.objects.filter(code=code).order_by("pk").select_for_update(no_key=True)
    held_ids = [row.pk for row in held]
    # Read anew: whoever waited does not see in the rows what was begun meanwhile.
    rows = list(Exercise.objects.filter(code=code).order_by("revision"))
    if not held_ids or not rows:
        raise TrainingError(_("The draft is not there any more: somebody discarded it."))
    return rows


def locked_draft(exercise: Exercise) -> Exercise:
    """The draft as it stands, so that two people who change it do not cross."""
    made = Exercise.objects.select_for_update(no_key=True).filter(pk=exercise.pk).first()
    if made is None:
        raise TrainingError(_("The draft is not there any more: somebody discarded it."))
    if not made.is_draft:
        raise TrainingError(
            _(
                "%(exercise)s, rev. %(revision)d, is published and never changes. Draft the next "
                "one."
            )
            % {"exercise": made.title, "revision": made.revision}
        )
    return made


def record(act: str, made: Exercise, actor: User | str | None, at: datetime, **said: Any) -> None:
    payload = {"code": made.code, "revision": made.revision, "title": made.title} | said
    trail.record(actor=actor, act=act, about=made, payload=payload, at=at)


def _say(made: Exercise, fields: Mapping[str, Any]) -> None:
    for name, value in fields.items():
        setattr(made, name, value)


def _copy_rows(source: Exercise, made: Exercise) -> None:
    Position.objects.bulk_create(
        Position(exercise=made, order=order, **position)
        for order, position in enumerate(queries.positions_of(source), start=1)
    )
    ExerciseStep.objects.bulk_create(
        ExerciseStep(exercise=made, order=order, **step)
        for order, step in enumerate(queries.steps_of(source), start=1)
    )


def _touch(made: Exercise, actor: User, at: datetime, *fields: str) -> None:
    made.changed_at, made.changed_by = at, actor
    made.save(update_fields=[*fields, "changed_at", "changed_by"])


def _note_rows(
    what: str, made: Exercise, before: Rows, after: Rows, actor: User, at: datetime
) -> None:
    if list(before) == list(after):
        return
    _touch(made, actor, at)
    record(CHANGED, made, actor, at, before={what: before}, after={what: after})


def _refuse_stale(made: Exercise, digest: Callable[[Exercise], str], seen: str | None) -> None:
    if seen is None or seen == digest(made):
        return
    raise DraftChangedMeanwhile(
        _(
            "%(who)s changed this since you opened it. What differs now from what you typed is "
            "below; what you typed is kept. Save again to have yours."
        )
        % {"who": made.changed_by or _("Somebody else")}
    )


def _refuse_many(n: int, most: int) -> None:
    if n > most:
        raise TrainingError(
            _("These are %(n)d rows. An exercise has %(most)d at most.") % {"n": n, "most": most}
        )


def _refuse_head(after: Mapping[str, Any], before: Mapping[str, Any]) -> None:
    _refuse_drawings({after["drawing"]} - {before["drawing"]})
    if set(after["stages"]) - set(Stage.values):
        raise TrainingError(_("Choose the stages from the list."))
    _refuse_cautions(set(after["cautions"]) - set(before["cautions"]))


def _refuse_steps(after: Rows, before: Rows) -> None:
    _refuse_drawings(_named(after, "drawing") - _named(before, "drawing"))
    _refuse_cautions(_warned_of(after) - _warned_of(before))
    if any(step.get("shows") and not step.get("drawing") for step in after):
        raise TrainingError(_("Choose the drawing that accept or reject is said of."))


def _named(rows: Rows, name: str) -> set[str]:
    return {row.get(name, "") for row in rows}


def _warned_of(steps: Rows) -> set[str]:
    return {code for step in steps for code in step.get("cautions", ())}


def _refuse_drawings(names: set[str]) -> None:
    """Refuse names by which there is no drawing, of those that came along or the site's own."""
    new = sorted(name for name in names if name and not finders.find(f"img/drawings/{name}.svg"))
    own = {name for name, _title in ports.own_drawings()} if new else set()
    for name in new:
        if name not in own:
            raise TrainingError(
                _("There is no drawing “%(name)s”. Choose one from the list.") % {"name": name}
            )


def _refuse_cautions(codes: set[str]) -> None:
    if codes - {one.code for one in CAUTIONS}:
        raise TrainingError(_("Choose the cautions from the list."))
