"""What is answered once: by a passkey, or by signing in anew at the provider."""

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _


class PasskeyChallenge(models.Model):
    """A question that one answer takes away, so that none is good twice or for something else."""

    class Purpose(models.TextChoices):
        REGISTER = "register", _("register a passkey")
        SIGN_IN = "sign_in", _("sign in")
        PROOF = "proof", _("prove who one is")
        PROVIDER = "provider", _("prove it by a fresh sign-in at the provider")

    user = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, related_name="+")
    purpose = models.CharField(max_length=8, choices=Purpose.choices)
    challenge = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.user}: {self.get_purpose_display()}"
