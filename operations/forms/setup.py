"""What an administrator types on the way to a site that is set up."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from people.forms.fields import form_helper


class MailTrialForm(forms.Form):
    recipient = forms.EmailField(
        label=_("To"), max_length=254, help_text=_("An address at which somebody reads it now.")
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_helper("recipient")


class OrganisationForm(forms.Form):
    organisation = forms.CharField(
        label=_("Organisation"),
        max_length=120,
        help_text=_("Whose installation this is: it stands on certificates and cards."),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_helper("organisation")
