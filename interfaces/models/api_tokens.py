"""What programs read the register by."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from people.models import Site


class ApiTokenQuerySet(models.QuerySet["ApiToken"]):
    def in_use(self) -> "ApiTokenQuerySet":
        return self.filter(revoked_at__isnull=True)


class ApiToken(models.Model):
    """What a program at one site shows instead of signing in; only its hash is kept.

    ``beginning`` is the token's first letters, which let people tell one from another. Any token
    reads the bench check; one that ``may_bring_people`` also enters and changes people, and one
    that ``may_record_work`` hands work over that keeps certificates alive, both as far as
    whoever made it may themselves at the time.
    """

    site = models.ForeignKey(
        Site, models.PROTECT, related_name="api_tokens", verbose_name=_("site")
    )
    name = models.CharField(_("name"), max_length=80)
    beginning = models.CharField(_("begins with"), max_length=12)
    token_hash = models.CharField(max_length=64, unique=True, editable=False)
    may_bring_people = models.BooleanField(_("may enter and change people"), default=False)
    may_record_work = models.BooleanField(_("may record work"), default=False)
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
