"""What the page of failures can be asked for."""

from typing import Any

from django import forms
from django.http import QueryDict
from django.utils.translation import gettext_lazy as _

from assessments.models import Board
from people.models import Site

MONTHS = (1, 3, 6, 12, 24, 36)
MONTHS_UNLESS_ASKED = 12


class WhatFailsForm(forms.Form):
    """Filters, read from the address so that a view can be kept and sent.

    A filter that makes no sense is left open.
    """

    months = forms.TypedChoiceField(
        label=_("Months, this one among them"),
        choices=[(number, str(number)) for number in MONTHS],
        coerce=int,
        required=False,
        empty_value=None,
    )
    purpose = forms.ChoiceField(
        label=_("Purpose"), required=False, choices=[("", _("all")), *Board.Purpose.choices]
    )
    site = forms.ModelChoiceField(
        Site.objects.none(),
        label=_("Site"),
        required=False,
        to_field_name="prefix",
        empty_label=_("All sites"),
    )
    by = forms.CharField(required=False, max_length=16, widget=forms.HiddenInput)

    def __init__(self, data: QueryDict, *, sites: set[int], **kwargs: Any) -> None:
        """Take ids of the sites to choose from; there is no choice among one."""
        data = data.copy()
        data.setdefault("months", str(MONTHS_UNLESS_ASKED))
        super().__init__(data, **kwargs)
        if len(sites) < 2:
            del self.fields["site"]
        else:
            offered = Site.objects.filter(pk__in=sites)
            self.fields["site"].queryset = offered  # type: ignore[attr-defined]
        self.is_valid()

    @property
    def months_asked(self) -> int:
        return self.cleaned_data.get("months") or MONTHS_UNLESS_ASKED

    @property
    def purpose_asked(self) -> str:
        return self.cleaned_data.get("purpose") or ""

    @property
    def site_asked(self) -> Site | None:
        return self.cleaned_data.get("site")
