"""Vision tests: that somebody sees well enough to judge a joint, on a day."""

from django.conf import settings
from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from people.models.people import Person
from records.models import Recorded, Signature


class VisionTestQuerySet(models.QuerySet["VisionTest"]):
    def not_withdrawn(self) -> "VisionTestQuerySet":
        """Tests that were not withdrawn as entered in error."""
        return self.filter(withdrawal__isnull=True)


class VisionTest(Recorded):
    """A vision test's result and no more medical detail than that."""

    test_id = models.CharField(_("number"), max_length=40, unique=True)
    person = models.ForeignKey(Person, models.PROTECT, related_name="vision_tests")
    tested_on = models.DateField(_("tested on"))
    passed = models.BooleanField(_("passed"))
    method = models.CharField(_("method"), max_length=80, blank=True)
    with_lenses = models.BooleanField(_("with glasses or lenses"), null=True, blank=True)
    examiner = models.CharField(_("examiner"), max_length=120, blank=True)
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+"
    )

    objects = VisionTestQuerySet.as_manager()

    class Meta:
        ordering = ["-tested_on", "-recorded_at", "-test_id"]

    def __str__(self) -> str:
        return self.test_id


class VisionTestWithdrawal(models.Model):
    """From this instant the test counts as never entered; the row itself stays."""

    vision_test = models.OneToOneField(VisionTest, models.PROTECT, related_name="withdrawal")
    withdrawn_at = models.DateTimeField(default=timezone.now)
    reason = models.CharField(_("reason"), max_length=400)
    withdrawn_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+"
    )
    signature = models.OneToOneField(
        Signature, models.PROTECT, null=True, blank=True, related_name="+"
    )

    def __str__(self) -> str:
        return f"{self.vision_test}: {self.reason}"
