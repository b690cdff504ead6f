"""What a token is called, and where it is good."""

from typing import Any

from django import forms
from django.db.models import QuerySet
from django.utils.translation import gettext_lazy as _

from people.forms.fields import form_helper
from people.models import Site


class ApiTokenForm(forms.Form):
    site = forms.ModelChoiceField(
        Site.objects.none(), label=_("Site"), empty_label=None, to_field_name="prefix"
    )
    name = forms.CharField(
        label=_("Name"),
        max_length=80,
        help_text=_("The program that is to use it, so that you know which one to revoke."),
    )

    may_bring_people = forms.BooleanField(
        label=_("It also enters and changes people"),
        required=False,
        help_text=_(
            "For the plant’s own system, which hands its people over. It may do what you may at "
            "the site, as long as you administer it."
        ),
    )

    may_record_work = forms.BooleanField(
        label=_("It also records work"),
        required=False,
        help_text=_(
            "For a program that knows who worked on what. Such work keeps certificates alive, and "
            "nobody confirms it by hand."
        ),
    )

    def __init__(self, *args: Any, sites: QuerySet[Site], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["site"].queryset = sites  # type: ignore[attr-defined]
        self.helper = form_helper("site", "name", "may_bring_people", "may_record_work")
