"""For how many months a site keeps each kind of record."""

from typing import Any

from crispy_forms.layout import Div
from django import forms
from django.utils.translation import gettext_lazy as _

from operations.models import SiteRetention
from operations.models.retention import MOST_MONTHS
from people.forms.fields import PasswordField, form_helper

Kind = SiteRetention.Kind
HELP = {
    Kind.PHOTOGRAPHS: _("Files, from the day they were added, once all of the board is signed."),
    Kind.BOARDS: _("From the last signature, with joints, gradings and photographs."),
    Kind.VISION_TESTS: _("From the day of the test. The last of somebody who is here stays."),
    Kind.PRACTICE: _(
        "From the day of the work. Reports of it that do not count: from the day they were "
        "refused, or reported where nobody decided."
    ),
    Kind.PEOPLE: _("From the last day: number, certificates and what they signed stay."),
}


class RetentionForm(forms.Form):
    """Months by kind, and those that the page showed."""

    password = PasswordField(
        help_text=_("What is removed does not come back, so you prove that it is you.")
    )

    def __init__(self, *args: Any, retention: SiteRetention, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for kind in Kind:
            self.fields[kind.value] = forms.IntegerField(
                label=kind.label,
                min_value=0,
                max_value=MOST_MONTHS,
                initial=retention.months(kind),
                help_text=HELP[kind],
            )
            self.fields[f"shown_{kind.value}"] = forms.IntegerField(
                initial=retention.months(kind), min_value=0, widget=forms.HiddenInput
            )
        kinds = [kind.value for kind in Kind]
        self.order_fields([*kinds, "password"])
        self.helper = form_helper(
            *(f"shown_{kind}" for kind in kinds),
            *(Div(*kinds[start : start + 2], css_class="fields-row") for start in (0, 2)),
            Div(kinds[4], "password", css_class="fields-row"),
        )

    def months(self) -> dict[str, int]:
        return {kind.value: self.cleaned_data[kind.value] for kind in Kind}

    def shown(self) -> dict[str, int]:
        return {kind.value: self.cleaned_data[f"shown_{kind.value}"] for kind in Kind}
