"""What the result of a board says of its rules, readings and photographs, in words."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from assessments.domain.scoring import JointState
from assessments.models import Grading, Joint, Judgement, Photo
from assessments.presenters import judgement_words
from assessments.queries.board_results import JudgedBoard
from training.models import Stage

OF_JOINTS = (Grading.Kind.REWORK, Grading.Kind.DECISION)


@dataclass(frozen=True, slots=True)
class RuleShown:
    """One rule of a board's result; ``met`` is "yes", "no" or, while it is open, "open"."""

    name: str
    value: str
    asked: str
    met: str


def rules_of(reading: JudgedBoard) -> list[RuleShown]:
    """The rules of a board's result with their figures.

    Where joints were made again, the first rule is told apart for them: the board has its
    signatures, and what is missing are those for the new makes.
    """
    result = reading.result
    rules = []
    for line in result.lines:
        met = "open" if not result.complete else "yes" if line.met else "no"
        asked = judgement_words.rule_asked(line)
        name = judgement_words.rule_name(line.rule)
        again = _to_inspect(reading) if line.rule == "stages_signed" else []
        if again and str(len(reading.signings)) != line.value:
            signed = str(len(reading.signings))
            rules.append(RuleShown(name, signed, asked, "yes" if signed == asked else "open"))
            joints = ", ".join(judgement_words.joint_name(joint) for joint in again)
            name = _("Every stage signed for what was made again: %(joints)s") % {"joints": joints}
        rules.append(RuleShown(name, line.value or "–", asked, met))
    return rules


def _to_inspect(reading: JudgedBoard) -> list[Joint]:
    """The makes since the first for which a signed stage is not signed yet."""
    return [
        joint.joint
        for joint in reading.joints
        if joint.joint
        and joint.joint.make > 1
        and joint.result.state == JointState.OPEN
        and reading.signings.keys() - {each.stage for each in joint.judgements}
    ]


def readings_said(gradings: Iterable[Grading]) -> dict[int, str]:
    """What each grading was a reading of, by its id, with the joints where it read a few."""
    gradings = list(gradings)
    few = [grading.pk for grading in gradings if grading.kind in OF_JOINTS]
    joints: dict[int, dict[str, None]] = {}
    if few:
        rows = (
            Judgement.objects.filter(grading__in=few)
            .select_related("joint__position")
            .order_by("joint__position__order", "joint__make")
        )
        for row in rows:
            name = judgement_words.joint_name(row.joint) if row.joint else _("whole board")
            joints.setdefault(row.grading_id, {})[name] = None
    words = {}
    for grading in gradings:
        word = str(Grading.Kind(grading.kind).label)
        if grading.pk in joints:
            word = f"{word}: {', '.join(joints[grading.pk])}"
        if grading.replaces_id is not None:
            word = _("%(reading)s, corrected") % {"reading": word}
        words[grading.pk] = word
    return words


def corrections_of(gradings: Iterable[Grading], said: dict[int, str]) -> list[tuple[Grading, str]]:
    """Gradings that may be corrected, each under a name that no other of them has."""
    corrections = []
    for grading in gradings:
        stages = {signing.stage for signing in grading.signings.all()}
        signed = ", ".join(str(stage.label) for stage in Stage if stage.value in stages)
        corrections.append((grading, f"{said[grading.pk]}; {signed}"))
    return corrections


def in_hand(judgements: Sequence[Judgement], photos: Iterable[Photo]) -> tuple[Photo, ...] | None:
    """The photographs to show of a place though a judgement of it names none.

    Parameters
    ----------
    judgements
        What was judged of one joint, or of the whole board.
    photos
        Every photograph of the board.

    Returns
    -------
    tuple of Photo or None
        Empty where there is none at all, which is to be said; None where nothing is missing.
    """
    named = {judgement.photo_id for judgement in judgements}
    if None not in named:
        return None
    place = judgements[0].joint_id
    shown = tuple(photo for photo in photos if photo.joint_id == place and photo.pk not in named)
    return None if not shown and len(named) > 1 else shown
