"""A list of tools: what its columns hold, what was asked about it, and its rows as text."""

import csv
import hashlib
import io
from collections.abc import Sequence
from typing import Any

from crispy_forms.layout import Div
from django import forms
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from people.domain.list_days import DayForm
from people.forms.fields import form_helper
from people.forms.lists import MOST_PASTED
from people.models import Site
from records.exceptions import CannotRead
from records.tables.lists import ReadList, read_list
from training.domain.tool_columns import Column, suggest
from training.models import Tool
from training.queries.tool_lists import Question
from training.services.tool_lists import MOST_TOOLS, ToolList, too_many

COLUMN_WORDS = {
    Column.CODE: _("Number of the tool"),
    Column.KIND: _("Kind"),
    Column.NAME: _("Make and model"),
    Column.SERIAL: _("Serial number"),
    Column.SITE: _("Site"),
    Column.CALIBRATED_ON: _("Calibrated on"),
    Column.VALID_THROUGH: _("Good through"),
    Column.REFERENCE: _("Report"),
}


def read_tools(name: str, content: bytes) -> ReadList:
    """Read a list of tools from a file or pasted rows.

    Raises
    ------
    CannotRead
        If it is no table, a cell holds something else than it shows, or it has more than
        `MOST_TOOLS` rows.
    """
    read = read_list(name, content)
    if len(read.rows) > MOST_TOOLS:
        raise CannotRead(too_many())
    for (line, _place), why in sorted(read.doubts.items()):
        raise CannotRead(_now("Line %(n)d: %(problem)s") % {"n": line, "problem": why})
    return read


def as_text(read: ReadList) -> str:
    """A list as a page carries it: a line each, with tabs between cells."""
    out = io.StringIO()
    writer = csv.writer(out, delimiter="\t", lineterminator="\n")
    # Commas in a heading would pass for what stands between cells.
    writer.writerow([heading.replace(",", " ").replace(";", " ") for heading in read.headings])
    writer.writerows(row.cells for row in read.rows)
    return out.getvalue()


class ToolListForm(forms.Form):
    """The list as it is carried, with a field for each of its columns.

    What is asked of it is asked by what the columns hold: see `ask`.
    """

    text = forms.CharField(
        label=_("The rows"),
        max_length=MOST_PASTED,
        strip=False,
        widget=forms.Textarea(attrs={"rows": 8, "spellcheck": "false"}),
        help_text=_("Put right here what does not fit, and have it shown again."),
    )
    shown = forms.CharField(required=False, widget=forms.HiddenInput)

    def __init__(self, data: Any = None, *, read: ReadList) -> None:
        suggested = suggest(read.headings)
        super().__init__(data, initial={"text": as_text(read)})
        self.read = read
        choices = [("", _("– not taken –")), *((str(one), COLUMN_WORDS[one]) for one in Column)]
        for place, likely in enumerate(suggested):
            self.fields[f"column-{place}"] = forms.ChoiceField(
                choices=choices,
                required=False,
                initial=likely,
                widget=forms.Select(attrs={"class": "form-select"}),
            )

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        columns = self._columns(cleaned)
        for column in Column:
            if columns.count(column) > 1:
                raise forms.ValidationError(
                    _now("Two columns are taken for “%(field)s”: choose one of them.")
                    % {"field": COLUMN_WORDS[column]}
                )
        if Column.CODE not in columns:
            raise forms.ValidationError(
                _now("Say which column holds the number of the tool: it tells tools apart.")
            )
        return cleaned

    def _columns(self, values: Any) -> list[str]:
        return [values.get(f"column-{place}", "") for place in range(len(self.read.headings))]

    def columns(self) -> list[str]:
        """What each column holds: as it was chosen, or else as its heading suggests."""
        if self.is_bound:
            return self._columns(self.cleaned_data)
        return suggest(self.read.headings)

    def column_rows(self, samples: int = 3) -> list[tuple[str, list[str], Any]]:
        """Of each column its heading, its first cells, and its field."""
        return [
            (
                heading,
                [row.cells[place] for row in self.read.rows if row.cells[place]][:samples],
                self[f"column-{place}"],
            )
            for place, heading in enumerate(self.read.headings)
        ]


class AskedForm(forms.Form):
    """What is asked of a list once; each question stays, answered or not, as nothing is stored."""

    def __init__(
        self,
        data: Any = None,
        *,
        questions: Sequence[Question],
        day_example: str,
        sites: Sequence[Site],
    ) -> None:
        super().__init__(data)
        self.questions = questions
        if day_example:
            self.fields["day_form"] = forms.ChoiceField(
                label=_now("“%(day)s” could be two days. Which number is the day?")
                % {"day": day_example},
                choices=[
                    (str(DayForm.DAY_FIRST), _("the first: day, month, year")),
                    (str(DayForm.MONTH_FIRST), _("the second: month, day, year")),
                ],
                widget=forms.RadioSelect,
                required=False,
            )
        options: dict[Column, list[tuple[str, Any]]] = {
            Column.KIND: list(Tool.Kind.choices),
            Column.SITE: [(site.prefix, site.name) for site in sites],
        }
        for question in questions:
            self.fields[_name_of(question)] = forms.ChoiceField(
                label=_asked(question),
                choices=[("", "–"), *options[question.column]],
                required=False,
            )
        self.helper = form_helper(Div(*self.fields, css_class="list-questions"))


def _asked(question: Question) -> str:
    words = {
        "field": COLUMN_WORDS[question.column],
        "said": question.said[:80],
        "rows": question.rows,
    }
    if not question.said:
        return _now("%(field)s of the %(rows)s rows that name none") % words
    return _now("%(field)s “%(said)s”, in %(rows)s rows, means") % words


def _name_of(question: Question) -> str:
    """A field of its own for each value, whatever else is asked on the page by then."""
    said = f"{question.column}:{question.said}".encode()
    return f"means-{hashlib.sha256(said).hexdigest()[:16]}"


def said_of(form: ToolListForm, data: Any, questions: Sequence[Question] = ()) -> ToolList:
    """The list with what was said of it so far.

    Parameters
    ----------
    questions : sequence of Question
        What is asked, without which no answer can be told; empty at first.
    """
    day_form = data.get("day_form", "")
    return ToolList(
        rows=form.read.rows,
        columns=form.columns(),
        day_form=DayForm(day_form) if day_form in set(DayForm) else None,
        means={
            (question.column, question.said): data.get(_name_of(question), "")
            for question in questions
        },
    )
