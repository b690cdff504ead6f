"""Codes that reach somebody on paper, by which they choose their first password or PIN."""

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from records.models import Recorded


class SignInCodeQuerySet(models.QuerySet["SignInCode"]):
    def standing(self, at: datetime) -> "SignInCodeQuerySet":
        """Codes that still lead to something: neither void nor over."""
        return self.filter(voided_at__isnull=True, expires_at__gt=at)

    def void(self, users: Iterable[Any], at: datetime) -> None:
        """Have what was printed for some sign-ins lead nowhere any more."""
        self.filter(user__in=users, voided_at__isnull=True).update(voided_at=at)


class SignInCode(Recorded):
    """What one letter or card leads to, of which hashes alone are kept.

    A new one voids those before it. ``pin_hash`` is empty where no first PIN was printed.
    """

    user = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, related_name="codes")
    code_hash = models.CharField(max_length=64, unique=True)
    pin_hash = models.CharField(max_length=64, blank=True)
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    expires_at = models.DateTimeField(_("good until"))
    voided_at = models.DateTimeField(null=True)
    used_at = models.DateTimeField(null=True)
    used_from = models.CharField(max_length=64, blank=True)
    pin_used_at = models.DateTimeField(null=True)

    objects = SignInCodeQuerySet.as_manager()

    class Meta:
        ordering = ["pk"]
        constraints = [
            # Not void is one of a person, whoever prints at the same time.
            models.UniqueConstraint(
                fields=["user"],
                condition=Q(voided_at__isnull=True),
                name="sign_in_code_one_not_void",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.user}: {self.recorded_at:%d %b %Y}"
