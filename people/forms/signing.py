"""Forms under what is signed: they carry what their page shows, and are refused once it differs."""

from collections.abc import Sequence
from typing import Any

from django import forms
from django.utils.translation import gettext as _now

from records.domain.shown import Change, NotReadable, Shown, changes, shown_in
from records.exceptions import ShownOtherwise

NOT_SAID = "not_said"


class ShownField(forms.Field):
    """What the page shows, hidden in its form; comes back as `records.domain.shown.Shown` or None.

    What is sent is never filled in again: a page carries what it shows itself.
    """

    widget = forms.HiddenInput

    def __init__(self) -> None:
        super().__init__(required=False)

    def bound_data(self, data: Any, initial: Any) -> Any:
        return initial

    def prepare_value(self, value: Any) -> Any:
        return value.as_text() if isinstance(value, Shown) else value

    def clean(self, value: Any) -> Shown | None:
        try:
            return shown_in(value or "")
        except NotReadable:
            return None


class SigningForm(forms.Form):
    """A form by which something is signed that its page shows.

    A form without what its page showed is refused, and so is one whose page shows something else
    by now: both before any proof is looked at. The service compares once more, under its lock, by
    `shown_digest`; where that refuses (`ShownOtherwise`), call `show_anew`.

    Parameters
    ----------
    showing : Shown
        What the page shows now.

    Attributes
    ----------
    changed : list of Change, or None
        What differs from what was shown; None while nothing does.
    was_shown : Shown or None
        What the page showed that sent the form.
    """

    shown = ShownField()

    def __init__(self, *args: Any, showing: Shown, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.changed: Sequence[Change] | None = None
        self.was_shown: Shown | None = None
        self._show(showing)

    def _show(self, showing: Shown) -> None:
        self.showing = showing
        self.initial["shown"] = showing

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        self.was_shown = cleaned.get("shown")
        if self.was_shown is None:
            says = _now(
                "This page came without what it showed, so nothing was signed. Read it as it is "
                "now, then sign."
            )
            self.add_error(None, forms.ValidationError(says, code=NOT_SAID))
        elif self.was_shown.digest != self.showing.digest:
            self._refuse()
        return cleaned

    @property
    def shown_digest(self) -> str:
        """What was shown, for the service to compare under its lock; of a valid form."""
        assert self.was_shown is not None  # noqa: S101 - clean() refuses a form without it
        return self.was_shown.digest

    def show_anew(self, showing: Shown) -> None:
        """Say what has changed, where it did so between the form's own look and the lock."""
        self._show(showing)
        self._refuse()

    def _refuse(self) -> None:
        assert self.was_shown is not None  # noqa: S101 - it was compared
        self.changed = changes(self.was_shown, self.showing)
        self.add_error(None, str(ShownOtherwise()))
