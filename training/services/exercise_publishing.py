"""Exercises published, of which boards are handed out from then on, and retired."""

from collections.abc import Mapping
from datetime import datetime

from django.db import transaction
from django.utils.translation import gettext as _

from people.models import User
from records.exceptions import ShownOtherwise
from training.exceptions import TrainingError
from training.models import Exercise
from training.queries import exercises as queries
from training.queries.written_down import EXERCISE_PUBLISHED, EXERCISE_RETIRED

from .exercise_drafts import lock_code, record


@transaction.atomic
def publish_exercises(
    *,
    drafts: Mapping[int, str | None],
    actor: User | None,
    at: datetime,
    reason: str = "",
    proof: str = "",
) -> list[Exercise]:
    """Publish drafts, all of them or none; what each replaces retires.

    Exercises belong to the organisation: quality at any site publishes for all. Boards that are
    handed out keep the revision they were made to.

    Parameters
    ----------
    drafts : mapping of int to str or None
        By key of each, `queries.exercises.draft_digest` as the page showed it; None where no page
        was shown, as by a command.
    reason, proof : str
        Why, and what `people.services.proof.prove_identity` returned.

    Raises
    ------
    ShownOtherwise
        If one of them is not what was shown.
    TrainingError
        If one is published already or gone, or nothing could be made and judged by it.
    """
    codes = set(Exercise.objects.filter(pk__in=drafts).values_list("code", flat=True))
    list(Exercise.objects.filter(code__in=codes).order_by("pk").select_for_update(no_key=True))
    made = list(Exercise.objects.filter(pk__in=drafts).order_by("order", "code"))
    if len(made) < len(drafts):
        raise TrainingError(_("One of the drafts is not there any more. Look at the list again."))
    for draft in made:
        _refuse_to_publish(draft)
        shown = drafts[draft.pk]
        if shown is not None and shown != queries.draft_digest(draft):
            raise ShownOtherwise
    for draft in made:
        _publish(draft, actor=actor, at=at, reason=reason.strip(), proof=proof)
    return made


def _publish(draft: Exercise, *, actor: User | None, at: datetime, reason: str, proof: str) -> None:
    replaced = Exercise.objects.current().filter(code=draft.code).exclude(pk=draft.pk)
    for old in list(replaced):
        _retire(old, actor=actor, at=at, reason=reason, proof=proof)
    draft.published_at, draft.published_by, draft.publishing_reason = at, actor, reason
    draft.save(update_fields=["published_at", "published_by", "publishing_reason"])
    content = queries.content_of(draft)
    record(EXERCISE_PUBLISHED, draft, actor, at, **content, reason=reason, proof=proof)


@transaction.atomic
def retire_exercise(
    *, exercise: Exercise, actor: User, at: datetime, reason: str, proof: str
) -> Exercise:
    """Stop handing boards out of a revision; those that are handed out keep it.

    Raises
    ------
    TrainingError
        If it is a draft, or retired already.
    """
    lock_code(exercise.code)
    made = Exercise.objects.get(pk=exercise.pk)
    if made.is_draft:
        raise TrainingError(_("It is a draft: no board was ever made to it. Discard it instead."))
    if made.retired_at is not None:
        raise TrainingError(
            _("%(exercise)s, rev. %(revision)d, is out of use already.")
            % {"exercise": made.title, "revision": made.revision}
        )
    _retire(made, actor=actor, at=at, reason=reason.strip(), proof=proof)
    return made


def _retire(made: Exercise, *, actor: User | None, at: datetime, reason: str, proof: str) -> None:
    made.retired_at = at
    made.save(update_fields=["retired_at"])
    record(EXERCISE_RETIRED, made, actor, at, reason=reason, proof=proof)


def faults_of(draft: Exercise) -> list[str]:
    """What is missing of a draft before boards can be made to it, in sentences."""
    positions = queries.positions_of(draft)
    faults = []
    if not draft.purpose.strip():
        faults.append(_("Say what it is for."))
    if not draft.stage_list:
        faults.append(_("Choose at least one stage that is asked for."))
    if not any(position["required"] for position in positions):
        faults.append(_("Give at least one position that is required."))
    return faults


def _refuse_to_publish(draft: Exercise) -> None:
    if not draft.is_draft:
        raise TrainingError(
            _("%(exercise)s, rev. %(revision)d, is published already.")
            % {"exercise": draft.title, "revision": draft.revision}
        )
    faults = faults_of(draft)
    if faults:
        raise TrainingError(f"{draft.title}: {' '.join(faults)}")
