"""Scopes and operations of a routing."""

from typing import Any

from crispy_forms.layout import Div
from django import forms
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from certification.models import Operation, Scope
from certification.services.routing_operations import Routed
from people.forms.fields import code_validator, form_helper
from training.models import JointType

MOST_ROWS = 2000
MOST_TOLD = 10
LONGEST_CODE = 80
"""Of an operation, as its table keeps it."""


class ScopeForm(forms.Form):
    """A scope; of one that is used the title alone can be corrected.

    Parameters
    ----------
    scope : Scope, optional
        What is changed; none where one is made.
    is_used : bool
        Whether everything but the title stays.
    """

    code = forms.CharField(
        label=_("Code"),
        max_length=40,
        validators=[code_validator],
        help_text=_("Exercises credit their joints to it, and work logs name it."),
    )
    title = forms.CharField(label=_("Title"), max_length=120)
    level = forms.ChoiceField(label=_("Level"), choices=Scope.Level.choices)
    joint_types = forms.MultipleChoiceField(
        label=_("Joint types"),
        choices=JointType.choices,
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": _("Choose at least one joint type.")},
    )
    document = forms.CharField(
        label=_("Governing document"),
        max_length=160,
        required=False,
        help_text=_("With its revision, as it stands on certificates."),
    )
    reason = forms.CharField(
        label=_("Why the title is corrected"),
        max_length=400,
        required=False,
        help_text=_("The trail keeps it. What was signed keeps the title it was signed under."),
    )

    def __init__(
        self, *args: Any, scope: Scope | None = None, is_used: bool = False, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        if is_used:
            for name in ("code", "level", "joint_types", "document"):
                self.fields[name].disabled = True
                self.fields[name].help_text = ""
        else:
            del self.fields["reason"]
        parts = ["title", "document", "joint_types"] + (["reason"] if is_used else [])
        self.helper = form_helper(Div("code", "level", css_class="fields-row"), *parts)


class ReasonForm(forms.Form):
    """Why a scope is retired, or restored."""

    reason = forms.CharField(
        label=_("Why"),
        max_length=400,
        error_messages={"required": _("Say why: whoever reads of it later asks.")},
    )
    shown = forms.CharField(required=False, widget=forms.HiddenInput)


class OperationsForm(forms.Form):
    """Operations pasted from a spreadsheet: in each line the operation and the scope's code."""

    rows = forms.CharField(
        label=_("Operations and scopes"),
        max_length=200_000,
        widget=forms.Textarea(attrs={"rows": 6, "spellcheck": "false"}),
        help_text=_(
            "One line each, two columns as a spreadsheet copies them, or with a semicolon or comma "
            "between: 0110-20; TERM-OP."
        ),
        error_messages={"required": _("Paste at least one line.")},
    )

    def clean_rows(self) -> list[Routed]:
        text = self.cleaned_data["rows"]
        lines = [(n, line) for n, line in enumerate(text.splitlines(), start=1) if line.strip()]
        if lines and _columns(lines[0][1].lower()) == ("operation", "scope"):
            lines = lines[1:]  # The heads of the columns, as register files have them.
        if len(lines) > MOST_ROWS:
            raise forms.ValidationError(
                _now("Paste no more than %(most)d lines at once.") % {"most": MOST_ROWS}
            )
        scopes = {scope.code: scope for scope in Scope.objects.all()}
        alike = {code.casefold(): code for code in scopes}
        rows, wrong = [], []
        for number, line in lines:
            code, scope_code = _columns(line)
            problem = _problem(code, scope_code, scopes, alike)
            if problem:
                wrong.append(_now("Line %(n)d: %(problem)s") % {"n": number, "problem": problem})
            else:
                rows.append(Routed(code, scopes[scope_code]))
        if wrong:
            more = len(wrong) - MOST_TOLD
            told = wrong[:MOST_TOLD]
            if more > 0:
                told.append(_now("%(n)d more lines do not fit.") % {"n": more})
            raise forms.ValidationError(told)
        return rows


def _columns(line: str) -> tuple[str, str]:
    """The two columns of a line: by tab, else by semicolon, else by the last comma."""
    for separator in ("\t", ";"):
        if separator in line:
            code, _separator, scope = line.partition(separator)
            return code.strip(), scope.strip(" \t;")
    code, _separator, scope = line.rpartition(",")
    return code.strip(), scope.strip()


def _problem(code: str, scope_code: str, scopes: dict[str, Scope], alike: dict[str, str]) -> str:
    if not code or not scope_code:
        return _now("give an operation and a scope, with a tab or semicolon between.")
    if len(code) > LONGEST_CODE:
        return _now("the operation is too long: 80 characters at most.")
    if scope_code in scopes:
        return ""
    shown = scope_code if len(scope_code) <= 40 else f"{scope_code[:40]}…"
    if (near := alike.get(scope_code.casefold())) is not None:
        return _now("there is no scope %(scope)s; %(near)s is one. Write it like that.") % {
            "scope": shown,
            "near": near,
        }
    return _now("there is no scope %(scope)s.") % {"scope": shown}


class OperationForm(forms.Form):
    """One operation, as its page showed it and as it is to be."""

    code = forms.CharField(label=_("Operation"), max_length=LONGEST_CODE)
    scope = forms.ModelChoiceField(
        Scope.objects.none(), label=_("Scope"), to_field_name="code", empty_label=None
    )
    shown_code = forms.CharField(widget=forms.HiddenInput, required=False)
    shown_scope = forms.CharField(widget=forms.HiddenInput, required=False)

    def __init__(self, data: Any = None, *, operation: Operation) -> None:
        shown = {"code": operation.code, "scope": operation.scope.code}
        before = {f"shown_{name}": value for name, value in shown.items()}
        super().__init__(data, initial=shown | before)
        offered = Scope.objects.filter(retired_at__isnull=True) | Scope.objects.filter(
            pk=operation.scope_id
        )
        self.fields["scope"].queryset = offered  # type: ignore[attr-defined]
        self.helper = form_helper(
            "shown_code", "shown_scope", Div("code", "scope", css_class="fields-row")
        )
