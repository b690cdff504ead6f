"""What somebody may choose about the mails they get."""

from django.db import models
from django.utils.translation import gettext_lazy as _

from people.models import Person
from reminders.domain.reminders import HowOften


class MailChoice(models.Model):
    """How often one person gets lists about others; who chose nothing gets them weekly.

    There is no such choice about one's own certificates.
    """

    class Lists(models.TextChoices):
        WEEKLY = HowOften.WEEKLY.value, _("every week")
        DAILY = HowOften.DAILY.value, _("every working day")
        MONTHLY = HowOften.MONTHLY.value, _("every month")
        NEVER = HowOften.NEVER.value, _("never")

    person = models.OneToOneField(
        Person, models.CASCADE, primary_key=True, related_name="mail_choice"
    )
    lists = models.CharField(
        _("lists of what ends"), max_length=8, choices=Lists.choices, default=Lists.WEEKLY
    )

    def __str__(self) -> str:
        return f"{self.person}: {self.get_lists_display()}"
