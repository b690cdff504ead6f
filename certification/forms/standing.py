"""Which day is asked about, and what may count as known."""

from datetime import date, datetime
from typing import Any
from urllib.parse import urlencode

from django import forms
from django.utils.translation import gettext_lazy as _

from people.forms.fields import DayInput
from people.models import Site

from .instants import KnownAtField


class StandingForm(forms.Form):
    """Read from the address, so that an answer can be kept and sent."""

    day = forms.DateField(label=_("On"), required=False, widget=DayInput)

    def __init__(self, data: Any, *, site: Site, today: date) -> None:
        data = data.copy()
        data.setdefault("day", today.isoformat())
        super().__init__(data)
        self._today = today
        self.fields["known_at"] = KnownAtField(site=site)
        self.is_valid()

    @property
    def asked_day(self) -> date:
        return self.cleaned_data.get("day") or self._today

    @property
    def asked_known_at(self) -> datetime | None:
        return self.cleaned_data.get("known_at")

    def query(self) -> str:
        """The question as the end of an address."""
        asked = {"day": self.asked_day.isoformat()}
        if self.asked_known_at is not None:
            asked["known_at"] = self.data["known_at"]
        return urlencode(asked)
