"""Why somebody is preferred, or a class is cancelled."""

from django import forms
from django.utils.translation import gettext_lazy as _

from people.forms.fields import form_helper


class ReasonForm(forms.Form):
    reason = forms.CharField(
        label=_("Reason"),
        max_length=400,
        error_messages={"required": _("Say why.")},
    )

    helper = form_helper("reason")
