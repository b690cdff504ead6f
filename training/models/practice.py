"""What keeps a certificate alive, and the tools the work is done with."""

from django.conf import settings
from django.db import models
from django.db.models.functions import Upper
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from people.models.people import Person, Site
from records.models import Recorded, Signature
from records.models.text_order import InByteOrder


class Tool(Recorded):
    class Kind(models.TextChoices):
        IRON = "iron", _("soldering iron")
        TIP = "tip", _("tip")
        MECHANICAL_STRIPPER = "mechanical_stripper", _("mechanical stripper")
        THERMAL_STRIPPER = "thermal_stripper", _("thermal stripper")
        MAGNIFIER = "magnifier", _("magnifier or microscope")
        LAMP = "lamp", _("lamp")
        GAUGE = "gauge", _("gauge or graticule")

    code = models.CharField(_("code"), max_length=24, unique=True)
    kind = models.CharField(_("kind"), max_length=24, choices=Kind.choices)
    name = models.CharField(_("name"), max_length=120, blank=True)
    site = models.ForeignKey(Site, models.PROTECT, related_name="tools")
    answers_for = models.ForeignKey(
        Person,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="tools",
        verbose_name=_("who answers for it"),
    )
    retired_on = models.DateField(_("retired on"), null=True, blank=True)

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return self.code


class Calibration(Recorded):
    tool = models.ForeignKey(Tool, models.PROTECT, related_name="calibrations")
    calibrated_on = models.DateField(_("calibrated on"))
    valid_through = models.DateField(_("good through"))
    passed = models.BooleanField(_("passed"), default=True)
    reference = models.CharField(_("report"), max_length=80, blank=True)

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


class PracticeRecordQuerySet(models.QuerySet["PracticeRecord"]):
    def not_withdrawn(self) -> "PracticeRecordQuerySet":
        """Work that was not withdrawn as entered in error."""
        return self.filter(withdrawal__isnull=True)


class PracticeRecord(Recorded):
    """Work done on a day within a scope, and who confirms it."""

    person = models.ForeignKey(Person, models.PROTECT, related_name="practice")
    scope_code = models.CharField(_("scope"), max_length=40)
    performed_on = models.DateField(_("done on"))
    reference = models.CharField(_("unit or work order"), max_length=80, blank=True)
    confirmed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )

    objects = PracticeRecordQuerySet.as_manager()

    class Meta:
        ordering = ["-performed_on"]
        indexes = [
            models.Index(
                fields=["person", "scope_code", "performed_on"], name="practice_by_person"
            ),
            models.Index(InByteOrder(Upper("reference")), name="practice_by_reference"),
        ]

    def __str__(self) -> str:
        return f"{self.person}, {self.scope_code}, {self.performed_on}"


class PracticeWithdrawal(models.Model):
    """From this instant the work counts as never entered; the row itself stays."""

    practice = models.OneToOneField(PracticeRecord, models.PROTECT, related_name="withdrawal")
    withdrawn_at = models.DateTimeField(default=timezone.now)
    reason = models.CharField(_("reason"), max_length=400)
    withdrawn_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+"
    )
    signature = models.OneToOneField(
        Signature, models.PROTECT, null=True, blank=True, related_name="+"
    )

    def __str__(self) -> str:
        return f"{self.practice}: {self.reason}"
