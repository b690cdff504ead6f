"""The tools the work is done with, their calibrations, and when they were out of service."""

import secrets

from django.conf import settings
from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from people.models.people import Person, Site
from records.models import Recorded, Signature


class Tool(Recorded):
    class Kind(models.TextChoices):
        IRON = "iron", _("soldering iron")
        TIP = "tip", _("tip")
        MECHANICAL_STRIPPER = "mechanical_stripper", _("mechanical stripper")
        THERMAL_STRIPPER = "thermal_stripper", _("thermal stripper")
        MAGNIFIER = "magnifier", _("magnifier or microscope")
        LAMP = "lamp", _("lamp")
        GAUGE = "gauge", _("gauge or graticule")
        STRAP_TESTER = "strap_tester", _("wrist strap tester")

    code = models.CharField(_("code"), max_length=24, unique=True)
    kind = models.CharField(_("kind"), max_length=24, choices=Kind.choices)
    name = models.CharField(_("name"), max_length=120, blank=True)
    serial = models.CharField(_("serial number"), max_length=60, blank=True)
    site = models.ForeignKey(Site, models.PROTECT, related_name="tools")
    answers_for = models.ForeignKey(
        Person,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="tools",
        verbose_name=_("who answers for it"),
    )
    without_calibration = models.BooleanField(
        _("kept without calibration"),
        default=False,
        help_text=_("Such as a tip or a lamp, of which nothing is measured."),
    )
    retired_on = models.DateField(_("retired on"), null=True, blank=True)

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return self.code


def document_path(document: "CalibrationDocument", name: str) -> str:
    key = secrets.token_urlsafe(24)
    return f"documents/{key[:2]}/{key}.bin"


class CalibrationDocument(Recorded):
    """The certificate of a calibration, kept as it came."""

    file = models.FileField(upload_to=document_path, max_length=120)
    original_name = models.CharField(_("file name"), max_length=200)
    media_type = models.CharField(max_length=60)
    size_bytes = models.PositiveBigIntegerField()
    sha256 = models.CharField(max_length=64)
    added_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")

    def __str__(self) -> str:
        return self.original_name


class CalibrationQuerySet(models.QuerySet["Calibration"]):
    def not_withdrawn(self) -> "CalibrationQuerySet":
        """Calibrations that were not withdrawn as entered in error."""
        return self.filter(withdrawal__isnull=True)


class Calibration(Recorded):
    """One calibration of a tool: as it was found, and as it was left.

    ``passed`` is how it was left. Of how it was found nothing may be said apart: then it was
    found as it was left. ``readings`` hold what was measured, each with its limits.
    """

    tool = models.ForeignKey(Tool, models.PROTECT, related_name="calibrations")
    calibrated_on = models.DateField(_("calibrated on"))
    valid_through = models.DateField(_("good through"))
    passed_as_found = models.BooleanField(_("passed as found"), null=True)
    passed = models.BooleanField(_("passed as left"), default=True)
    readings = models.JSONField(_("readings"), default=list, blank=True)
    reference = models.CharField(_("report"), max_length=80, blank=True)
    document = models.OneToOneField(
        CalibrationDocument,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="calibration",
        verbose_name=_("certificate of the calibration"),
    )
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+"
    )

    objects = CalibrationQuerySet.as_manager()

    class Meta:
        ordering = ["-calibrated_on"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(valid_through__gte=models.F("calibrated_on")),
                name="calibration_ends_after_it_was_done",
            )
        ]

    def __str__(self) -> str:
        return f"{self.tool}, {self.calibrated_on}"

    @property
    def was_found_good(self) -> bool:
        return self.passed if self.passed_as_found is None else self.passed_as_found


class CalibrationWithdrawal(models.Model):
    """From this instant the calibration counts as never entered; the row itself stays."""

    calibration = models.OneToOneField(Calibration, models.PROTECT, related_name="withdrawal")
    withdrawn_at = models.DateTimeField(default=timezone.now)
    reason = models.CharField(_("reason"), max_length=400)
    withdrawn_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    signature = models.OneToOneField(Signature, models.PROTECT, related_name="+")

    def __str__(self) -> str:
        return f"{self.calibration}: {self.reason}"


class ToolOutOfService(Recorded):
    """From this day on a tool is not used, for now; unlike a retired one it may come back."""

    tool = models.ForeignKey(Tool, models.PROTECT, related_name="out_of_service")
    first_day = models.DateField(_("out of service from"))
    reason = models.CharField(_("reason"), max_length=400)
    told = models.ForeignKey(
        Person,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        verbose_name=_("who is told"),
    )
    entered_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-first_day", "-id"]
        constraints = [
            models.CheckConstraint(condition=~models.Q(reason=""), name="out_of_service_says_why")
        ]

    def __str__(self) -> str:
        return f"{self.tool}, {self.first_day}"


class ToolBackInService(Recorded):
    """From this day on the tool is used again; the day before was the last one out."""

    out = models.OneToOneField(ToolOutOfService, models.PROTECT, related_name="back")
    from_day = models.DateField(_("in service again from"))
    note = models.CharField(_("what was done"), max_length=400, blank=True)
    entered_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")

    def __str__(self) -> str:
        return f"{self.out}: {self.from_day}"
