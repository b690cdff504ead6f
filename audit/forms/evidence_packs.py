"""Asking for an evidence pack: about one thing, or who was certified when."""

from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from crispy_forms.layout import Div
from django import forms
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy

from certification.domain.known_at import known_through
from certification.models import Scope
from people.forms.fields import DayInput, form_helper


class EvidencePackForm(forms.Form):
    """What is asked; of one thing only as known when."""

    scopes = forms.ModelMultipleChoiceField(
        queryset=Scope.objects.order_by("title", "code"),
        label=_("Scopes"),
        required=False,
        help_text=_("None chosen: all of them."),
    )
    first_day = forms.DateField(label=_("From"), widget=DayInput)
    last_day = forms.DateField(label=_("Through"), widget=DayInput)
    known_on = forms.DateField(
        label=_("Beside it as known at the end of"),
        widget=DayInput,
        required=False,
        help_text=_("Left empty: as known now alone."),
    )
    known_time = forms.TimeField(
        label=pgettext_lazy("a time", "at"),
        widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"),
        required=False,
        help_text=_("Left empty: the day’s end."),
    )

    def __init__(self, *args: Any, zone: ZoneInfo, of_one_thing: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.zone = zone
        known = Div("known_on", "known_time", css_class="fields-row")
        if of_one_thing:
            for name in ("scopes", "first_day", "last_day"):
                del self.fields[name]
            self.helper = form_helper(known)
        else:
            days = Div("first_day", "last_day", css_class="fields-row")
            self.helper = form_helper("scopes", days, known)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if cleaned.get("known_time") and not cleaned.get("known_on") and not self.errors:
            self.add_error("known_on", _("Say on which day."))
        return cleaned

    def question(self) -> dict[str, Any]:
        """What the service is asked for."""
        data = self.cleaned_data
        question: dict[str, Any] = {
            name: data[name] for name in ("scopes", "first_day", "last_day") if name in data
        }
        if day := data["known_on"]:
            at = data["known_time"]
            moment = datetime.combine(day, at) if at else day
            question["known_at"] = known_through(moment, self.zone)
        return question
