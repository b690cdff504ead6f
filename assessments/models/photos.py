"""Photographs: the original as it came, and the smaller sizes made from it."""

import secrets

from django.conf import settings
from django.db import models
from django.db.models import Q, QuerySet
from django.utils.translation import gettext_lazy as _

from records.models import Recorded
from training.models import Stage

from .boards import Board, Joint
from .photo_setups import PhotoSetup


def random_name() -> str:
    """32 URL-safe characters that say nothing about what they name."""
    return secrets.token_urlsafe(24)


def original_path(photo: "Photo", name: str) -> str:
    return f"originals/{photo.key[:2]}/{photo.key}.bin"


def rendition_path(rendition: "Rendition", name: str) -> str:
    key = random_name()
    return f"renditions/{key[:2]}/{key}.jpg"


class StandingPhotos(models.Manager["Photo"]):
    """Photographs that were not taken back: what every page, list and count is about."""

    def get_queryset(self) -> QuerySet["Photo"]:
        return super().get_queryset().filter(taken_back_at__isnull=True)


class Photo(Recorded):
    """One photograph of a joint, or of the whole board where no joint is named.

    One that was sent by mistake is taken back by whoever sent it, until somebody has gone by it:
    it keeps its row and its file, and is on no page any more.
    """

    key = models.CharField(max_length=40, unique=True, default=random_name, editable=False)
    board = models.ForeignKey(Board, models.PROTECT, related_name="photos")
    joint = models.ForeignKey(Joint, models.PROTECT, null=True, blank=True, related_name="photos")
    stage = models.CharField(_("stage"), max_length=12, choices=Stage.choices, blank=True)
    order = models.PositiveIntegerField(default=0)
    original = models.FileField(upload_to=original_path, max_length=120)
    original_name = models.CharField(_("file name"), max_length=200)
    media_type = models.CharField(max_length=40)
    size_bytes = models.PositiveBigIntegerField()
    sha256 = models.CharField(max_length=64, db_index=True)
    is_incomplete = models.BooleanField(
        default=False,
        editable=False,
        help_text=_("A part of the file was lost before it came, and filled in by the decoder."),
    )
    upright_width = models.PositiveIntegerField()
    upright_height = models.PositiveIntegerField()
    magnification = models.DecimalField(
        _("magnification"), max_digits=6, decimal_places=2, null=True, blank=True
    )
    scale_px_per_mm = models.FloatField(_("scale, pixels a millimetre"), null=True, blank=True)
    scale_uncertainty = models.FloatField(
        _("standard uncertainty of the scale, relative"), null=True, blank=True
    )
    scale_view = models.FloatField(
        _("bound of the view in the scale, relative"),
        null=True,
        blank=True,
        help_text=_("What the photo set-up may have done to the scale when it was set."),
    )
    setup = models.ForeignKey(
        PhotoSetup,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="photos",
        verbose_name=_("photo set-up"),
        help_text=_("None is by hand, with the wide bounds of that."),
    )
    mark_uncertainty_px = models.FloatField(
        _("standard uncertainty of a mark, pixels"), default=1.0
    )
    note = models.CharField(_("note"), max_length=200, blank=True)
    added_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+"
    )
    sending = models.CharField(
        max_length=32,
        blank=True,
        default="",
        editable=False,
        help_text=_("What the browser called the act by which it came, with others."),
    )
    taken_back_at = models.DateTimeField(_("taken back"), null=True, blank=True, editable=False)

    objects = StandingPhotos()
    every = models.Manager["Photo"]()

    class Meta:
        ordering = ["board", "order", "id"]
        indexes = [models.Index(fields=["added_by", "recorded_at"], name="photo_by_whom_and_when")]
        constraints = [
            models.UniqueConstraint(
                fields=["board", "sha256"],
                condition=Q(taken_back_at__isnull=True),
                name="photo_once_a_board",
            )
        ]

    def __str__(self) -> str:
        return self.original_name


class Rendition(models.Model):
    """An upright JPEG no larger than its size, without EXIF; made again at need."""

    class Size(models.IntegerChoices):
        THUMBNAIL = 160, _("thumbnail")
        MEDIUM = 800, _("medium")
        LARGE = 2048, _("large")

    photo = models.ForeignKey(Photo, models.CASCADE, related_name="renditions")
    size = models.PositiveSmallIntegerField(choices=Size.choices)
    file = models.FileField(upload_to=rendition_path, max_length=120)
    width = models.PositiveIntegerField()
    height = models.PositiveIntegerField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["photo", "size"], name="rendition_once_a_size")
        ]

    def __str__(self) -> str:
        return f"{self.photo}, {self.size}"
