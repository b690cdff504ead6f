"""The written criteria that a joint or a board is judged by."""

from typing import Any

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.functional import cached_property
from django.utils.translation import get_language
from django.utils.translation import gettext as _t
from django.utils.translation import gettext_lazy as _

from records.models import Recorded
from training.models import JointType, Stage


class CriteriaSetQuerySet(models.QuerySet["CriteriaSet"]):
    def current(self) -> "CriteriaSetQuerySet":
        """Published and not retired, newest first."""
        return self.filter(published_at__isnull=False, retired_at__isnull=True).order_by(
            "-published_at", "-id"
        )

    def drafts(self) -> "CriteriaSetQuerySet":
        return self.filter(published_at__isnull=True, retired_at__isnull=True)


class CriteriaSet(Recorded):
    """One revision of a set of criteria; once published it never changes."""

    title = models.CharField(_("title"), max_length=120)
    revision = models.PositiveSmallIntegerField(_("revision"))
    summary = models.TextField(_("summary"), blank=True)
    document = models.CharField(_("document"), max_length=160, blank=True)
    product_class = models.CharField(_("product class"), max_length=80, blank=True)
    by_default = models.BooleanField(
        _("judges every board whose exercise names no other set"), default=True
    )
    begun_from = models.ForeignKey(
        "self", models.PROTECT, null=True, blank=True, related_name="revised_by"
    )
    dropped = models.JSONField(
        _("criteria taken out of the draft"),
        default=dict,
        blank=True,
        help_text=_("Why, by code; what was new in the draft stands here too."),
    )
    publishing_reason = models.CharField(_("why it was published"), max_length=400, blank=True)
    published_at = models.DateTimeField(_("published"), null=True, blank=True)
    published_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )
    retired_at = models.DateTimeField(_("retired"), null=True, blank=True)

    objects = CriteriaSetQuerySet.as_manager()

    class Meta:
        ordering = ["title", "-revision"]
        constraints = [
            models.UniqueConstraint(fields=["title", "revision"], name="criteria_set_revision_once")
        ]

    def __str__(self) -> str:
        return f"{self.title}, rev. {self.revision}"

    @property
    def is_draft(self) -> bool:
        return self.published_at is None and self.retired_at is None

    @cached_property
    def all_criteria(self) -> list["Criterion"]:
        """Every criterion of the set, in order; a set holds some tens of them."""
        return list(self.criteria.all())

    def for_joint(self, stage: str, joint_type: str) -> list["Criterion"]:
        return [
            criterion
            for criterion in self.all_criteria
            if criterion.stage == stage
            and criterion.of == Criterion.Of.JOINT
            and joint_type in criterion.joint_types
        ]

    def for_board(self, stage: str, joint_types: set[str]) -> list["Criterion"]:
        return [
            criterion
            for criterion in self.all_criteria
            if criterion.stage == stage
            and criterion.of == Criterion.Of.BOARD
            and joint_types.intersection(criterion.joint_types)
        ]


class Criterion(models.Model):
    """What is asked of a joint or a board, at which stage, and what failing it costs."""

    class Of(models.TextChoices):
        JOINT = "joint", _("a joint")
        BOARD = "board", _("the whole board")

    class How(models.TextChoices):
        EYE = "eye", _("by eye")
        MEASURED = "measured", _("measured")

    class ByEye(models.TextChoices):
        WITH_A_REASON = "", _("with a reason")
        NEVER = "never", _("never")

    class Severity(models.TextChoices):
        CRITICAL = "critical", _("critical")
        MAJOR = "major", _("major")
        MINOR = "minor", _("minor")

    class Quantity(models.TextChoices):
        WRAP = "wrap", _("wrap")
        CLEARANCE = "clearance", _("insulation clearance")
        LENGTH = "length", _("length")
        FILLET = "fillet", _("fillet")
        WETTING_ANGLE = "wetting_angle", _("wetting angle")
        FILL = "fill", _("fill")

    class Datum(models.TextChoices):
        TERMINAL = "terminal", _("the terminal")
        SOLDER = "solder", _("the solder")

    criteria_set = models.ForeignKey(CriteriaSet, models.CASCADE, related_name="criteria")
    code = models.CharField(_("code"), max_length=16)
    order = models.PositiveSmallIntegerField()
    stage = models.CharField(_("stage"), max_length=12, choices=Stage.choices)
    of = models.CharField(_("judged of"), max_length=8, choices=Of.choices, default=Of.JOINT)
    joint_types = models.JSONField(_("joint types"), default=list)
    alloys = models.JSONField(_("alloys"), default=list, blank=True)
    how = models.CharField(_("how"), max_length=10, choices=How.choices, default=How.EYE)
    quantity = models.CharField(_("quantity"), max_length=24, blank=True)
    low = models.DecimalField(_("at least"), max_digits=9, decimal_places=4, null=True, blank=True)
    high = models.DecimalField(_("at most"), max_digits=9, decimal_places=4, null=True, blank=True)
    unit = models.CharField(_("unit"), max_length=12, blank=True)
    datum = models.CharField(
        _("measured from"),
        max_length=8,
        choices=Datum.choices,
        blank=True,
        help_text=_("Of an insulation clearance, as the criterion’s document says."),
    )
    by_eye = models.CharField(
        _("by eye instead"),
        max_length=8,
        choices=ByEye.choices,
        blank=True,
        default=ByEye.WITH_A_REASON,
        help_text=_("Whether a measured criterion may be judged by eye, saying why."),
    )
    severity = models.CharField(_("severity"), max_length=10, choices=Severity.choices)
    demerits = models.PositiveSmallIntegerField(_("demerits"))
    accept_drawing = models.CharField(_("drawing, acceptable"), max_length=80)
    reject_drawing = models.CharField(_("drawing, not acceptable"), max_length=80)
    more_reject_drawings = models.JSONField(
        _("further drawings, not acceptable"), default=list, blank=True
    )
    texts = models.JSONField(
        _("texts"),
        default=dict,
        help_text=_('By language: {"en": {"title", "text", "reject", "advice"}}.'),
    )
    document = models.CharField(_("document"), max_length=160, blank=True)
    edition = models.CharField(_("edition"), max_length=60, blank=True)
    clause = models.CharField(_("clause"), max_length=80, blank=True)
    source_note = models.TextField(_("where the limit comes from"), blank=True)
    confirmed_at = models.DateTimeField(_("limit confirmed by the site"), null=True, blank=True)
    confirmed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )
    also_confirmed_at = models.DateTimeField(
        _("confirmed by a second person"), null=True, blank=True
    )
    also_confirmed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )
    changed_at = models.DateTimeField(_("changed in the draft"), null=True, blank=True)
    changed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta:
        ordering = ["order"]
        constraints = [
            models.UniqueConstraint(fields=["criteria_set", "code"], name="criterion_code_once"),
            models.CheckConstraint(
                condition=~Q(how="measured") | Q(low__isnull=False) | Q(high__isnull=False),
                name="criterion_measured_has_a_limit",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.code} {self.title}"

    def _in_language(self, key: str) -> str:
        language = (get_language() or "en").split("-")[0]
        own = self.texts.get(language, {}).get(key)
        if own:
            return own
        text = self.texts.get("en", {}).get(key, "")
        if text:
            return _t(text)
        # A site may write in its own language alone.
        return next((said[key] for said in self.texts.values() if said.get(key)), "")

    @property
    def title(self) -> str:
        return self._in_language("title")

    @property
    def text(self) -> str:
        return self._in_language("text")

    @property
    def reject_text(self) -> str:
        return self._in_language("reject")

    @property
    def advice(self) -> str:
        return self._in_language("advice")

    @property
    def is_measured(self) -> bool:
        return self.how == self.How.MEASURED

    @property
    def how_asked(self) -> str:
        """By eye, or measured; of what is measured also where it may not be judged by eye."""
        said = str(self.get_how_display())
        return said if self.may_be_judged_by_eye else _t("%(how)s, never by eye") % {"how": said}

    @property
    def may_be_judged_by_eye(self) -> bool:
        """Whether it needs no measurement; where it is measured, of whoever says why."""
        return not self.is_measured or self.by_eye != self.ByEye.NEVER

    @property
    def quantity_name(self) -> str:
        return str(self.Quantity(self.quantity).label) if self.quantity else ""

    @property
    def document_and_edition(self) -> str:
        return ", ".join(filter(None, (self.document, self.edition)))

    @property
    def source(self) -> str:
        """The document with its edition and clause, as it is cited; empty where there is none."""
        return ", ".join(filter(None, (self.document, self.edition, self.clause)))

    @property
    def reject_drawings(self) -> list[str]:
        """Every drawing of what fails, the first of them first."""
        return [name for name in (self.reject_drawing, *self.more_reject_drawings) if name]

    @property
    def is_verified(self) -> bool:
        return self.confirmed_at is not None

    @property
    def joint_type_names(self) -> list[str]:
        return [str(JointType(name).label) for name in self.joint_types]

    def as_draft_copy(self, criteria_set: CriteriaSet) -> "Criterion":
        """The same criterion in another set, confirmed as it was; not saved."""
        copied: dict[str, Any] = {
            field.attname: getattr(self, field.attname)
            for field in self._meta.concrete_fields
            if field.attname not in ("id", "criteria_set_id", "changed_at", "changed_by_id")
        }
        return Criterion(criteria_set=criteria_set, **copied)


class CriterionDrawing(Recorded):
    """A drawing of the site's own, named by the hash of its bytes: it never changes."""

    class Kind(models.TextChoices):
        SVG = "image/svg+xml", "SVG"
        PNG = "image/png", "PNG"
        JPEG = "image/jpeg", "JPEG"

    PREFIX = "site/"

    sha256 = models.CharField(max_length=64, unique=True)
    kind = models.CharField(max_length=16, choices=Kind.choices)
    title = models.CharField(_("what it shows"), max_length=120)
    data = models.BinaryField()
    added_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+"
    )

    class Meta:
        ordering = ["title", "id"]

    def __str__(self) -> str:
        return self.title

    @property
    def ending(self) -> str:
        """What the name of a file with it ends in, without the dot."""
        return {self.Kind.SVG.value: "svg", self.Kind.PNG.value: "png"}.get(self.kind, "jpg")

    @property
    def name(self) -> str:
        """How a criterion, an exercise or a step names it."""
        return f"{self.PREFIX}{self.sha256}"


class ExerciseCriteria(Recorded):
    """Which set the boards of an exercise begin with, by title; without a row the default one."""

    exercise_code = models.CharField(_("exercise"), max_length=24, unique=True)
    title = models.CharField(_("criteria set"), max_length=120)
    chosen_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+"
    )

    def __str__(self) -> str:
        return f"{self.exercise_code}: {self.title}"
