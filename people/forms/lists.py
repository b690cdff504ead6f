"""A list as it is brought: a file, or what was copied out of a spreadsheet."""

from typing import Any

from django import forms
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from .fields import form_helper

MOST_PASTED = 2_000_000


class BringForm(forms.Form):
    """A file, or what was copied out of a spreadsheet.

    ``file_help`` says how much a file may hold, where it is another number than of people.
    """

    file = forms.FileField(
        label=_("File"),
        required=False,
        help_text=_("CSV or XLSX of any spreadsheet program, up to 10 MB and 30,000 rows."),
    )
    pasted = forms.CharField(
        label=_("Or paste the rows here"),
        required=False,
        max_length=MOST_PASTED,
        strip=False,
        widget=forms.Textarea(attrs={"rows": 8, "spellcheck": "false"}),
        help_text=_("With the row of headings, as copied from the spreadsheet."),
    )

    def __init__(self, *args: Any, file_help: str = "", **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if file_help:
            self.fields["file"].help_text = file_help
        self.fields["file"].widget.attrs["accept"] = ".csv,.txt,.tsv,.xlsx"
        self.helper = form_helper("file", "pasted")

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        pasted = (cleaned.get("pasted") or "").strip("\r\n")
        if not self.errors and bool(cleaned.get("file")) == bool(pasted):
            raise forms.ValidationError(
                _now("Choose a file, or paste the rows: one of the two."), code="one"
            )
        return cleaned

    def named_content(self) -> tuple[str, bytes]:
        """The name and the bytes of the list."""
        upload = self.cleaned_data["file"]
        if upload:
            return upload.name, upload.read()
        return _now("Pasted rows"), self.cleaned_data["pasted"].strip("\r\n").encode()
