"""What is asked when somebody is proposed, issued or declined."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from people.forms.fields import PasswordField, form_helper
from people.forms.signing import SigningForm


class RestrictionField(forms.CharField):
    def __init__(self, **kwargs: Any) -> None:
        super().__init__(
            **{
                "label": _("Restriction"),
                "max_length": 400,
                "required": False,
                "help_text": _(
                    "What alone it allows, printed after “only”: such as cups for AWG 20 and less."
                ),
                **kwargs,
            }
        )


class ProposeForm(SigningForm):
    note = forms.CharField(
        label=_("Note for whoever issues"),
        required=False,
        max_length=2000,
        widget=forms.Textarea(attrs={"rows": 2}),
    )
    restriction = RestrictionField()
    password = PasswordField()

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_helper("shown", "note", "restriction", "password")


class IssueForm(SigningForm):
    prefix = "issue"

    restriction = RestrictionField()
    password = PasswordField()

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_helper("shown", "restriction", "password")


class DeclineForm(forms.Form):
    prefix = "decline"

    reason = forms.CharField(
        label=_("Why"),
        max_length=400,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text=_("Whoever proposed it reads this."),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_helper("reason")
