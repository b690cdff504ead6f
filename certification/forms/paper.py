"""What is asked of lists that are printed."""

from django import forms
from django.utils.translation import gettext_lazy as _

from certification.presenters.work_missing import MOST_MONTHS, USUAL_MONTHS


class MonthsBackForm(forms.Form):
    """How many months without recorded work; the usual ones where nothing fit is said."""

    months = forms.IntegerField(
        label=_("Months without recorded work"),
        required=False,
        min_value=1,
        max_value=MOST_MONTHS,
        initial=USUAL_MONTHS,
    )
    site = forms.CharField(required=False, max_length=40, widget=forms.HiddenInput)
    lead = forms.CharField(required=False, max_length=40, widget=forms.HiddenInput)

    def months_asked(self) -> int:
        return (self.is_valid() and self.cleaned_data["months"]) or USUAL_MONTHS
