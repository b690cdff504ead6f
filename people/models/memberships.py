"""At which site somebody is from which day on: facts, of which a person's present site is read."""

from datetime import date

from django.conf import settings
from django.db import models
from django.db.models import Exists, OuterRef, Q
from django.utils.translation import gettext_lazy as _

from records.models import Recorded

from .people import Person, Site

FROM_THE_BEGINNING = date(1900, 1, 1)


class SiteMembershipQuerySet(models.QuerySet["SiteMembership"]):
    def not_withdrawn(self) -> "SiteMembershipQuerySet":
        return self.filter(withdrawal__isnull=True)

    def held_on(self, day: date) -> "SiteMembershipQuerySet":
        """The one of each person that holds on a day: the last to begin, and to be entered."""
        later = SiteMembership.objects.not_withdrawn().filter(
            Q(from_day__gt=OuterRef("from_day"))
            | Q(from_day=OuterRef("from_day"), pk__gt=OuterRef("pk")),
            person=OuterRef("person"),
            from_day__lte=day,
        )
        return self.not_withdrawn().filter(~Exists(later), from_day__lte=day)


class SiteMembership(Recorded):
    """Somebody is at a site from a day on, until another of theirs begins.

    Whoever never moved has none: they have been at their site from the beginning.
    """

    person = models.ForeignKey(Person, models.PROTECT, related_name="site_memberships")
    site = models.ForeignKey(Site, models.PROTECT, related_name="memberships")
    from_day = models.DateField(_("from"))
    reason = models.CharField(_("reason"), max_length=400, blank=True)
    entered_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+"
    )

    objects = SiteMembershipQuerySet.as_manager()

    class Meta:
        ordering = ["from_day", "pk"]
        indexes = [
            models.Index(fields=["person", "from_day"], name="membership_by_person_and_day"),
        ]

    def __str__(self) -> str:
        return f"{self.person}: {self.site} from {self.from_day}"

    @property
    def is_first(self) -> bool:
        """Whether it says where they had been before they first moved."""
        return self.from_day == FROM_THE_BEGINNING


class SiteMembershipWithdrawal(Recorded):
    """From this instant a move counts as never entered; the row of it stays."""

    membership = models.OneToOneField(SiteMembership, models.PROTECT, related_name="withdrawal")
    reason = models.CharField(_("reason"), max_length=400)
    withdrawn_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+"
    )

    def __str__(self) -> str:
        return f"{self.membership}: {self.reason}"
