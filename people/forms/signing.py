"""Forms under what is signed: they carry what their page shows, and are refused once it differs."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from records.domain.shown import Change, NotReadable, Shown, changes, shown_in
from records.exceptions import ShownOtherwise

NOT_SAID = "not_said"
NOTHING_SAID = _(
    "This page came without what it showed, so nothing was signed. Read it as it is now, then sign."
)


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
            self.add_error(None, forms.ValidationError(NOTHING_SAID, code=NOT_SAID))
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


@dataclass(frozen=True, slots=True)
class ListedItem:
    """One thing of a list that is signed together: its fields, and what changed of it."""

    key: str
    is_ticked: bool
    shown: forms.BoundField
    changed: Sequence[Change] | None = None
    was_shown: Shown | None = None


class SigningListForm(forms.Form):
    """A form by which those of several things are signed that are ticked, each as its page showed.

    It asks of each what `SigningForm` asks of one thing, and refuses all where one that is ticked
    has changed: that one is shown as it is now, and not ticked. Where the service refuses under
    its lock (`ShownOtherwise`), make the form anew of what is shown now, and validate it.

    Parameters
    ----------
    showing : dict of str to Shown
        What the page shows now of each thing that can be signed, by what the form calls it.
    """

    sign = forms.MultipleChoiceField(
        widget=forms.CheckboxSelectMultiple,
        error_messages={
            "required": _("Tick what you sign."),
            "invalid_choice": _(
                "Something that you ticked is signed already, or is not yours to sign any more, so "
                "nothing was signed. Read what is left, then sign."
            ),
        },
    )

    def __init__(self, *args: Any, showing: Mapping[str, Shown], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.showing = showing
        self.changed: dict[str, Sequence[Change]] = {}
        self.was_shown: dict[str, Shown] = {}
        self.fields["sign"].choices = [(key, key) for key in showing]  # type: ignore[attr-defined]
        for key, shown in showing.items():
            self.fields[f"shown-{key}"] = ShownField()
            self.initial[f"shown-{key}"] = shown

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        sent = {key: cleaned.get(f"shown-{key}") for key in self.showing}
        self.was_shown = {key: shown for key, shown in sent.items() if shown is not None}
        self.changed = {
            key: changes(shown, self.showing[key])
            for key, shown in self.was_shown.items()
            if shown.digest != self.showing[key].digest
        }
        ticked = cleaned.get("sign", [])
        if any(key in self.changed for key in ticked):
            self.add_error(None, str(ShownOtherwise()))
        if any(key not in self.was_shown for key in ticked):
            self.add_error(None, forms.ValidationError(NOTHING_SAID, code=NOT_SAID))
        return cleaned

    @property
    def to_sign(self) -> dict[str, str]:
        """What was shown of each thing that is ticked, as a digest; of a valid form."""
        return {key: self.was_shown[key].digest for key in self.cleaned_data["sign"]}

    def item(self, key: str) -> ListedItem:
        """One thing of the list: all are ticked at first, and what changed is not."""
        is_ticked = key in (self["sign"].value() or ()) if self.is_bound else True
        return ListedItem(
            key=key,
            is_ticked=is_ticked and key not in self.changed,
            shown=self[f"shown-{key}"],
            changed=self.changed.get(key),
            was_shown=self.was_shown.get(key),
        )
