"""The written criteria that a joint or a board is judged by."""

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


class CriteriaSet(Recorded):
    """One revision of a set of criteria; once published it never changes."""

    title = models.CharField(_("title"), max_length=120)
    revision = models.PositiveSmallIntegerField(_("revision"))
    summary = models.TextField(_("summary"), blank=True)
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

    class Severity(models.TextChoices):
        CRITICAL = "critical", _("critical")
        MAJOR = "major", _("major")
        MINOR = "minor", _("minor")

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
    severity = models.CharField(_("severity"), max_length=10, choices=Severity.choices)
    demerits = models.PositiveSmallIntegerField(_("demerits"))
    accept_drawing = models.CharField(_("drawing, acceptable"), max_length=80)
    reject_drawing = models.CharField(_("drawing, not acceptable"), max_length=80)
    texts = models.JSONField(
        _("texts"),
        default=dict,
        help_text=_('By language: {"en": {"title", "text", "reject", "advice"}}.'),
    )
    document = models.CharField(_("document"), max_length=160, blank=True)
    clause = models.CharField(_("clause"), max_length=80, blank=True)
    source_note = models.TextField(_("where the limit comes from"), blank=True)
    confirmed_at = models.DateTimeField(_("limit confirmed by the site"), null=True, blank=True)
    confirmed_by = models.ForeignKey(
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
        return _t(text) if text else ""

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
    def is_verified(self) -> bool:
        return self.confirmed_at is not None

    @property
    def joint_type_names(self) -> list[str]:
        return [str(JointType(name).label) for name in self.joint_types]
