"""Asking for a work-log check, and looking through what it found."""

from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from crispy_forms.layout import Div
from django import forms
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy

from audit.domain.standing_spans import STANDINGS
from certification.domain.known_at import known_through
from people.forms.fields import DayInput, form_helper
from people.presenters.symbols import STANDING_SYMBOLS

NOW, AT, THEN = "now", "at", "then"
TIMES = [
    (NOW, _("By everything recorded up to now")),
    (AT, _("By what had been recorded at an instant")),
    (THEN, _("Each row by what had been recorded on its own day")),
]


class WorkLogForm(forms.Form):
    """A log, and what is asked about every row of it."""

    file = forms.FileField(
        label=_("Work log"),
        help_text=_(
            "CSV or XLSX, up to 128 MB, with a heading: employee_number or stamp, scope or "
            "operation, worked_on as in 2026-03-09. Any other columns are kept."
        ),
    )
    known = forms.ChoiceField(
        label=_("Judged"), choices=TIMES, initial=NOW, widget=forms.RadioSelect
    )
    known_on = forms.DateField(
        label=_("Using entries made up to"),
        widget=DayInput,
        required=False,
        help_text=_("For the second choice."),
    )
    known_time = forms.TimeField(
        label=pgettext_lazy("a time", "at"),
        widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"),
        required=False,
        help_text=_("Left empty: the day’s end."),
    )
    counts_as_practice = forms.BooleanField(
        label=_("Count the log’s own rows as practice first"), required=False
    )

    def __init__(self, *args: Any, zone: ZoneInfo, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.zone = zone
        self.fields["file"].widget.attrs["accept"] = ".csv,.txt,.xlsx"
        self.helper = form_helper(
            "file",
            "known",
            Div("known_on", "known_time", css_class="fields-row"),
            "counts_as_practice",
        )

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if (
            cleaned.get("known") == AT
            and not cleaned.get("known_on")
            and "known_on" not in self.errors
        ):
            self.add_error("known_on", _("Say up to which day entries are used."))
        return cleaned

    def check_options(self) -> dict[str, Any]:
        """What the service is asked for."""
        data = self.cleaned_data
        known_at = None
        if data["known"] == AT:
            day, clock_time = data["known_on"], data["known_time"]
            moment = datetime.combine(day, clock_time) if clock_time else day
            known_at = known_through(moment, self.zone)
        return {
            "known_at": known_at,
            "as_known_then": data["known"] == THEN,
            "counts_as_practice": data["counts_as_practice"],
        }


class LogPracticeForm(forms.Form):
    """Which days of a log are recorded as practice."""

    first = forms.DateField(label=_("From"), widget=DayInput, required=False)
    last = forms.DateField(label=_("Through"), widget=DayInput, required=False)


class FindingsForm(forms.Form):
    """Filters of the findings, read from the address."""

    q = forms.CharField(label=_("Employee number"), required=False, max_length=120)
    standing = forms.ChoiceField(
        label=_("Standing"),
        required=False,
        choices=[
            ("", _("Any standing")),
            ("not", _("not certified")),
            *((word, STANDING_SYMBOLS[word].word) for word in STANDINGS),
        ],
    )
    scope = forms.CharField(label=_("Scope"), required=False, max_length=80)
    first = forms.DateField(label=_("From"), widget=DayInput, required=False)
    last = forms.DateField(label=_("Through"), widget=DayInput, required=False)
