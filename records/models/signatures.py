"""Signatures: who signed what, when, and what it meant."""

from datetime import datetime
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

from .trail import TrailEntry


class Proof(models.TextChoices):
    """How the signer showed again, at the moment of signing, who they are."""

    PASSWORD = "password", _("password")
    CODE = "code", _("password and code")
    PASSKEY = "passkey", _("passkey")
    PROVIDER = "provider", _("fresh sign-in at the provider")


class Signature(models.Model):
    """A signature under something, with the very text that was signed.

    ``content`` is canonical JSON, kept so that its hash can be worked out again; written by
    ``records.services.trail.sign`` alone, together with the trail entry that repeats it.
    """

    signer = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        models.PROTECT,
        related_name="signatures",
        verbose_name=_("signer"),
    )
    printed_name = models.CharField(_("printed name"), max_length=150)
    signed_at = models.DateTimeField(_("signed at"), db_index=True)
    zone = models.CharField(_("time zone of the site"), max_length=64)
    meaning = models.CharField(_("meaning"), max_length=80)
    about_type = models.CharField(_("kind of thing"), max_length=100)
    about_id = models.CharField(_("number of the thing"), max_length=64)
    content = models.TextField(_("what was signed"))
    content_sha256 = models.CharField(_("hash of what was signed"), max_length=64)
    proof = models.CharField(_("proof of identity"), max_length=12, choices=Proof.choices)
    entry = models.OneToOneField(
        TrailEntry, models.PROTECT, related_name="signature", verbose_name=_("trail entry")
    )

    class Meta:
        ordering = ["signed_at", "id"]
        verbose_name = _("signature")
        verbose_name_plural = _("signatures")
        indexes = [models.Index(fields=["about_type", "about_id"], name="signature_about")]

    def __str__(self) -> str:
        return f"{self.printed_name}, {self.meaning}"

    @property
    def signed_at_local(self) -> datetime:
        """The instant as the clock at the signer's site showed it."""
        return self.signed_at.astimezone(ZoneInfo(self.zone))
