"""A kiosk's name, and where it stands."""

from typing import Any

from django import forms
from django.db.models import QuerySet
from django.utils.translation import gettext_lazy as _

from people.models import Site

from .fields import code_validator, form_helper


class KioskForm(forms.Form):
    site = forms.ModelChoiceField(
        Site.objects.none(), label=_("Site"), empty_label=None, to_field_name="prefix"
    )
    name = forms.CharField(
        label=_("Name"),
        max_length=32,
        validators=[code_validator],
        help_text=_("What it signs in by, such as kiosk-line-3."),
    )

    def __init__(self, *args: Any, sites: QuerySet[Site], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["site"].queryset = sites  # type: ignore[attr-defined]
        self.helper = form_helper("site", "name")
