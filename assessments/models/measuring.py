"""What was measured on a photograph: the marks, what was said with them, and the result."""

from decimal import ROUND_HALF_EVEN, Decimal

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

from records.models import Recorded

from .boards import Joint
from .criteria import Criterion
from .photos import Photo

PLACES = Decimal("0.00001")  # of a value as a judgement keeps it


def as_decimal(value: float) -> Decimal:
    return Decimal(repr(value)).quantize(PLACES, ROUND_HALF_EVEN)


class Measurement(Recorded):
    """One measurement as it was kept; another one is another row."""

    class Quantity(models.TextChoices):
        SCALE = "scale", _("scale")
        LENGTH = "length", _("length")
        CLEARANCE = "clearance", _("insulation clearance")
        WRAP = "wrap", _("wrap")
        FILLET = "fillet", _("fillet")
        WETTING_ANGLE = "wetting_angle", _("wetting angle")
        FILL = "fill", _("fill")

    photo = models.ForeignKey(Photo, models.PROTECT, related_name="measurements")
    joint = models.ForeignKey(
        Joint, models.PROTECT, null=True, blank=True, related_name="measurements"
    )
    criterion = models.ForeignKey(
        Criterion, models.PROTECT, null=True, blank=True, related_name="measurements"
    )
    quantity = models.CharField(_("quantity"), max_length=16, choices=Quantity.choices)
    marks = models.JSONField(
        _("marks"), help_text=_("By kind, pixels of the upright photograph: x right, y down.")
    )
    options = models.JSONField(_("said with the marks"), default=dict)
    mark_uncertainty_px = models.FloatField(_("standard uncertainty of a mark, pixels"))
    mm_per_px = models.FloatField(_("scale, millimetres a pixel"), null=True)
    scale_uncertainty = models.FloatField(
        _("standard uncertainty of the scale, relative"), null=True
    )
    value = models.FloatField(_("value"))
    standard_uncertainty = models.FloatField(_("standard uncertainty"))
    unit = models.CharField(_("unit"), max_length=12)
    budget = models.JSONField(
        _("terms of the uncertainty"),
        default=dict,
        help_text=_("Standard uncertainties in the value’s unit: marks, scale, size, view."),
    )
    view = models.JSONField(
        _("bounds of the view"),
        default=dict,
        help_text=_("Of the photo set-up, as they counted; with its name."),
    )
    remarks = models.JSONField(_("remarks"), default=list)
    also = models.JSONField(_("further figures"), default=dict)
    verdict = models.CharField(_("verdict"), max_length=24, blank=True)
    measured_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="measurements"
    )

    class Meta:
        ordering = ["-recorded_at", "-id"]
        indexes = [models.Index(fields=["joint", "criterion"], name="measurement_of_place")]

    def __str__(self) -> str:
        return f"{self.photo}: {self.get_quantity_display()} {self.value:g} {self.unit}"

    @property
    def expanded(self) -> float:
        return 2 * self.standard_uncertainty

    @property
    def value_kept(self) -> Decimal:
        """The value as a judgement keeps it."""
        return as_decimal(self.value)

    @property
    def expanded_kept(self) -> Decimal:
        return as_decimal(self.expanded)
