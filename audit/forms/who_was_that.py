"""One field for the question, and one for what may count as known."""

from datetime import datetime

from django import forms
from django.utils.translation import gettext_lazy as _

from certification.forms.instants import KnownAtField
from people.models import Site


class WhoWasThatForm(forms.Form):
    q = forms.CharField(
        label=_("Trace: a stamp, employee number or name and a day, or a unit or work order"),
        max_length=160,
        widget=forms.TextInput(
            attrs={
                "data_wide": True,
                "placeholder": _("47 2026-05-03"),
                "autocomplete": "off",
                "autocapitalize": "off",
                "spellcheck": "false",
            }
        ),
    )

    def __init__(self, *args, site: Site | None, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.fields["known_at"] = KnownAtField(site=site)

    @property
    def known_at(self) -> datetime | None:
        return self.cleaned_data.get("known_at")
