"""Whom letters are printed for, and what whoever holds one types."""

from collections.abc import Sequence
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import QuerySet
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from people.domain.employee_numbers import LONGEST
from people.domain.printed_codes import LONGEST_TYPED
from people.models import Site

from .fields import PasswordField, form_helper

WITHOUT_PASSWORD, WITHOUT_MAIL, EVERYBODY = "", "mail", "all"
LONGEST_PASSWORD = 4096  # As many as hashing takes without stopping others.


class LettersFilterForm(forms.Form):
    """Whom the page lists; anything unknown counts as not asked for."""

    q = forms.CharField(
        label=_("Name or number"),
        required=False,
        max_length=80,
        widget=forms.TextInput(attrs={"type": "search", "data_wide": True}),
    )
    site = forms.ModelChoiceField(
        Site.objects.none(),
        label=_("Site"),
        required=False,
        empty_label=_("all"),
        to_field_name="prefix",
    )
    who = forms.ChoiceField(
        label=_("Who"),
        required=False,
        choices=[
            (WITHOUT_PASSWORD, _("no mail, no password of their own")),
            (WITHOUT_MAIL, _("no mail")),
            (EVERYBODY, _("all")),
        ],
    )
    entered = forms.ChoiceField(
        label=_("Entered"),
        required=False,
        choices=[("", _("at any time")), ("1", _("in the last day")), ("7", _("in the last week"))],
    )

    def __init__(self, *args: Any, sites: QuerySet[Site], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["site"].queryset = sites  # type: ignore[attr-defined]
        if len(sites) < 2:
            del self.fields["site"]

    def chosen(self) -> dict[str, Any]:
        """The filters that were understood."""
        self.is_valid()
        return {name: value for name, value in self.cleaned_data.items() if value}


class TickedField(forms.Field):
    """The lines of a list that were ticked, each as the page showed it."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(widget=forms.MultipleHiddenInput, **kwargs)
        self.offered: frozenset[str] = frozenset()

    def clean(self, value: Any) -> list[str]:
        ticked = [str(one) for one in value or ()]
        if not ticked:
            raise ValidationError(_now("Tick whom letters are for."))
        people = [one.partition(".")[0] for one in ticked]
        if not set(people) <= self.offered or len(set(people)) < len(people):
            raise ValidationError(
                _now("Somebody who was ticked is no longer on this page. Show it again.")
            )
        return ticked


class LettersForm(forms.Form):
    """Who is ticked, the paper, and the password of whoever prints."""

    ticked = TickedField()
    paper = forms.ChoiceField(
        label=_("Paper"),
        choices=[
            ("letters", _("letters, one A4 page each")),
            ("cards", _("cards, eight to an A4")),
        ],
        initial="letters",
        widget=forms.RadioSelect,
    )
    with_pins = forms.BooleanField(
        label=_("With a first PIN for shared tablets"),
        required=False,
        help_text=_("It only leads to choosing one of their own."),
    )
    password = PasswordField(
        help_text=_("Whoever holds a code can use it, so you prove that it is you who prints.")
    )

    def __init__(self, *args: Any, offered: Sequence[int], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["ticked"].offered = frozenset(map(str, offered))  # type: ignore[attr-defined]
        self.helper = form_helper("paper", "with_pins", "password")


class CodeForm(forms.Form):
    """Number and code as a letter says them, and the password that its holder chooses."""

    number = forms.CharField(
        label=_("Employee number"),
        max_length=LONGEST,
        widget=forms.TextInput(attrs={"autocomplete": "username", "autocapitalize": "off"}),
        error_messages={"required": _("Type the employee number that the letter says.")},
    )
    code = forms.CharField(
        label=_("Code"),
        max_length=LONGEST_TYPED,
        widget=forms.TextInput(
            attrs={"autocomplete": "off", "autocapitalize": "off", "spellcheck": "false"}
        ),
        help_text=_("Capitals, spaces and hyphens do not matter."),
        error_messages={"required": _("Type the code that the letter says.")},
    )
    password = forms.CharField(
        label=_("Your new password"),
        max_length=LONGEST_PASSWORD,
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        help_text=_("Ten characters or more, which you alone know. Several words do well."),
    )
    again = forms.CharField(
        label=_("The password again"),
        max_length=LONGEST_PASSWORD,
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_helper("number", "code", "password", "again")

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if "password" in data and "again" in data and data["password"] != data["again"]:
            self.add_error("again", _now("The two differ. Type the password once more."))
        return data
