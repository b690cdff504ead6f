"""What is asked when somebody is proposed, issued or declined."""

from typing import Any

from django import forms
from django.db.models import QuerySet
from django.utils.translation import gettext_lazy as _

from certification.models import Scope
from people.forms.fields import PasswordField, form_helper
from people.forms.signing import SigningForm
from training.models import ClassSession


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


class CandidatesFilterForm(forms.Form):
    """Whose work is looked at: of a class, or of everybody who passed boards lately."""

    session = forms.ModelChoiceField(
        ClassSession.objects.none(),
        label=_("Class"),
        required=False,
        to_field_name="number",
        empty_label=_("boards passed lately"),
    )
    scope = forms.ModelChoiceField(
        Scope.objects.filter(retired_at__isnull=True),
        label=_("Scope"),
        required=False,
        to_field_name="code",
        empty_label=_("all scopes"),
    )

    def __init__(self, *args: Any, sessions: QuerySet[ClassSession], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["session"].queryset = sessions  # type: ignore[attr-defined]
        self.is_valid()

    def chosen(self, name: str) -> Any:
        """What was chosen in a field, or None for nothing that makes sense."""
        return self.cleaned_data.get(name)


class ProposeTogetherForm(forms.Form):
    note = forms.CharField(
        label=_("Note for whoever issues"),
        required=False,
        max_length=2000,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text=_("It goes with each of them."),
    )
    password = PasswordField()

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_helper("note", "password")


class IssueTogetherForm(forms.Form):
    password = PasswordField()

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_helper("password")


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
