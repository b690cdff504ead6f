"""Who somebody is at the provider by which they sign in."""

from django.conf import settings
from django.db import models

from records.models import Recorded


class ProviderLink(Recorded):
    """A provider's lasting name for somebody (``sub``), linked by themselves."""

    user = models.OneToOneField(
        settings.AUTH_USER_MODEL, models.CASCADE, related_name="provider_link"
    )
    issuer = models.CharField(max_length=200)
    subject = models.CharField(max_length=255)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["issuer", "subject"], name="provider_link_is_one_person"
            )
        ]

    def __str__(self) -> str:
        return f"{self.user}: {self.subject} at {self.issuer}"
