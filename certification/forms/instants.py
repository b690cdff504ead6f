"""The instant up to which something may count as known."""

import re
from datetime import datetime
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from certification.domain.known_at import DAY, known_through, read_moment
from people.forms.fields import DayInput
from people.models import Site


class DayOrInstantInput(DayInput):
    """A field for a day that still shows an instant where one was asked for in the address."""

    def get_context(self, name: str, value: Any, attrs: dict | None) -> dict:
        context = super().get_context(name, value, attrs)
        if isinstance(value, str) and value and not DAY.fullmatch(value.strip()):
            context["widget"]["type"] = "text"
        return context


class KnownAtField(forms.CharField):
    """A day, which means its end, or an instant; without an offset in the time of a site."""

    def __init__(self, *, site: Site | None = None, **kwargs: Any) -> None:
        kwargs.setdefault("label", _("Using entries made up to"))
        kwargs.setdefault("widget", DayOrInstantInput)
        super().__init__(required=False, max_length=40, **kwargs)
        self._zone = site.zone if site else timezone.get_default_timezone()

    def clean(self, value: Any) -> datetime | None:
        text = super().clean(value).strip()
        if not text:
            return None
        # A plus sign in an address that was not escaped has become a space.
        text = re.sub(r"(:\d\d(?:\.\d+)?) (\d\d:\d\d)$", r"\1+\2", text)
        try:
            return known_through(read_moment(text), self._zone)
        except ValueError as error:
            raise forms.ValidationError(
                _now("Give a day, or a day and a time such as 2026-05-03T14:30.")
            ) from error
