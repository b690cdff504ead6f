"""What anybody types off a certificate."""

from django import forms
from django.utils.translation import gettext_lazy as _

from people.domain.printed_codes import LONGEST_TYPED


class PublicCodeForm(forms.Form):
    """Number and code as they stand on the paper."""

    number = forms.CharField(
        label=_("Number of the certificate"),
        max_length=40,
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "characters"}),
    )
    code = forms.CharField(
        label=_("Code"),
        max_length=LONGEST_TYPED,
        help_text=_("Twelve letters and digits. Capitals and hyphens do not matter."),
        widget=forms.TextInput(
            attrs={"autocomplete": "off", "autocapitalize": "none", "spellcheck": "false"}
        ),
    )
