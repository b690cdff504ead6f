"""What lets others check a certificate by themselves: its public code, keys and credentials."""

from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from records.models import Recorded

from .certificates import Certificate
from .standing import LONGEST_RESTRICTION


class PublicCode(Recorded):
    """The random code that opens a certificate's public page, beside its number.

    It stands on paper, so it never changes.
    """

    certificate = models.OneToOneField(Certificate, models.PROTECT, related_name="public_code")
    code = models.CharField(max_length=24)

    def __str__(self) -> str:
        return str(self.certificate)


class SigningKeyQuerySet(models.QuerySet["SigningKey"]):
    def current(self) -> "SigningKey | None":
        """The key that signs now; None before the first one is made."""
        return self.filter(ended_at__isnull=True).first()

    def trusted(self) -> "SigningKeyQuerySet":
        """Keys whose signatures count: the current one, and earlier ones that nobody else has."""
        return self.filter(lost_at__isnull=True)


class SigningKey(models.Model):
    """The public half of a key that this site signs credentials with.

    The private half is a file (`services.signing_keys`), never in the database. An ended key
    signs nothing more, and what it signed counts; of a lost one nothing counts.
    """

    kid = models.CharField(
        _("key"), max_length=43, unique=True, help_text=_("Its thumbprint by RFC 7638.")
    )
    public_jwk = models.JSONField(_("public key"))
    started_at = models.DateTimeField(_("signs from"), default=timezone.now)
    ended_at = models.DateTimeField(_("signs until"), null=True, blank=True)
    lost_at = models.DateTimeField(_("lost"), null=True, blank=True)
    lost_reason = models.CharField(_("how it was lost"), max_length=400, blank=True)

    objects = SigningKeyQuerySet.as_manager()

    class Meta:
        ordering = ["-started_at", "-pk"]
        constraints = [
            models.UniqueConstraint(
                models.Value(1),
                condition=Q(ended_at__isnull=True),
                name="signing_key_one_current",
            ),
            models.CheckConstraint(
                condition=Q(lost_at__isnull=True) | Q(ended_at__isnull=False),
                name="signing_key_lost_signs_no_more",
            ),
        ]

    def __str__(self) -> str:
        return self.kid


class Credential(Recorded):
    """A signed statement of a certificate that somebody took away, and its bit in a status list.

    What can differ between two of one certificate stands in it, so that the earlier one can be
    told from what holds now. The signed text itself is kept nowhere: the same row gives the same
    text again.
    """

    certificate = models.ForeignKey(Certificate, models.PROTECT, related_name="credentials")
    key = models.ForeignKey(SigningKey, models.PROTECT, related_name="credentials")
    name = models.CharField(_("name"), max_length=120)
    restriction = models.CharField(_("restriction"), max_length=LONGEST_RESTRICTION, blank=True)
    good_through = models.DateField(_("good through"))
    status_list = models.PositiveIntegerField(_("status list"))
    status_index = models.PositiveIntegerField(_("index in the list"))

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["certificate", "key", "name", "restriction", "good_through"],
                name="credential_once_a_content_and_key",
            ),
            models.UniqueConstraint(
                fields=["status_list", "status_index"], name="credential_has_a_bit_of_its_own"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.certificate}: {self.status_list}/{self.status_index}"
