"""Shared tablets: which browser is one, who opens it, and one's own badge and PIN."""

from typing import Any

from django import forms
from django.db.models import QuerySet
from django.utils.translation import gettext_lazy as _

from people.models import Site

from .fields import PasswordField, form_helper

DIGITS = {"inputmode": "numeric", "autocomplete": "off", "maxlength": "8"}


class TabletForm(forms.Form):
    site = forms.ModelChoiceField(
        Site.objects.none(), label=_("Site"), empty_label=None, to_field_name="prefix"
    )
    name = forms.CharField(
        label=_("Name"),
        max_length=60,
        help_text=_("Where it lies, such as the bench by the door."),
    )

    def __init__(self, *args: Any, sites: QuerySet[Site], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["site"].queryset = sites  # type: ignore[attr-defined]
        self.helper = form_helper("site", "name")


class BadgeForm(forms.Form):
    """A badge as a scanner types it, or an employee number, and the PIN."""

    badge = forms.CharField(
        label=_("Badge or employee number"),
        max_length=64,
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "off"}),
        error_messages={"required": _("Scan your badge, or type your employee number.")},
    )
    pin = forms.CharField(
        label=_("PIN"),
        max_length=8,
        widget=forms.PasswordInput(attrs=DIGITS),
        error_messages={"required": _("Type your PIN.")},
    )


class TabletPasswordForm(forms.Form):
    """The password, and the second factor of whoever has signed in by badge and PIN alone."""

    password = PasswordField(help_text="", error_messages={"required": _("Type your password.")})

    def __init__(self, *args: Any, was_looking: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["password"].widget.asks = "code" if was_looking else "password"


class OwnPinForm(forms.Form):
    """One's own PIN, twice."""

    pin = forms.CharField(
        label=_("PIN"),
        max_length=40,
        widget=forms.PasswordInput(attrs=DIGITS),
        help_text=_("Four to eight digits that nobody guesses from who you are."),
    )
    again = forms.CharField(
        label=_("PIN, again"), max_length=40, widget=forms.PasswordInput(attrs=DIGITS)
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_helper("pin", "again")

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if "pin" in data and "again" in data and data["pin"] != data["again"]:
            self.add_error("again", _("The two differ. Type the PIN once more."))
        return data


class PinForm(OwnPinForm):
    """One's own PIN, twice, with the badge and the password that proves who sets it."""

    badge = forms.CharField(
        label=_("Badge"),
        required=False,
        max_length=64,
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "off"}),
        help_text=_("Scan it here. Left empty, your employee number opens beside the PIN."),
    )
    password = PasswordField(help_text=_("Only you set your PIN, so you prove that it is you."))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_helper("badge", "pin", "again", "password")


class RemovePinForm(forms.Form):
    """The password before one's PIN is given up."""

    password = PasswordField(help_text="", error_messages={"required": _("Type your password.")})
