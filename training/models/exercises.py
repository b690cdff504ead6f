"""What is practised: boards with named positions, and the steps that fill them."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from records.models import Recorded


class JointType(models.TextChoices):
    TURRET = "turret", _("turret")
    BIFURCATED = "bifurcated", _("bifurcated terminal")
    HOOK = "hook", _("hook terminal")
    PIERCED = "pierced", _("pierced terminal")
    CUP = "cup", _("solder cup")
    HOLE = "hole", _("plated through-hole")
    WIRE = "wire", _("prepared wire")


class Stage(models.TextChoices):
    PREPARED = "prepared", _("prepared")
    FORMED = "formed", _("formed")
    SOLDERED = "soldered", _("soldered")
    CLEANED = "cleaned", _("cleaned")


class ExerciseQuerySet(models.QuerySet["Exercise"]):
    def current(self) -> "ExerciseQuerySet":
        """What boards are handed out of: published, and not retired."""
        return self.published().filter(retired_at__isnull=True)

    def published(self) -> "ExerciseQuerySet":
        """What boards were ever handed out of, retired revisions too."""
        return self.filter(published_at__isnull=False)

    def drafts(self) -> "ExerciseQuerySet":
        return self.filter(published_at__isnull=True)


class Exercise(Recorded):
    """One revision of an exercise; a board names the revision it was made to.

    Once published it never changes, and the next revision begins as a copy of it.
    """

    code = models.CharField(_("code"), max_length=24)
    revision = models.PositiveSmallIntegerField(_("revision"), default=1)
    title = models.CharField(_("title"), max_length=120)
    summary = models.CharField(_("summary"), max_length=200, blank=True)
    purpose = models.TextField(_("what it is for"))
    drawing = models.CharField(_("drawing"), max_length=80, blank=True)
    tools = models.JSONField(_("tools"), default=list)
    cautions = models.JSONField(_("cautions"), default=list)
    stages = models.JSONField(_("stages asked for"), default=list)
    allowed_rejects = models.PositiveSmallIntegerField(_("rejected joints allowed"), default=0)
    pass_mark = models.DecimalField(_("pass mark"), max_digits=5, decimal_places=2, default=90)
    rework_allowed = models.PositiveSmallIntegerField(_("reworks allowed a joint"), default=0)
    graders = models.PositiveSmallIntegerField(_("graders"), default=1)
    photographs_wanted = models.BooleanField(_("photographs asked for"), default=False)
    alloy = models.CharField(_("solder alloy"), max_length=40, blank=True)
    order = models.PositiveSmallIntegerField(default=0)
    source = models.CharField(
        _("where it comes from"),
        max_length=200,
        blank=True,
        help_text=_("Of what came along to begin with; steps have sources of their own."),
    )
    begun_from = models.ForeignKey(
        "self", models.PROTECT, null=True, blank=True, related_name="revised_by"
    )
    changed_at = models.DateTimeField(_("changed in the draft"), null=True, blank=True)
    changed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )
    published_at = models.DateTimeField(_("published"), null=True, blank=True)
    published_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )
    publishing_reason = models.CharField(_("why it was published"), max_length=400, blank=True)
    retired_at = models.DateTimeField(null=True, blank=True)

    objects = ExerciseQuerySet.as_manager()

    class Meta:
        ordering = ["order", "code", "-revision"]
        constraints = [
            models.UniqueConstraint(fields=["code", "revision"], name="exercise_revision_once"),
            models.CheckConstraint(
                condition=Q(pass_mark__gte=0, pass_mark__lte=100),
                name="exercise_pass_mark_is_a_percentage",
            ),
            models.CheckConstraint(
                condition=Q(graders__gte=1, graders__lte=2), name="exercise_has_one_or_two_graders"
            ),
        ]

    def __str__(self) -> str:
        return self.title

    @property
    def is_draft(self) -> bool:
        return self.published_at is None

    @property
    def stage_list(self) -> list[Stage]:
        """The stages asked for, in the order of the work."""
        return [stage for stage in Stage if stage.value in self.stages]


class ExerciseStep(models.Model):
    """One thing to do, in the stage it belongs to; `cautions` are codes of `content.cautions`."""

    class Shows(models.TextChoices):
        ACCEPT = "accept", _("accept")
        REJECT = "reject", _("reject")

    exercise = models.ForeignKey(Exercise, models.CASCADE, related_name="steps")
    stage = models.CharField(_("stage"), max_length=12, choices=Stage.choices)
    order = models.PositiveSmallIntegerField()
    text = models.TextField(_("what to do"))
    source = models.CharField(_("source"), max_length=200)
    drawing = models.CharField(_("drawing"), max_length=80, blank=True)
    shows = models.CharField(
        _("what the drawing shows"), max_length=8, choices=Shows.choices, blank=True
    )
    cautions = models.JSONField(_("cautions"), default=list, blank=True)

    class Meta:
        ordering = ["order"]
        constraints = [
            models.UniqueConstraint(fields=["exercise", "order"], name="exercise_step_order_once"),
            models.CheckConstraint(
                condition=Q(shows="") | ~Q(drawing=""), name="exercise_step_shows_a_drawing"
            ),
        ]

    def __str__(self) -> str:
        return self.text


class Position(models.Model):
    """A place on the board where a joint is made."""

    exercise = models.ForeignKey(Exercise, models.CASCADE, related_name="positions")
    name = models.CharField(_("position"), max_length=12)
    order = models.PositiveSmallIntegerField()
    joint_type = models.CharField(_("joint type"), max_length=12, choices=JointType.choices)
    required = models.BooleanField(_("required"), default=True)
    wires = models.PositiveSmallIntegerField(_("wires"), default=1)
    wire_awg = models.PositiveSmallIntegerField(_("wire gauge, AWG"), null=True, blank=True)
    stranding = models.CharField(_("stranding"), max_length=12, blank=True)
    insulation = models.CharField(_("insulation"), max_length=24, blank=True)
    conductor_mm = models.DecimalField(
        _("conductor diameter, mm"), max_digits=6, decimal_places=3, null=True, blank=True
    )
    overall_mm = models.DecimalField(
        _("overall diameter, mm"), max_digits=6, decimal_places=3, null=True, blank=True
    )
    forming = models.CharField(_("forming"), max_length=120, blank=True)
    clearance = models.CharField(_("clearance called for"), max_length=120, blank=True)
    scope_code = models.CharField(_("scope credited"), max_length=40, blank=True)

    class Meta:
        ordering = ["order"]
        constraints = [
            models.UniqueConstraint(fields=["exercise", "name"], name="position_name_once"),
            models.UniqueConstraint(fields=["exercise", "order"], name="position_order_once"),
        ]

    def __str__(self) -> str:
        return self.name
