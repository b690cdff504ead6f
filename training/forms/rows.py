"""Many rows of one kind in a form: added, copied, put in order, taken out, with or without script.

What a button does to the rows is done by the server to what is typed, and nothing is stored by it:
only saving stores, all rows together.
"""

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from django import forms

BLANK = 3
DO = "do"
"""What a button of a row or of all rows sends: what to do, and to which row (``up:3``)."""

Raw = dict[str, Any]
LOOKS = {"checkbox": "form-check-input", "select": "form-select"}


def with_value(data: Any, name: str, value: str) -> Any:
    """What a form was sent, with another value of one field: for a page that is shown again."""
    changed = data.copy()
    changed[name] = value
    return changed


class RowForm(forms.Form):
    """One row; ``written`` are the fields that make a row of it once something stands in them."""

    written: tuple[str, ...] = ()

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.faults: Mapping[str, list[str]] = {}
        for field in self.fields.values():
            look = LOOKS.get(getattr(field.widget, "input_type", ""), "form-control")
            field.widget.attrs["class"] = look

    @property
    def cells(self) -> list[tuple[forms.BoundField, list[str]]]:
        """Each field of the row with what is wrong with it."""
        for name in self.faults:
            if name in self.fields:
                self.fields[name].widget.attrs["aria-invalid"] = "true"
        return [(field, self.faults.get(field.name, [])) for field in self]


class Rows:
    """Rows of a form, as stored or as sent.

    Parameters
    ----------
    form_class : type
        A `RowForm`.
    prefix : str
        What the names of its fields begin with.
    stored : sequence of mapping
        What the rows are filled with at first.
    data : QueryDict, optional
        What was sent.
    most : int
        As many rows as are read; what is sent beyond them is told as a fault.
    """

    def __init__(
        self,
        form_class: type[RowForm],
        *,
        prefix: str,
        stored: Sequence[Mapping[str, Any]] = (),
        data: Any = None,
        most: int = 400,
    ) -> None:
        self.form_class, self.prefix, self.most = form_class, prefix, most
        self.is_bound = data is not None
        self.too_many = False
        self.forms: list[RowForm] = []
        if data is None:
            self._show(list(stored))
            return
        self.raw = self._read(data)
        self.forms = [
            form_class(data, prefix=f"{prefix}-{number}")
            for number, row in self.raw
            if self._is_written(row)
        ]

    def _read(self, data: Any) -> list[tuple[int, Raw]]:
        """What was typed in each row, by its number, as it was typed."""
        count = data.get(f"{self.prefix}-rows", "")
        number = int(count) if count.isdecimal() and len(count) < 6 else 0
        self.too_many = number > self.most + BLANK
        plain = self.form_class()
        rows = []
        for index in range(min(number, self.most + BLANK)):
            row = {
                name: field.widget.value_from_datadict(data, {}, f"{self.prefix}-{index}-{name}")
                for name, field in plain.fields.items()
            }
            rows.append((index, row))
        return rows

    def _is_written(self, row: Mapping[str, Any]) -> bool:
        return any(str(row.get(name) or "").strip() for name in self.form_class.written)

    def _show(self, rows: list[Any], blank: int = BLANK) -> None:
        """Show rows unsaved: as they are, whatever is wrong with them, and blank ones after."""
        self.is_bound = False
        self.forms = [
            self.form_class(prefix=f"{self.prefix}-{index}", initial=row)
            for index, row in enumerate([*rows, *[{}] * blank])
        ]

    @property
    def count(self) -> int:
        """How many rows the page shows, for it to send along."""
        return len(self.forms)

    @property
    def is_valid(self) -> bool:
        return not self.too_many and all(form.is_valid() for form in self.forms)

    def values(self) -> list[dict[str, Any]]:
        """What the rows say, of valid ones."""
        return [form.cleaned_data for form in self.forms]

    def show_errors(self) -> None:
        """Number the rows anew for a page that is shown again, with what is wrong with each.

        The blank rows between them are gone, so that their numbers are those of the page.
        """
        rows = [row for _number, row in self.raw if self._is_written(row)]
        before = self.forms
        self._show(rows)
        for form, checked in zip(self.forms, before, strict=False):
            form.faults = {
                name: [str(error) for error in errors] for name, errors in checked.errors.items()
            }

    def do(self, said: str, like: Callable[[Raw], Raw] = dict) -> bool:
        """Do to the rows what a button says; False where it says nothing of theirs.

        Parameters
        ----------
        said : str
            ``up:3``, ``down:3``, ``drop:3``, ``like:3`` or ``more:``, the row as it was numbered.
        like : callable
            Makes of what is typed in a row the one that is added like it.
        """
        what, _colon, which = said.partition(":")
        numbers = [number for number, _row in self.raw]
        rows = [row for _number, row in self.raw]
        if what == "more":
            written = [row for row in rows if self._is_written(row)]
            self._show(written, blank=10)
            return True
        if not which.isdecimal() or len(which) > 5 or int(which) not in numbers:
            return False
        here = numbers.index(int(which))
        if what == "up" and here > 0:
            rows[here - 1], rows[here] = rows[here], rows[here - 1]
        elif what == "down" and here < len(rows) - 1:
            rows[here + 1], rows[here] = rows[here], rows[here + 1]
        elif what == "drop":
            del rows[here]
        elif what == "like":
            rows.insert(here + 1, like(rows[here]))
        elif what not in ("up", "down"):
            return False
        self._show([row for row in rows if self._is_written(row)])
        return True

    def add(self, more: Sequence[Mapping[str, Any]]) -> None:
        """Show further rows after those that are typed, unsaved."""
        self._show([*(row for _number, row in self.raw if self._is_written(row)), *more])
