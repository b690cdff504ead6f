"""Second factors: set up, given when signing in, removed."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from .fields import PasswordField, form_helper

CODE = {
    "inputmode": "numeric",
    "autocomplete": "one-time-code",
    "spellcheck": "false",
    "data-no-draft": "",
}


class CodeField(forms.CharField):
    """A code as an app shows it, with or without spaces, or a recovery code."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(
            **{
                "label": _("Code"),
                "max_length": 16,
                "widget": forms.TextInput(attrs=CODE),
                "error_messages": {"required": _("Type the code that your app shows now.")},
                **kwargs,
            }
        )


class SignInCodeForm(forms.Form):
    """A code, or what the browser says with a passkey."""

    code = CodeField(label=_("Code of your app, or a recovery code"), required=False)
    passkey = forms.CharField(required=False, widget=forms.HiddenInput, max_length=8000)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["code"].widget.attrs["autofocus"] = True
        self.helper = form_helper("code", "passkey")

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if not (data.get("code") or data.get("passkey")) and not self.errors:
            self.add_error("code", self.fields["code"].error_messages["required"])
        return data


class AppForm(forms.Form):
    """The password, and a first code that shows that the app has the secret."""

    code = CodeField(label=_("Code that the app shows now"))
    password = PasswordField(
        of_factors=True, help_text="", error_messages={"required": _("Type your password.")}
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_helper("code", "password")


class PasskeyForm(forms.Form):
    """A new passkey: its name, the proof of who adds it, and what the browser made."""

    name = forms.CharField(
        label=_("Name"),
        max_length=60,
        help_text=_("By which you know it again, such as: grey key, telephone."),
    )
    password = PasswordField(
        of_factors=True, help_text="", error_messages={"required": _("Type your password.")}
    )
    credential = forms.CharField(
        widget=forms.HiddenInput,
        max_length=20_000,
        error_messages={"required": _("No passkey was made. Let the browser make it, then save.")},
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_helper("name", "password", "credential")

    def clean(self) -> dict[str, Any]:
        """What is missing of a hidden field is said where it can be read."""
        data = super().clean() or {}
        if "credential" in self.errors:
            self.add_error(None, self.errors.pop("credential"))
        return data


class ProvenForm(forms.Form):
    """Password and code before a second factor is removed, or its recovery codes made anew."""

    password = PasswordField(
        of_factors=True, help_text="", error_messages={"required": _("Type your password.")}
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_helper("password")


class ResetForm(forms.Form):
    """Why an administrator takes somebody's second factors away."""

    reason = forms.CharField(
        label=_("Why"),
        max_length=400,
        help_text=_("Such as: telephone lost, seen in person. It stays in the trail."),
    )
    password = PasswordField()

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_helper("reason", "password")
