"""How photographs are taken at a site, and how far its wire may differ from its nominal size."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from people.models import Site
from records.models import Recorded


class SetupQuerySet(models.QuerySet["PhotoSetup"]):
    def in_use(self) -> "SetupQuerySet":
        """Those that are not retired, with whether they are qualified as ``is_qualified``."""
        return self.filter(retirement__isnull=True).annotate(
            is_qualified=models.Exists(
                SetupQualification.objects.filter(setup=models.OuterRef("pk"))
            )
        )


class PhotoSetup(Recorded):
    """How photographs are taken at a site, with the bounds that hold for every one of them.

    The bounds never change; others are another set-up.
    """

    class Kind(models.TextChoices):
        STAND = "stand", _("stand or microscope")
        HAND = "hand", _("by hand")

    site = models.ForeignKey(Site, models.PROTECT, related_name="photo_setups")
    name = models.CharField(_("name"), max_length=80)
    kind = models.CharField(_("kind"), max_length=8, choices=Kind.choices)
    tilt_deg = models.FloatField(
        _("tilt at most, degrees"),
        help_text=_("Between the picture and the plane that is measured."),
    )
    depth_mm = models.FloatField(
        _("depth at most, mm"),
        help_text=_("From the measured plane to that of the scale, or to the top of a post."),
    )
    relief_mm = models.FloatField(
        _("relief at most, mm"),
        help_text=_("By how much single marks may lie above or below their plane."),
    )
    distance_mm = models.FloatField(
        _("distance at least, mm"), help_text=_("From the lens to the work.")
    )
    distortion_percent = models.FloatField(
        _("distortion at most, %"),
        help_text=_("How far the lens moves a point in the corner, of its way from the middle."),
    )
    field_mm = models.FloatField(
        _("width of the picture at least, mm"),
        help_text=_("What of the work the picture shows from left to right, at its closest."),
    )
    declared_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")

    objects = SetupQuerySet.as_manager()

    class Meta:
        ordering = ["site", "name"]
        constraints = [
            models.UniqueConstraint(fields=["site", "name"], name="photo_setup_name_once_a_site"),
            models.CheckConstraint(
                condition=Q(tilt_deg__gte=0, tilt_deg__lte=45, depth_mm__gte=0, relief_mm__gte=0)
                & Q(distance_mm__gt=0, distortion_percent__gte=0, field_mm__gt=0),
                name="photo_setup_bounds_are_possible",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class SetupQualification(Recorded):
    """A graticule photographed in a set-up at known tilts, and what was read of it."""

    setup = models.ForeignKey(PhotoSetup, models.PROTECT, related_name="qualifications")
    done_on = models.DateField(_("done on"))
    graticule = models.CharField(_("graticule and its certificate"), max_length=160)
    readings = models.JSONField(
        _("readings"), help_text=_("Tilt in degrees, true and read length in mm, for each.")
    )
    qualified_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-recorded_at", "-id"]

    def __str__(self) -> str:
        return f"{self.setup}, {self.done_on}"


class SetupRetirement(Recorded):
    """That a set-up is used for no photograph from here on."""

    setup = models.OneToOneField(PhotoSetup, models.PROTECT, related_name="retirement")
    reason = models.CharField(_("why"), max_length=400)
    retired_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")

    def __str__(self) -> str:
        return f"{self.setup}: {self.reason}"


class WireTolerance(Recorded):
    """By how much a site's wire may differ from its nominal diameters; the latest one counts."""

    site = models.ForeignKey(Site, models.PROTECT, related_name="wire_tolerances")
    conductor_percent = models.FloatField(_("over the strands, ± %"))
    overall_percent = models.FloatField(_("over the insulation, ± %"))
    source = models.CharField(_("where the figures come from"), max_length=200)
    stated_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-recorded_at", "-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(conductor_percent__gt=0, overall_percent__gt=0),
                name="wire_tolerance_is_more_than_nothing",
            )
        ]

    def __str__(self) -> str:
        return f"{self.site}: {self.conductor_percent:g} %, {self.overall_percent:g} %"
