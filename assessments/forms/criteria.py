"""Working on a draft of criteria."""

from collections.abc import Iterable
from typing import Any

from crispy_forms.layout import Div
from django import forms
from django.utils.translation import gettext_lazy as _

from assessments.models import Criterion
from assessments.services.criteria import EDITABLE, TEXTS
from people.forms.fields import PasswordField, form_helper

FEW_LINES = forms.Textarea(attrs={"rows": 3})


class CriterionForm(forms.ModelForm):
    """What a criterion of a draft says and asks; its code, stage and joint types stay."""

    title = forms.CharField(label=_("Title"), max_length=80)
    text = forms.CharField(label=_("What is asked"), max_length=600, widget=FEW_LINES)
    reject = forms.CharField(label=_("What fails"), max_length=600, widget=FEW_LINES)
    advice = forms.CharField(
        label=_("What to try"), max_length=600, required=False, widget=FEW_LINES
    )

    class Meta:
        model = Criterion
        fields = EDITABLE
        widgets = {"source_note": FEW_LINES}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        said = self.instance.texts.get("en", {})
        for name in TEXTS:
            self.fields[name].initial = said.get(name, "")
        for name in ("low", "high"):
            value = self.initial.get(name)
            self.initial[name] = value if value is None else f"{value.normalize():f}"
        self.helper = form_helper(
            "title",
            Div("text", "reject", css_class="fields-row"),
            "advice",
            Div("low", "high", css_class="fields-row"),
            Div("severity", "demerits", css_class="fields-row"),
            Div("document", "clause", css_class="fields-row"),
            "source_note",
        )

    def _post_clean(self) -> None:
        """Leave the row alone: the service changes it, and the database checks it there."""

    def changes(self) -> dict[str, Any]:
        """What was typed, as the service takes it."""
        data = self.cleaned_data
        return {
            **{name: data[name] for name in EDITABLE},
            "texts": {name: data[name] for name in TEXTS},
        }


class ConfirmForm(forms.Form):
    """The criteria that somebody has read in their documents."""

    codes = forms.MultipleChoiceField(
        choices=[],
        error_messages={"required": _("Tick at least one criterion that is not confirmed yet.")},
    )

    def __init__(self, *args: Any, criteria: Iterable[Criterion], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["codes"].choices = [  # type: ignore[attr-defined]
            (criterion.code, criterion.title) for criterion in criteria
        ]


class PublishingForm(forms.Form):
    """Why a set is published or retired for the whole organisation, and the password."""

    reason = forms.CharField(
        label=_("Why"),
        max_length=400,
        error_messages={"required": _("Say why: everybody judges by it from now on.")},
    )
    password = PasswordField(
        help_text="",
        error_messages={"required": _("Type your password to prove that it is you.")},
    )
