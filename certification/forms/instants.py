"""The instant up to which something may count as known."""

import re
from datetime import datetime, time
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.dateparse import parse_date, parse_datetime
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from people.forms.fields import DayInput
from people.models import Site

A_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")


class DayOrInstantInput(DayInput):
    """A field for a day that still shows an instant where one was asked for in the address."""

    def get_context(self, name: str, value: Any, attrs: dict | None) -> dict:
        context = super().get_context(name, value, attrs)
        if isinstance(value, str) and value and not A_DAY.fullmatch(value.strip()):
            context["widget"]["type"] = "text"
        return context


class KnownAtField(forms.CharField):
    """A day, which means its end, or an instant; without an offset in the time of a site."""

    def __init__(self, *, site: Site | None = None, **kwargs: Any) -> None:
        kwargs.setdefault("label", _("As known on"))
        kwargs.setdefault("widget", DayOrInstantInput)
        super().__init__(required=False, max_length=40, **kwargs)
        self._zone = site.zone if site else timezone.get_default_timezone()

    def clean(self, value: Any) -> datetime | None:
        text = super().clean(value).strip()
        if not text:
            return None
        try:
            if A_DAY.fullmatch(text):
                day = parse_date(text)
                found = datetime.combine(day, time.max) if day else None
            else:
                # A plus sign in an address that was not escaped has become a space.
                found = parse_datetime(re.sub(r" (\d\d:\d\d)$", r"+\1", text, count=1))
        except ValueError:
            found = None
        if found is None or not 1900 <= found.year <= 2999:
            raise forms.ValidationError(
                _now("Give a day, or a day and a time such as 2026-05-03T14:30.")
            )
        return found if found.tzinfo else found.replace(tzinfo=self._zone)
