"""What keeps a certificate alive: work done within its scope."""

from django.conf import settings
from django.db import models
from django.db.models.functions import Upper
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from people.models.people import Person
from records.models import Recorded, Signature
from records.models.text_order import InByteOrder


class PracticeRecordQuerySet(models.QuerySet["PracticeRecord"]):
    def not_withdrawn(self) -> "PracticeRecordQuerySet":
        """Work that was not withdrawn as entered in error."""
        return self.filter(withdrawal__isnull=True)


class PracticeRecord(Recorded):
    """Work done on a day within a scope, and who confirms it."""

    person = models.ForeignKey(Person, models.PROTECT, related_name="practice")
    scope_code = models.CharField(_("scope"), max_length=40)
    performed_on = models.DateField(_("done on"))
    reference = models.CharField(_("unit or work order"), max_length=80, blank=True)
    confirmed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )

    objects = PracticeRecordQuerySet.as_manager()

    class Meta:
        ordering = ["-performed_on"]
        indexes = [
            models.Index(
                fields=["person", "scope_code", "performed_on"], name="practice_by_person"
            ),
            models.Index(InByteOrder(Upper("reference")), name="practice_by_reference"),
        ]

    def __str__(self) -> str:
        return f"{self.person}, {self.scope_code}, {self.performed_on}"


class PracticeWithdrawal(models.Model):
    """From this instant the work counts as never entered; the row itself stays."""

    practice = models.OneToOneField(PracticeRecord, models.PROTECT, related_name="withdrawal")
    withdrawn_at = models.DateTimeField(default=timezone.now)
    reason = models.CharField(_("reason"), max_length=400)
    withdrawn_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+"
    )
    signature = models.OneToOneField(
        Signature, models.PROTECT, null=True, blank=True, related_name="+"
    )

    def __str__(self) -> str:
        return f"{self.practice}: {self.reason}"
