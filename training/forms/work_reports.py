"""What becomes of reported work."""

from typing import Any

from django import forms
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _


class DecisionForm(forms.Form):
    """Confirm or refuse what is ticked; to refuse needs a reason."""

    CONFIRM, REFUSE = "confirm", "refuse"

    act = forms.ChoiceField(choices=[(CONFIRM, CONFIRM), (REFUSE, REFUSE)])
    reason = forms.CharField(label=_("Why it is refused"), max_length=400, required=False)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if cleaned.get("act") == self.REFUSE and not cleaned.get("reason"):
            self.add_error("reason", _now("Say why it is refused: whoever reported it reads it."))
        return cleaned
