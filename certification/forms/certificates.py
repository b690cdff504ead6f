"""What is asked before somebody acts on a certificate."""

from datetime import date
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from people.forms.fields import DayInput, PasswordField, form_helper
from people.forms.signing import SigningForm


class ActForm(SigningForm):
    """The reason and the day of an act, and the signer's password."""

    effective_on = forms.DateField(label=_("From"), widget=DayInput)
    until = forms.DateField(label=_("New last day"), widget=DayInput)
    authority = forms.CharField(
        label=_("Granted by"),
        max_length=160,
        help_text=_("The person, committee or concession that granted it."),
    )
    restriction = forms.CharField(
        label=_("Restriction"),
        max_length=400,
        help_text=_(
            "What alone it allows, printed after “only”: such as cups for AWG 20 and less."
        ),
    )
    reason = forms.CharField(
        label=_("Reason"), max_length=400, widget=forms.Textarea(attrs={"rows": 2})
    )
    password = PasswordField()

    def __init__(
        self, *args: Any, asks: tuple[str, ...], day_label: Any = "", today: date, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        for name in ("effective_on", "until", "authority", "restriction"):
            if name not in asks:
                del self.fields[name]
        if "effective_on" in asks:
            self.fields["effective_on"].initial = today
            self.fields["effective_on"].label = day_label
        self.helper = form_helper(*(name for name in self.fields))


class IssueAgainForm(SigningForm):
    """Why certificates are issued again under another name."""

    reason = forms.CharField(
        label=_("Why"),
        max_length=400,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text=_("Such as the register entry or document that you have seen."),
    )
    password = PasswordField()

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_helper("shown", "reason", "password")
