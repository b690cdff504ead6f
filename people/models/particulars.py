"""What changed of somebody from which day on: name, line lead, and times away."""

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from records.models import Recorded

from .people import Person


class NameChange(Recorded):
    """Somebody has another name from a day on; what was recorded before keeps the name it has."""

    person = models.ForeignKey(Person, models.PROTECT, related_name="name_changes")
    before = models.CharField(max_length=120)
    after = models.CharField(_("full name"), max_length=120)
    from_day = models.DateField(_("from"))
    reason = models.CharField(_("reason"), max_length=400)
    entered_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+"
    )

    class Meta:
        ordering = ["from_day", "pk"]

    def __str__(self) -> str:
        return f"{self.before} → {self.after}"


class LineLeadChange(Recorded):
    """Somebody has another line lead, or none, from a day on."""

    person = models.ForeignKey(Person, models.PROTECT, related_name="line_lead_changes")
    before = models.ForeignKey(Person, models.PROTECT, null=True, related_name="+")
    after = models.ForeignKey(Person, models.PROTECT, null=True, related_name="+")
    from_day = models.DateField(_("from"))
    reason = models.CharField(_("reason"), max_length=400, blank=True)
    entered_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+"
    )

    class Meta:
        ordering = ["from_day", "pk"]

    def __str__(self) -> str:
        return f"{self.before or '–'} → {self.after or '–'}"


class Return(Recorded):
    """Somebody who had left is back from a day on; in between they were away."""

    person = models.ForeignKey(Person, models.PROTECT, related_name="returns")
    left_on = models.DateField(_("left on"))
    returned_on = models.DateField(_("back on"))
    reason = models.CharField(_("reason"), max_length=400)
    entered_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+"
    )

    class Meta:
        ordering = ["returned_on", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(returned_on__gt=F("left_on")), name="return_after_leaving"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person}: {self.returned_on}"
