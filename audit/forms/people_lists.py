"""A list of people as it is brought, matched, answered about and undone."""

import hashlib
import re
from collections.abc import Iterable
from typing import Any

from crispy_forms.layout import Div
from django import forms
from django.core.validators import ProhibitNullCharactersValidator
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from audit.domain.list_columns import Field
from audit.domain.list_rows import ALL_PASSED, LEFT_OUT, NEW, NOW, OWN_DAY, TO, ValueQuestion
from audit.presenters.people_list_page import FIELD_WORDS
from audit.queries.list_plan import Plan
from people.domain.list_days import DayForm
from people.forms.fields import DayInput, PasswordField, form_helper

ON_A_DAY = "day"
DIGEST = r"[0-9a-f]{64}"
CELL = re.compile(r"cell-(\d{1,7})-(\d{1,2})", re.ASCII)
LINE = re.compile(r"\d{1,7}", re.ASCII)


class ColumnsForm(forms.Form):
    """What each column of a list holds."""

    def __init__(self, *args: Any, columns: int, allowed: Iterable[Field], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choices = [("", _("– not taken –")), *((str(one), FIELD_WORDS[one]) for one in allowed)]
        self.columns = columns
        for place in range(columns):
            self.fields[f"column-{place}"] = forms.ChoiceField(
                choices=choices,
                required=False,
                widget=forms.Select(attrs={"class": "form-select"}),
            )

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        chosen = [cleaned.get(f"column-{place}", "") for place in range(self.columns)]
        for field in Field:
            if chosen.count(field) > 1:
                raise forms.ValidationError(
                    _now("Two columns are taken for “%(field)s”: choose one of them.")
                    % {"field": FIELD_WORDS[field]}
                )
        if Field.EMPLOYEE_NUMBER not in chosen:
            raise forms.ValidationError(
                _now("Say which column holds the employee number: it tells people apart.")
            )
        if Field.FULL_NAME in chosen and Field.FAMILY_NAME in chosen:
            raise forms.ValidationError(_now("Take the full name or its parts, and not both."))
        return cleaned

    def chosen(self) -> list[str]:
        return [self.cleaned_data.get(f"column-{place}", "") for place in range(self.columns)]


class AnswersForm(forms.Form):
    """What is asked of a list once; each question is a field only while it is open."""

    def __init__(self, *args: Any, plan: Plan, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.plan = plan
        asked = plan.open
        if asked.day_example:
            self._ask_for_day_form(asked.day_example)
        if asked.name_example:
            self._ask_for_names(asked.name_example)
        if asked.recorded:
            self._ask_for_recorded()
        if asked.results:
            self.fields["results"] = forms.ChoiceField(
                label=_("Vision tests whose result the list does not say"),
                choices=[
                    (ALL_PASSED, _("were all passed")),
                    (LEFT_OUT, _("are left out")),
                ],
                widget=forms.RadioSelect,
            )
        for field in asked.for_all:
            self.fields[f"all-{field}"] = forms.ChoiceField(
                label=_now("%(field)s of all rows") % {"field": FIELD_WORDS[field]},
                choices=[("", "–"), *self._options(field)],
                required=True,
            )
        for question in asked.values:
            self.fields[_name_of(question)] = self._value_field(question)
        self.helper = form_helper(Div(*self.fields, css_class="list-questions"))

    def _ask_for_day_form(self, example: str) -> None:
        self.fields["day_form"] = forms.ChoiceField(
            label=_now("“%(day)s” could be two days. Which number is the day?") % {"day": example},
            choices=[
                (str(DayForm.DAY_FIRST), _("the first: day, month, year")),
                (str(DayForm.MONTH_FIRST), _("the second: month, day, year")),
            ],
            widget=forms.RadioSelect,
        )

    def _ask_for_names(self, example: str) -> None:
        last, _comma, first = example.partition(",")
        turned = f"{first.strip()} {last.strip()}"
        self.fields["turn_names"] = forms.ChoiceField(
            label=_("Names with a comma"),
            choices=[
                ("yes", _now("turn them round: %(name)s") % {"name": turned}),
                ("no", _now("leave them as they are: %(name)s") % {"name": example}),
            ],
            widget=forms.RadioSelect,
        )

    def _ask_for_recorded(self) -> None:
        self.fields["recorded"] = forms.ChoiceField(
            label=_("Since when were the certificates, tests and days of work on record?"),
            choices=[
                (NOW, _("only now: they are entered today")),
                (OWN_DAY, _("each since its own day")),
                (ON_A_DAY, _("all since one day")),
            ],
            widget=forms.RadioSelect,
            help_text=_(
                "A question about what could be known on a past day is answered by this. Where it "
                "is not known, “only now” claims nothing."
            ),
        )
        self.fields["recorded_on"] = forms.DateField(
            label=_("That day"), widget=DayInput, required=False
        )

    def _options(self, field: Field) -> list[tuple[str, str]]:
        assert self.plan.named is not None  # noqa: S101 - a plan that was made has it
        return list(self.plan.named.options[field].items())

    def _value_field(self, question: ValueQuestion) -> forms.ChoiceField:
        choices = [("", "–"), *((TO + key, word) for key, word in self._options(question.field))]
        if question.field is Field.SCOPE:
            choices.append((NEW, _now("a new scope, %(code)s") % {"code": question.said[:40]}))
        return forms.ChoiceField(
            label=_now("%(field)s “%(said)s”, in %(rows)s rows, means")
            % {
                "field": FIELD_WORDS[question.field],
                "said": question.said[:80],
                "rows": question.rows,
            },
            choices=choices,
            initial=TO + question.likely if question.likely else "",
        )

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        if cleaned.get("recorded") == ON_A_DAY and not cleaned.get("recorded_on"):
            self.add_error("recorded_on", _("Say which day."))
        return cleaned

    def answers(self) -> dict[str, Any]:
        """What was said, as a list keeps it (`audit.queries.list_plan.answers_of`)."""
        data = self.cleaned_data
        kept: dict[str, Any] = {
            name: data[name] for name in ("day_form", "results") if data.get(name)
        }
        if data.get("turn_names"):
            kept["turn_names"] = data["turn_names"] == "yes"
        if data.get("recorded") in (NOW, OWN_DAY):
            kept["recorded"] = data["recorded"]
        elif data.get("recorded_on"):
            kept["recorded"] = data["recorded_on"].isoformat()
        kept["for_all"] = {
            str(field): data[f"all-{field}"]
            for field in self.plan.open.for_all
            if data.get(f"all-{field}")
        }
        chosen: dict[str, dict[str, str]] = {}
        for question in self.plan.open.values:
            if answer := data.get(_name_of(question)):
                chosen.setdefault(str(question.field), {})[question.said] = answer
        return {**kept, "chosen": chosen}


def _name_of(question: ValueQuestion) -> str:
    """A field of its own for each value, whatever else is asked on the page by then."""
    said = f"{question.field}:{question.said}".encode()
    return f"value-{hashlib.sha256(said).hexdigest()[:16]}"


class CorrectionsForm(forms.Form):
    """Cells that are put right and rows that are left out or brought back, by line."""

    no_null = ProhibitNullCharactersValidator()

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        cells: dict[tuple[int, int], str] = {}
        for name in self.data:
            match = CELL.fullmatch(name)
            if match:
                text = self.data[name]
                self.no_null(text)
                cells[int(match[1]), int(match[2])] = text
        cleaned["cells"] = cells
        for name in ("leave_out", "bring_back"):
            lines = self.data.getlist(name)  # type: ignore[attr-defined]
            cleaned[name] = [int(line) for line in lines if LINE.fullmatch(line)]
        return cleaned


class TakeInForm(forms.Form):
    """The act: what the page showed, whether sign-ins are opened, and that many do leave."""

    shown = forms.RegexField(DIGEST, widget=forms.HiddenInput)
    sign_ins = forms.BooleanField(required=False)
    many_leave = forms.BooleanField(required=False)


class UndoForm(forms.Form):
    """Undoing a list: why, and who it is."""

    shown = forms.RegexField(DIGEST, widget=forms.HiddenInput)
    reason = forms.CharField(
        label=_("Why it is undone"),
        max_length=400,
        help_text=_("It stands with everything that is withdrawn."),
    )
    password = PasswordField()

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_helper(Div("reason", "password", css_class="fields-row"))
