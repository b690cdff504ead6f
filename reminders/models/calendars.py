"""The private address at which somebody's calendar fetches what ends for them."""

from django.db import models
from django.utils.translation import gettext_lazy as _

from people.models import Person


class CalendarFeed(models.Model):
    """One person's address, known by the hash of its secret alone; renewing replaces it."""

    person = models.OneToOneField(
        Person, models.PROTECT, primary_key=True, related_name="calendar_feed"
    )
    secret_sha256 = models.CharField(max_length=64, unique=True)
    in_full = models.BooleanField(_("says what kind of end it is"), default=False)
    made_at = models.DateTimeField(_("made"))
    last_read_on = models.DateField(_("last fetched"), null=True, blank=True)

    def __str__(self) -> str:
        return f"{self.person}: {self.made_at:%Y-%m-%d}"
