"""Grids: what is said once for all, what each row says, and which rows are listed."""

import re
from collections.abc import Iterable, Mapping
from datetime import timedelta
from typing import Any

from crispy_forms.layout import Div
from django import forms
from django.db.models import QuerySet
from django.http import QueryDict
from django.utils.translation import gettext_lazy as _

from people.forms.fields import DayInput, form_helper
from people.models import Person, Site
from people.models.people import PersonQuerySet
from people.queries.site_days import Days
from training.models import ClassSession, Tool
from training.models.courses import ClassSessionQuerySet
from training.services.grids import CalibrationResult, VisionResult

CLASSES_FROM = timedelta(days=60)
KEY = re.compile(r"[0-9]{1,18}\Z")
PASS, FAIL = "pass", "fail"
LONGEST_REPORT = 80


class FilterForm(forms.Form):
    """Which rows a grid lists; anything unknown counts as not asked for."""

    def chosen(self) -> dict[str, Any]:
        """The filters that were understood."""
        self.is_valid()
        return {name: value for name, value in self.cleaned_data.items() if value}


class PeopleFilterForm(FilterForm):
    """People of a class, of a line, or by name."""

    q = forms.CharField(
        label=_("Name or number"),
        required=False,
        max_length=80,
        widget=forms.TextInput(attrs={"type": "search", "data_wide": True}),
    )
    session = forms.ModelChoiceField(
        ClassSession.objects.none(),
        label=_("Class"),
        required=False,
        empty_label=_("all"),
        to_field_name="number",
    )
    lead = forms.ModelChoiceField(
        Person.objects.none(),
        label=_("Line lead"),
        required=False,
        empty_label=_("all"),
        to_field_name="employee_number",
    )
    site = forms.ModelChoiceField(
        Site.objects.none(),
        label=_("Site"),
        required=False,
        empty_label=_("all"),
        to_field_name="prefix",
    )

    def __init__(
        self,
        *args: Any,
        people: PersonQuerySet,
        sessions: ClassSessionQuerySet,
        days: Days,
        **kwargs: Any,
    ) -> None:
        """Offer the classes, lines and sites of these people; a choice of one is none."""
        super().__init__(*args, **kwargs)
        recent = sessions.filter(ends_on__gte=days.first - CLASSES_FROM)
        offered: dict[str, QuerySet] = {
            "session": recent.select_related("course_revision__course"),
            "lead": Person.objects.filter(pk__in=people.order_by().values("line_lead")),
            "site": Site.objects.filter(pk__in=people.order_by().values("site")),
        }
        for name, rows in offered.items():
            if len(rows) < (1 if name == "session" else 2):
                del self.fields[name]
            else:
                self.fields[name].queryset = rows  # type: ignore[attr-defined]


class WorkFilterForm(PeopleFilterForm):
    """The same, and the scope that the work was done in."""

    scope = forms.ChoiceField(label=_("Scope"), required=False, choices=[])

    field_order = ("scope", "q", "session", "lead", "site")

    def __init__(self, *args: Any, scopes: Iterable[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choices = [(code, f"{title} ({code})") for code, title in scopes]
        self.fields["scope"].choices = choices  # type: ignore[attr-defined]
        self.fields["scope"].widget.attrs["data_wide"] = True


class ToolFilterForm(FilterForm):
    """Tools of a kind, of a site, or that somebody answers for."""

    kind = forms.ChoiceField(
        label=_("Kind"), required=False, choices=[("", _("all")), *Tool.Kind.choices]
    )
    answers_for = forms.ModelChoiceField(
        Person.objects.none(),
        label=_("Responsible"),
        required=False,
        empty_label=_("all"),
        to_field_name="employee_number",
    )
    site = forms.ModelChoiceField(
        Site.objects.none(),
        label=_("Site"),
        required=False,
        empty_label=_("all"),
        to_field_name="prefix",
    )

    def __init__(self, *args: Any, tools: QuerySet[Tool], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        offered: dict[str, QuerySet] = {
            "answers_for": Person.objects.filter(pk__in=tools.order_by().values("answers_for")),
            "site": Site.objects.filter(pk__in=tools.order_by().values("site")),
        }
        for name, rows in offered.items():
            if len(rows) < 2:
                del self.fields[name]
            else:
                self.fields[name].queryset = rows  # type: ignore[attr-defined]


class VisionOnceForm(forms.Form):
    """What is the same of all vision tests of a round."""

    tested_on = forms.DateField(label=_("Tested on"), widget=DayInput)
    examiner = forms.CharField(label=_("Who tested"), max_length=120)
    method = forms.CharField(
        label=_("Method"),
        required=False,
        max_length=80,
        help_text=_("The chart or device, such as a near-vision card at 40 cm."),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_helper(Div("tested_on", "examiner", "method", css_class="fields-row"))


class WorkOnceForm(forms.Form):
    """What is the same of everybody who worked on a unit or work order."""

    scope_code = forms.CharField(widget=forms.HiddenInput, required=False)
    reference = forms.CharField(
        label=_("Unit or work order"),
        max_length=80,
        help_text=_("What an auditor could look up."),
    )
    performed_on = forms.DateField(label=_("Done on"), widget=DayInput)

    def __init__(self, *args: Any, scopes: Iterable[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.scope_codes = {code for code, _title in scopes}
        self.helper = form_helper(
            "scope_code", Div("reference", "performed_on", css_class="fields-row")
        )

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        if data.get("scope_code") not in self.scope_codes:
            self.add_error(
                None, _("That scope is not in use any more. Choose another above, then tick again.")
            )
        return data


class CalibrationOnceForm(forms.Form):
    """What is the same of all tools of a shelf."""

    calibrated_on = forms.DateField(label=_("Calibrated on"), widget=DayInput)
    valid_through = forms.DateField(label=_("Good through"), widget=DayInput)
    reference = forms.CharField(
        label=_("Report"),
        required=False,
        max_length=LONGEST_REPORT,
        help_text=_("Of every tool that names none of its own below."),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.helper = form_helper(
            Div("calibrated_on", "valid_through", "reference", css_class="fields-row")
        )

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        first, last = data.get("calibrated_on"), data.get("valid_through")
        if first and last and last < first:
            self.add_error(
                "valid_through",
                _("A calibration is good through the day it was done, or later."),
            )
        return data


def vision_results(sent: QueryDict) -> dict[int, VisionResult]:
    """Who passed and who did not, by the person's key; the others are not spoken of."""
    return {
        key: VisionResult(result == PASS, True if sent.get(f"lenses-{key}") == "on" else None)
        for key, result in _results(sent).items()
    }


def calibration_results(sent: QueryDict, reference: str) -> dict[int, CalibrationResult]:
    """Which tools passed and which did not, each with its own report or the one of all."""
    return {
        key: CalibrationResult(result == PASS, report_of(sent, key) or reference)
        for key, result in _results(sent).items()
    }


def report_of(sent: Mapping[str, Any], key: int) -> str:
    """The report that a row names; one that is too long is refused with its row."""
    return str(sent.get(f"report-{key}", "")).replace("\0", "").strip()


def keys_ticked(sent: QueryDict, name: str) -> list[int]:
    """Rows that are ticked, once each."""
    return list(dict.fromkeys(int(key) for key in sent.getlist(name) if KEY.match(key)))


def attendance_shown(sent: QueryDict) -> dict[int, bool | None] | None:
    """What the page said of whom it showed; None from one that did not say."""
    words = {"there": True, "absent": False, "open": None}
    shown = {}
    for said in sent.getlist("shown"):
        key, _colon, word = said.partition(":")
        if KEY.match(key) and word in words:
            shown[int(key)] = words[word]
    return shown or None


def _results(sent: QueryDict) -> dict[int, str]:
    found = {}
    for name, result in sent.items():
        head, _dash, key = name.partition("-")
        if head == "result" and KEY.match(key) and result in (PASS, FAIL):
            found[int(key)] = str(result)
    return found
