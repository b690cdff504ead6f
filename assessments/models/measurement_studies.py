"""Measurement studies: the same joints marked again and photographed again by several graders.

What is read in a study is kept apart from measurements: it judges nothing and sets no scale.
"""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from people.models import Site
from records.models import Recorded

from .boards import Joint
from .criteria import Criterion
from .measuring import Measurement
from .photos import Photo


class StudyQuerySet(models.QuerySet["MeasurementStudy"]):
    def open(self) -> "StudyQuerySet":
        """Those that still take readings."""
        return self.filter(closing__isnull=True, withdrawal__isnull=True)

    def standing(self) -> "StudyQuerySet":
        """Those that are closed and were not withdrawn."""
        return self.filter(closing__isnull=False, withdrawal__isnull=True)


class MeasurementStudy(Recorded):
    """A study as it was laid out; neither its photographs nor its graders change."""

    site = models.ForeignKey(Site, models.PROTECT, related_name="measurement_studies")
    title = models.CharField(_("title"), max_length=120)
    quantity = models.CharField(_("quantity"), max_length=16, choices=Measurement.Quantity.choices)
    criterion = models.ForeignKey(
        Criterion, models.PROTECT, null=True, blank=True, related_name="measurement_studies"
    )
    unit = models.CharField(_("unit"), max_length=12, blank=True)
    repeats = models.PositiveSmallIntegerField(_("times that each photograph is marked"))
    seed = models.CharField(
        max_length=64,
        editable=False,
        help_text=_("What the order follows from in which each grader marks."),
    )
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")

    objects = StudyQuerySet.as_manager()

    class Meta:
        ordering = ["-recorded_at", "-id"]
        constraints = [
            models.UniqueConstraint(fields=["site", "title"], name="study_title_once_a_site"),
            models.CheckConstraint(
                condition=Q(repeats__gte=1, repeats__lte=10), name="study_repeats_one_to_ten"
            ),
            models.CheckConstraint(
                condition=~Q(quantity=Measurement.Quantity.SCALE), name="study_of_no_scale"
            ),
        ]

    def __str__(self) -> str:
        return self.title

    @property
    def is_closed(self) -> bool:
        return hasattr(self, "closing")

    @property
    def is_withdrawn(self) -> bool:
        return hasattr(self, "withdrawal")

    @property
    def is_open(self) -> bool:
        return not (self.is_closed or self.is_withdrawn)


class StudyPhoto(models.Model):
    """A photograph in a study, of which joint it counts, and its scale as it was then."""

    study = models.ForeignKey(MeasurementStudy, models.PROTECT, related_name="photos")
    photo = models.ForeignKey(Photo, models.PROTECT, related_name="in_studies")
    joint = models.ForeignKey(Joint, models.PROTECT, related_name="in_studies")
    order = models.PositiveSmallIntegerField()
    scale_px_per_mm = models.FloatField(_("scale, pixels a millimetre"), null=True)
    scale_uncertainty = models.FloatField(
        _("standard uncertainty of the scale, relative"), null=True
    )
    scale_view = models.FloatField(_("bound of the view in the scale, relative"), null=True)

    class Meta:
        ordering = ["study", "order"]
        constraints = [
            models.UniqueConstraint(fields=["study", "photo"], name="study_photo_once"),
            models.UniqueConstraint(fields=["study", "order"], name="study_photo_order_once"),
        ]

    def __str__(self) -> str:
        return f"{self.joint.board.number} {self.joint}"


class StudyGrader(models.Model):
    """Somebody who was asked to mark in a study."""

    study = models.ForeignKey(MeasurementStudy, models.PROTECT, related_name="graders")
    user = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="measurement_studies"
    )

    class Meta:
        ordering = ["study", "id"]
        constraints = [
            models.UniqueConstraint(fields=["study", "user"], name="study_grader_once"),
        ]

    def __str__(self) -> str:
        return str(self.user)


class StudyReading(Recorded):
    """One value that a grader's marks gave on one photograph of a study."""

    study_photo = models.ForeignKey(StudyPhoto, models.PROTECT, related_name="readings")
    grader = models.ForeignKey(StudyGrader, models.PROTECT, related_name="readings")
    turn = models.PositiveSmallIntegerField(
        _("turn"), help_text=_("Of this grader, from 0, in the order of marking.")
    )
    marks = models.JSONField(_("marks"))
    options = models.JSONField(_("said with the marks"), default=dict)
    mark_uncertainty_px = models.FloatField(_("standard uncertainty of a mark, pixels"))
    pixel_px = models.FloatField(
        _("pixels of the photograph to one of the screen, as it was shown")
    )
    value = models.FloatField(_("value"))
    standard_uncertainty = models.FloatField(_("standard uncertainty"))
    unit = models.CharField(_("unit"), max_length=12)
    budget = models.JSONField(_("terms of the uncertainty"), default=dict)
    remarks = models.JSONField(_("remarks"), default=list)

    class Meta:
        ordering = ["grader", "turn"]
        constraints = [
            models.UniqueConstraint(fields=["grader", "turn"], name="study_reading_once_a_turn"),
        ]

    def __str__(self) -> str:
        return f"{self.study_photo}: {self.value:g} {self.unit}"

    @property
    def per_px(self) -> float:
        """The value's standard uncertainty of marks uncertain by one pixel."""
        return self.budget["marks"] / self.mark_uncertainty_px


class StudyReference(Recorded):
    """What a joint measures by a better means; of several for one joint the latest counts."""

    study = models.ForeignKey(MeasurementStudy, models.PROTECT, related_name="references")
    joint = models.ForeignKey(Joint, models.PROTECT, related_name="study_references")
    value = models.FloatField(_("reference value"))
    expanded_uncertainty = models.FloatField(_("its expanded uncertainty, U = 2u"))
    source = models.CharField(_("how it was measured"), max_length=200)
    stated_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")

    class Meta:
        ordering = ["recorded_at", "id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(expanded_uncertainty__gt=0), name="study_reference_is_uncertain"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.joint}: {self.value:g}"


class StudyClosing(Recorded):
    """That a study takes no more readings, and what of each grader follows from it."""

    study = models.OneToOneField(MeasurementStudy, models.PROTECT, related_name="closing")
    reason = models.CharField(_("why it is closed"), max_length=400)
    spreads = models.JSONField(
        _("what a mark shows"),
        default=list,
        help_text=_("For each sign-in: sum of squares, degrees of freedom, coarsest pixel."),
    )
    closed_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")

    def __str__(self) -> str:
        return f"{self.study}: {self.reason}"


class StudyWithdrawal(Recorded):
    """That nothing rests on a study any more; it is kept to be read."""

    study = models.OneToOneField(MeasurementStudy, models.PROTECT, related_name="withdrawal")
    reason = models.CharField(_("why it is withdrawn"), max_length=400)
    withdrawn_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")

    def __str__(self) -> str:
        return f"{self.study}: {self.reason}"
