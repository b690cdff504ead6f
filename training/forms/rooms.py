"""Rooms with their benches."""

from typing import Any

from crispy_forms.layout import Div
from django import forms
from django.db.models import QuerySet
from django.utils.translation import gettext_lazy as _

from people.forms.fields import DayInput, form_helper
from people.models import Site
from training.models import Room


class RoomForm(forms.Form):
    site = forms.ModelChoiceField(Site.objects.none(), label=_("Site"), empty_label=None)
    name = forms.CharField(label=_("Name"), max_length=80)
    benches = forms.IntegerField(
        label=_("Benches"),
        min_value=1,
        max_value=200,
        help_text=_("No class there has more places."),
    )
    closed_on = forms.DateField(
        label=_("Closed from"),
        required=False,
        widget=DayInput,
        help_text=_("No class is held there from that day on."),
    )

    def __init__(
        self, *args: Any, sites: QuerySet[Site], room: Room | None = None, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        if room is None:
            self.fields["site"].queryset = sites  # type: ignore[attr-defined]
            del self.fields["closed_on"]
            rows = ["site", Div("name", "benches", css_class="fields-row")]
        else:
            del self.fields["site"]
            rows = [Div("name", "benches", css_class="fields-row"), "closed_on"]
        self.helper = form_helper(*rows)
