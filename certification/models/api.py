"""What programs read the register by, and what they poll."""

from datetime import datetime

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from training.models import Person, Site

from .schemes import Scope


class ApiTokenQuerySet(models.QuerySet["ApiToken"]):
    def in_use(self) -> "ApiTokenQuerySet":
        return self.filter(revoked_at__isnull=True)


class ApiToken(models.Model):
    """What a program at one site shows instead of signing in; only its hash is kept.

    ``beginning`` is the token's first letters, which let people tell one from another.
    """

    site = models.ForeignKey(
        Site, models.PROTECT, related_name="api_tokens", verbose_name=_("site")
    )
    name = models.CharField(_("name"), max_length=80)
    beginning = models.CharField(_("begins with"), max_length=12)
    token_hash = models.CharField(max_length=64, unique=True, editable=False)
    made_at = models.DateTimeField(_("made"), default=timezone.now)
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+"
    )
    revoked_at = models.DateTimeField(_("revoked"), null=True, blank=True)
    revoked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )
    last_used_on = models.DateField(
        _("last used on"), null=True, blank=True, help_text=_("The day at the site, no closer.")
    )

    objects = ApiTokenQuerySet.as_manager()

    class Meta:
        ordering = ["site__name", "name", "-made_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["site", "name"],
                condition=Q(revoked_at__isnull=True),
                name="api_token_in_use_named_once_a_site",
            )
        ]

    def __str__(self) -> str:
        return self.name


class StandingChangeQuerySet(models.QuerySet["StandingChange"]):
    def since(self, instant: datetime) -> "StandingChangeQuerySet":
        return self.filter(changed_at__gte=instant)


class StandingChange(models.Model):
    """When something was last written down that changed how somebody stands in one scope.

    A projection like the spans, but it outlives them. The site is where the person was
    then; somebody who has moved since has a row for each.
    """

    person = models.ForeignKey(Person, models.CASCADE, related_name="+")
    scope = models.ForeignKey(Scope, models.CASCADE, related_name="+")
    site = models.ForeignKey(Site, models.CASCADE, related_name="+")
    changed_at = models.DateTimeField(_("changed"))

    objects = StandingChangeQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["person", "scope", "site"], name="standing_change_once_a_pair_and_site"
            )
        ]
        indexes = [models.Index(fields=["site", "changed_at"], name="standing_change_by_site")]

    def __str__(self) -> str:
        return f"{self.person}, {self.scope}: {self.changed_at}"
