"""Which day is asked about, and what may count as known."""

import re
from datetime import date, datetime, time
from typing import Any
from urllib.parse import urlencode

from django import forms
from django.utils.dateparse import parse_date, parse_datetime
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from training.forms.fields import DayInput
from training.models import Site

DAY_ALONE = re.compile(r"\d{4}-\d{2}-\d{2}")


class InstantField(forms.CharField):
    """An instant in the site's time; a bare day means its end."""

    def __init__(self, *, site: Site, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._site = site

    def clean(self, value: Any) -> datetime | None:
        text = super().clean(value).strip()
        if not text:
            return None
        try:
            day = parse_date(text)
            found = datetime.combine(day, time.max) if day else parse_datetime(text)
            if found is not None and text.endswith("T23:59:59"):
                found = found.replace(microsecond=999_999)  # A day is over at its very end.
        except ValueError:
            found = None
        if found is None:
            raise forms.ValidationError(
                _now("Give a day, or a day and a time such as 2026-05-03T14:30.")
            )
        return found if found.tzinfo else found.replace(tzinfo=self._site.zone)


class StandingForm(forms.Form):
    """Read from the address, so that an answer can be kept and sent."""

    day = forms.DateField(label=_("On"), required=False, widget=DayInput)

    def __init__(self, data: Any, *, site: Site, today: date) -> None:
        data = data.copy()
        data.setdefault("day", today.isoformat())
        self._as_known = data.get("known_at", "").strip()
        if DAY_ALONE.fullmatch(self._as_known):
            data["known_at"] = f"{self._as_known}T23:59:59"
        super().__init__(data)
        self._today = today
        self.fields["known_at"] = InstantField(
            site=site,
            label=_("As known at"),
            required=False,
            max_length=40,
            widget=forms.DateTimeInput(attrs={"type": "datetime-local", "step": "1"}),
        )
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
            asked["known_at"] = self._as_known
        return urlencode(asked)
