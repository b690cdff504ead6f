"""What is written down about somebody: vision tests and practice."""

from collections.abc import Iterable
from typing import Any

from crispy_forms.layout import Div
from django import forms
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from people.forms.fields import (
    DayInput,
    PasswordField,
    form_helper,
)
from people.forms.signing import SigningForm


class VisionTestForm(forms.Form):
    """A vision test's result: no more medical detail than the register needs."""

    tested_on = forms.DateField(label=_("Tested on"), widget=DayInput)
    passed = forms.TypedChoiceField(
        label=_("Result"),
        choices=[("yes", _("passed")), ("no", _("not passed"))],
        coerce=lambda answer: answer == "yes",
        widget=forms.RadioSelect,
    )
    with_lenses = forms.TypedChoiceField(
        label=_("With glasses or lenses"),
        required=False,
        choices=[("", _("not said")), ("yes", _("with")), ("no", _("without"))],
        coerce=lambda answer: answer == "yes",
        empty_value=None,
    )
    method = forms.CharField(
        label=_("Method"),
        required=False,
        max_length=80,
        help_text=_("The chart or device, such as a near-vision card at 40 cm."),
    )
    examiner = forms.CharField(label=_("Who tested"), max_length=120)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_helper(
            Div("tested_on", "with_lenses", css_class="fields-row"), "passed", "method", "examiner"
        )


class PracticeForm(forms.Form):
    """Work done on a day within a scope, confirmed by whoever sends the form."""

    scope_code = forms.ChoiceField(label=_("Scope"), choices=[])
    performed_on = forms.DateField(label=_("Done on"), widget=DayInput)
    reference = forms.CharField(
        label=_("Unit or work order"),
        required=False,
        max_length=80,
        help_text=_("What an auditor could look up."),
    )

    def __init__(self, *args: Any, scopes: Iterable[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["scope_code"].choices = [  # type: ignore[attr-defined]
            ("", _now("choose one")),
            *((code, f"{title} ({code})") for code, title in scopes),
        ]
        self.helper = form_helper(
            "scope_code", Div("performed_on", "reference", css_class="fields-row")
        )


class WorkReportForm(PracticeForm):
    """One's own work, for somebody else to confirm."""

    reference = forms.CharField(
        label=_("Unit or work order"),
        max_length=80,
        help_text=_("Where whoever confirms it can look."),
    )


class ReasonForm(SigningForm):
    """Why something entered in error is withdrawn, signed."""

    reason = forms.CharField(
        label=_("Why"), max_length=400, widget=forms.Textarea(attrs={"rows": 3})
    )
    password = PasswordField()

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_helper("shown", "reason", "password")
