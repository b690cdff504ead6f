"""What programs read the register by, and what they poll."""

from datetime import datetime

from django.db import models
from django.utils.translation import gettext_lazy as _

from people.models import Person, Site

from .schemes import Scope


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
