"""One grader's reading of a board, and the judgements in it."""

from decimal import Decimal
from typing import Any

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from records.models import Recorded, Signature
from training.models import Stage, Tool

from .boards import Board, Joint
from .criteria import CriteriaSet, Criterion
from .measuring import Measurement
from .photos import Photo


class GradingQuerySet(models.QuerySet["Grading"]):
    def counted(self) -> "GradingQuerySet":
        """Readings that count; a trainee's own reading never does."""
        return self.exclude(kind=Grading.Kind.OWN)


class Grading(Recorded):
    """A reading of one or more stages of one board under one criteria set.

    Its judgements change freely until the stage they belong to is signed; then the
    database holds them fast. A correction is a new grading that names this one.
    """

    class Kind(models.TextChoices):
        FIRST = "first", _("grading")
        REWORK = "rework", _("inspection of reworked joints")
        DECISION = "decision", _("decision where two graders differ")
        ANOTHER = "another", _("regrading")
        OWN = "own", _("own reading, not counted")

    board = models.ForeignKey(Board, models.PROTECT, related_name="gradings")
    grader = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="gradings")
    kind = models.CharField(_("kind"), max_length=12, choices=Kind.choices, default=Kind.FIRST)
    criteria_set = models.ForeignKey(CriteriaSet, models.PROTECT, related_name="gradings")
    replaces = models.OneToOneField(
        "self", models.PROTECT, null=True, blank=True, related_name="replaced_by"
    )
    reason = models.TextField(_("why it replaces the earlier one"), blank=True)

    objects = GradingQuerySet.as_manager()

    class Meta:
        ordering = ["-recorded_at", "-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(replaces__isnull=True) | ~Q(reason=""),
                name="grading_correction_says_why",
            )
        ]

    def __str__(self) -> str:
        return f"{self.board}, {self.grader}"


class ReadingRequest(Recorded):
    """A trainee's one request to have a board read again, and what came of it.

    ``before`` and ``after`` hold whether the board passed and its score, as they were when
    the reading was asked for and when it was signed to the end.
    """

    board = models.OneToOneField(Board, models.PROTECT, related_name="reading_request")
    asked_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    reason = models.TextField(_("why it should be read again"))
    grading = models.OneToOneField(
        Grading, models.PROTECT, null=True, blank=True, related_name="reading_request"
    )
    before = models.JSONField(default=dict)
    after = models.JSONField(null=True, blank=True)
    answered_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=~Q(reason=""), name="reading_request_says_why"),
            models.CheckConstraint(
                condition=Q(answered_at__isnull=True) | Q(grading__isnull=False),
                name="reading_request_is_answered_by_a_grading",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.board}: {self.reason}"


class Judgement(models.Model):
    """What one grader says of one joint, or of the board, under one criterion."""

    class Outcome(models.TextChoices):
        ACCEPT = "accept", _("accept")
        REJECT = "reject", _("reject")
        NOT_APPLICABLE = "not_applicable", _("not applicable")

    class How(models.TextChoices):
        AT_BOARD = "at_board", _("by eye, board in hand")
        PHOTOGRAPH = "photograph", _("from a photograph")
        INSTRUMENT = "instrument", _("with an instrument")
        MARKS = "marks", _("by marks on a photograph")

    grading = models.ForeignKey(Grading, models.PROTECT, related_name="judgements")
    joint = models.ForeignKey(
        Joint, models.PROTECT, null=True, blank=True, related_name="judgements"
    )
    criterion = models.ForeignKey(Criterion, models.PROTECT, related_name="judgements")
    stage = models.CharField(_("stage"), max_length=12, choices=Stage.choices)
    outcome = models.CharField(_("judgement"), max_length=16, choices=Outcome.choices)
    how = models.CharField(_("how"), max_length=12, choices=How.choices)
    magnification = models.DecimalField(
        _("magnification"), max_digits=6, decimal_places=2, null=True, blank=True
    )
    photo = models.ForeignKey(
        Photo, models.PROTECT, null=True, blank=True, related_name="judgements"
    )
    mark_x = models.FloatField(null=True, blank=True)
    mark_y = models.FloatField(null=True, blank=True)
    measurement = models.ForeignKey(
        Measurement, models.PROTECT, null=True, blank=True, related_name="judgements"
    )
    repeats = models.JSONField(
        _("several measurements"),
        default=dict,
        blank=True,
        help_text=_("Of which the value comes, and how: combined, or the worst of them."),
    )
    tool = models.ForeignKey(Tool, models.PROTECT, null=True, blank=True, related_name="+")
    value = models.DecimalField(_("value"), max_digits=12, decimal_places=5, null=True, blank=True)
    uncertainty = models.DecimalField(
        _("expanded uncertainty U"), max_digits=12, decimal_places=5, null=True, blank=True
    )
    by_eye_because = models.CharField(
        _("by eye because"),
        max_length=200,
        blank=True,
        help_text=_("Why a measured criterion was judged without a measurement."),
    )
    note = models.CharField(_("note"), max_length=400, blank=True)
    with_the_rest = models.BooleanField(
        _("accepted with the rest"),
        default=False,
        help_text=_("One key accepted every criterion that was still open."),
    )
    judged_at = models.DateTimeField(default=timezone.now)

    replaced: dict[str, Any] | None = None
    """What an act replaced, as `services.judgements.remembered` has it; of a row just judged."""

    class Meta:
        ordering = ["grading", "joint", "criterion__order"]
        constraints = [
            models.UniqueConstraint(
                fields=["grading", "joint", "criterion"],
                condition=Q(joint__isnull=False),
                name="judgement_one_per_joint_and_criterion",
            ),
            models.UniqueConstraint(
                fields=["grading", "criterion"],
                condition=Q(joint__isnull=True),
                name="judgement_one_per_board_and_criterion",
            ),
            models.CheckConstraint(
                condition=~Q(how__in=["photograph", "marks"]) | Q(photo__isnull=False),
                name="judgement_from_a_photograph_names_it",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.joint or self.grading.board}: {self.criterion.code} {self.outcome}"

    @property
    def standard_uncertainty(self) -> Decimal | None:
        """Half of the expanded uncertainty, which is what limit lines are drawn from."""
        return None if self.uncertainty is None else self.uncertainty / 2


class CannotTell(Recorded):
    """That a grader could not tell from a photograph; the criterion stays open meanwhile.

    What is asked for stands until the place is judged, or the grader takes it back.
    """

    class Asks(models.TextChoices):
        PHOTO = "photo", _("another photograph")
        BOARD = "board", _("the board itself")

    grading = models.ForeignKey(Grading, models.PROTECT, related_name="cannot_tell")
    joint = models.ForeignKey(
        Joint, models.PROTECT, null=True, blank=True, related_name="cannot_tell"
    )
    criterion = models.ForeignKey(Criterion, models.PROTECT, related_name="cannot_tell")
    stage = models.CharField(_("stage"), max_length=12, choices=Stage.choices)
    photo = models.ForeignKey(
        Photo, models.PROTECT, null=True, blank=True, related_name="cannot_tell"
    )
    asks = models.CharField(_("asks for"), max_length=8, choices=Asks.choices)
    note = models.CharField(_("note"), max_length=400, blank=True)
    taken_back_at = models.DateTimeField(null=True, blank=True)

    replaced: dict[str, Any] | None = None
    """The judgement that was taken away with it, as `Judgement.replaced`."""

    class Meta:
        ordering = ["-recorded_at", "-id"]

    def __str__(self) -> str:
        return f"{self.joint or self.grading.board}: {self.criterion.code} {self.asks}"


class UndoStep(models.Model):
    """One act of a grader on an unsigned stage, and what it replaced.

    An act that a browser sends carries a key that the browser made up, and so does the act
    that takes it back: sent again after an answer was lost, either is done only once.
    """

    grading = models.ForeignKey(Grading, models.CASCADE, related_name="undo_steps")
    stage = models.CharField(max_length=12, choices=Stage.choices)
    before = models.JSONField()
    done_at = models.DateTimeField(default=timezone.now)
    key = models.UUIDField(null=True, blank=True)
    taken_back = models.BooleanField(default=False)
    taken_back_key = models.UUIDField(null=True, blank=True)

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.UniqueConstraint(fields=["grading", "key"], name="undo_step_once_a_key"),
            models.UniqueConstraint(
                fields=["grading", "taken_back_key"], name="undo_step_taken_back_once_a_key"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.grading}: {self.done_at}"


class StageSigning(models.Model):
    """A stage of a grading, signed: from here on its judgements are fixed."""

    grading = models.ForeignKey(Grading, models.PROTECT, related_name="signings")
    stage = models.CharField(_("stage"), max_length=12, choices=Stage.choices)
    signature = models.OneToOneField(Signature, models.PROTECT, related_name="stage_signing")
    signed_at = models.DateTimeField()
    result = models.JSONField(_("result of the stage"))

    class Meta:
        ordering = ["signed_at", "id"]
        constraints = [
            models.UniqueConstraint(fields=["grading", "stage"], name="stage_signed_once")
        ]

    def __str__(self) -> str:
        return f"{self.grading}, {self.stage}"
