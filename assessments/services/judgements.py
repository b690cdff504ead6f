"""Why a judgement cannot be made: its stage is closed, or how it was seen does not add up."""

from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

from django.db.models import Count, Exists, F, OuterRef, QuerySet, Subquery
from django.db.models.functions import Coalesce
from django.utils.translation import gettext as _

from assessments.domain.verdict import Verdict, verdict
from assessments.exceptions import AlreadySigned, AssessmentError
from assessments.models import (
    Board,
    Criterion,
    Grading,
    Joint,
    Judgement,
    Measurement,
    Photo,
    StageSigning,
)
from assessments.queries import board_results
from training.models import Stage, Tool


@dataclass(frozen=True, slots=True)
class Circumstances:
    """How a judgement was made: seen at the board, on a photograph, with an instrument, by marks.

    Whoever judges by marks says which measurement in `measured`; `measurement` and what comes
    of it are filled in from there.
    """

    how: str = Judgement.How.AT_BOARD
    magnification: Decimal | None = None
    photo: Photo | None = None
    mark: tuple[float, float] | None = None
    measured: int | None = None
    measurement: Measurement | None = None
    tool: Tool | None = None
    value: Decimal | None = None
    uncertainty: Decimal | None = None
    note: str = ""

    def by_marks(self, measurement: Measurement) -> "Circumstances":
        """The same, judged by what was measured on a photograph."""
        photo = measurement.photo
        return replace(
            self,
            how=Judgement.How.MARKS,
            magnification=photo.magnification or self.magnification,
            photo=photo,
            measurement=measurement,
            tool=None,
            value=measurement.value_kept,
            uncertainty=measurement.expanded_kept,
        )


def hold_open(grading: Grading, stage: str) -> None:
    """Hold the grading to the end of the transaction; refuse if its stage is closed.

    Whoever judges, takes back or signs holds the same row, so that a signature covers every
    judgement made before it and none made beside it.
    """
    # Held first and read afterwards: a query that had to wait for the row still sees all else
    # as it was when the query began, and so not the signature it waited for.
    Grading.objects.select_for_update(no_key=True).only("pk").get(pk=grading.pk)
    refuse_if_closed(with_closings(Grading.objects.all(), stage).get(pk=grading.pk), stage)


def with_closings(gradings: QuerySet[Grading], stage: str) -> QuerySet[Grading]:
    """Gradings with what `refuse_if_closed` looks at."""
    on_board = StageSigning.objects.filter(grading__board=OuterRef("board"))
    others = (
        Grading.objects.filter(
            Exists(StageSigning.objects.filter(grading=OuterRef("pk"))),
            board=OuterRef("board"),
            kind=OuterRef("kind"),
            replaces__isnull=True,
        )
        .exclude(pk=OuterRef("pk"))
        .order_by()
        .values("board")
        .annotate(n=Count("pk"))
        .values("n")
    )
    return gradings.annotate(
        replaced=Exists(Grading.objects.filter(replaces=OuterRef("pk"))),
        signed=Exists(StageSigning.objects.filter(grading=OuterRef("pk"), stage=stage)),
        signed_by_somebody=Exists(on_board.filter(stage=stage, grading__kind=Grading.Kind.FIRST)),
        over=Exists(on_board),
        settled_set=Subquery(
            on_board.filter(grading__kind=Grading.Kind.FIRST)
            .order_by("signed_at", "pk")
            .values("grading__criteria_set")[:1]
        ),
        seats_taken=Coalesce(Subquery(others), 0),
        seats=F("board__exercise__graders"),
    )


def refuse_if_closed(held: Any, stage: str) -> None:
    """Raise AlreadySigned with the reason if a stage takes no judgement of this grading."""
    if held.replaced:
        raise AlreadySigned(_("This grading was replaced by a later one. Judge in that one."))
    if held.kind == Grading.Kind.OWN:
        if held.over:
            raise AlreadySigned(
                _("An instructor has signed a stage of this board, so your own reading is over.")
            )
        return
    if held.signed:
        raise AlreadySigned(
            _("The stage “%(stage)s” is signed and does not change. To change it, correct it.")
            % {"stage": Stage(stage).label}
        )
    if held.replaces_id is not None:
        return
    if held.kind == Grading.Kind.ANOTHER and held.seats_taken:
        raise AlreadySigned(_("Somebody else has read this board again and signed it."))
    if held.kind != Grading.Kind.FIRST:
        return
    if held.settled_set not in (None, held.criteria_set_id):
        raise AlreadySigned(
            _(
                "A stage of this board was signed by another criteria set than you began with. A "
                "board is judged by one: open it anew and judge what is left by that."
            )
        )
    if held.seats > 1:
        if held.seats_taken >= held.seats:
            raise AlreadySigned(_("Two graders have signed for this board, which asks for two."))
    elif held.signed_by_somebody:
        raise AlreadySigned(
            _("Somebody else has signed the stage “%(stage)s” of this board.")
            % {"stage": Stage(stage).label}
        )


def refuse_if_not_asked(grading: Grading, criterion: Criterion, joint: Joint | None) -> None:
    board = grading.board
    fits = (
        criterion.criteria_set_id == grading.criteria_set_id
        and criterion.stage in board.exercise.stages
        and (not criterion.alloys or board.alloy in criterion.alloys)
    )
    if joint is None:
        fits = fits and criterion.of == Criterion.Of.BOARD
    else:
        fits = (
            fits
            and criterion.of == Criterion.Of.JOINT
            and joint.board_id == board.pk
            and joint.position.joint_type in criterion.joint_types
        )
    if not fits:
        raise AssessmentError(
            _("%(criterion)s is not asked of this joint.") % {"criterion": criterion.code}
        )


def refuse_if_not_read(grading: Grading, stage: str, joint: Joint | None) -> None:
    """Refuse a make that this reading is not asked about.

    The usual reading of boards on which nothing was reworked asks the database nothing.
    """
    if grading.kind == Grading.Kind.REWORK:
        if joint is not None and joint in board_results.joints_read(grading, stage):
            return
        raise AlreadySigned(
            _("%(place)s was not reworked, or somebody has signed for it. Open the board anew.")
            % {"place": joint or _("The whole board")}
        )
    is_remade = joint is not None and joint.make > 1
    if is_remade and joint not in board_results.joints_read(grading, stage):
        raise AssessmentError(
            _("%(joint)s is not the make that is judged here.") % {"joint": joint}
        )


def measured_verdict(criterion: Criterion, seen: Circumstances | Judgement) -> Verdict | None:
    """What a value says of a measured criterion, read or measured; None without a value."""
    if not criterion.is_measured or seen.value is None:
        return None
    return verdict(seen.value, seen.uncertainty or Decimal(0), criterion.low, criterion.high)


def refuse_unexplained(
    criterion: Criterion, outcome: str, seen: Circumstances, marks: Measurement | None = None
) -> None:
    """A judgement that its reading does not bear out has to say why.

    Parameters
    ----------
    marks : Measurement, optional
        What the grader measured of the place before; it speaks where nothing was read.
    """
    said = measured_verdict(criterion, seen)
    if said is None and marks is not None and criterion.is_measured:
        said = Verdict(marks.verdict)
    if said is None or seen.note.strip():
        return
    against = {Verdict.WITHIN: Judgement.Outcome.REJECT, Verdict.OUTSIDE: Judgement.Outcome.ACCEPT}
    if said != Verdict.TOO_CLOSE and outcome != against[said]:
        return
    raise AssessmentError(
        _("The reading is %(verdict)s its limits. To judge so even then, say why in the note.")
        % {
            "verdict": {
                Verdict.WITHIN: _("within"),
                Verdict.OUTSIDE: _("outside"),
                Verdict.TOO_CLOSE: _("too close to call against"),
            }[said]
        }
    )


def refuse_circumstances(seen: Circumstances, board: Board) -> None:
    if seen.photo is not None and seen.photo.board_id != board.pk:
        raise AssessmentError(_("That photograph belongs to another board."))
    from_photo = seen.how in (Judgement.How.PHOTOGRAPH, Judgement.How.MARKS)
    if from_photo and seen.photo is None:
        raise AssessmentError(
            _("Judged from a photograph, but none is on screen. Show one, or judge at the board.")
        )
    if seen.how == Judgement.How.MARKS and (seen.value is None or seen.measurement is None):
        raise AssessmentError(_("Judged from marks, but none are kept. Measure the photograph."))
    if seen.how == Judgement.How.INSTRUMENT and (seen.value is None or seen.tool is None):
        raise AssessmentError(
            _("A reading with an instrument needs its value and the tool it was read on.")
        )
