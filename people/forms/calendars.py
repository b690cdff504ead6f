"""Closed days of a site."""

from datetime import date

from django import forms
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from people.domain.closed_days import closed_days_in

FAULTS = {
    "day": _("Line %(n)d: “%(text)s” begins with no day. Write 2027-01-01 or 1.1.2027 first."),
    "backwards": _("Line %(n)d: “%(text)s” goes backwards. Write the earlier day first."),
    "years": _("Line %(n)d: “%(text)s” lies outside the years 2000 to 2200."),
    "many": _("Line %(n)d: these are more than 400 days. Enter them in several pieces."),
}


class ClosedDaysForm(forms.Form):
    """Days with their names, a line each, as typed or pasted."""

    days = forms.CharField(
        label=_("Closed on"),
        max_length=40_000,
        widget=forms.Textarea(attrs={"rows": 4, "placeholder": "2027-01-01"}),
        help_text=_(
            "A day a line with its name: 2027-01-01 New Year. From one day to another: 24.12.2027 "
            "– 31.12.2027 shutdown. A list copied from a spreadsheet fits."
        ),
        error_messages={"required": _("Type at least one day.")},
    )

    def clean_days(self) -> dict[date, str]:
        days, faults = closed_days_in(self.cleaned_data["days"])
        if faults:
            raise forms.ValidationError(
                [
                    str(FAULTS[fault.fault]) % {"n": fault.line, "text": fault.text}
                    for fault in faults[:20]
                ]
            )
        if not days:
            raise forms.ValidationError(_now("Type at least one day."))
        return days


class OpenDayForm(forms.Form):
    """A closed day that is to be a working day again, if the week says so."""

    opened = forms.DateField(input_formats=["%Y-%m-%d"])
