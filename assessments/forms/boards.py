"""Finding boards, making them, and saying where they are kept."""

import re
from collections.abc import Iterable
from datetime import datetime
from typing import Any

from django import forms
from django.db.models import QuerySet
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from assessments.content.sources import ALLOYS
from assessments.models import Board, DestructiveCheck
from assessments.ports import ProposedPurpose
from assessments.queries import board_tools
from assessments.queries.board_corrections import CORRECTED_TO
from assessments.services.boards import DEFAULT_ALLOY, piece_digest, tools_digest
from people.forms.fields import RowsField
from people.models import Person
from people.models.people import PersonQuerySet
from training.models import ClassSession, Exercise, Tool
from training.queries.tool_fitness import unfit

STATES = [
    ("", _("all")),
    ("waiting", _("waiting to be graded")),
    ("graded", _("graded")),
    ("bench", _("with trainee")),
    ("cancelled", _("cancelled")),
]
SUGGESTED_PEOPLE = 200
CODES_APART = re.compile(r"[\s,;]+")


class DayInput(forms.DateInput):
    input_type = "date"

    def __init__(self, attrs: dict | None = None) -> None:
        super().__init__(attrs, format="%Y-%m-%d")


class BoardFilterForm(forms.Form):
    """What the list of boards shows; anything unknown counts as not asked for."""

    q = forms.CharField(
        label=_("Board or person"),
        required=False,
        max_length=80,
        widget=forms.TextInput(attrs={"type": "search", "data_wide": True}),
    )
    state = forms.ChoiceField(label=_("State"), required=False, choices=STATES)
    exercise = forms.ModelChoiceField(
        Exercise.objects.all(), label=_("Exercise"), required=False, empty_label=_("all")
    )
    purpose = forms.ChoiceField(
        label=_("Purpose"), required=False, choices=[("", _("all")), *Board.Purpose.choices]
    )
    person = forms.CharField(required=False, max_length=32, widget=forms.HiddenInput)

    def __init__(self, *args: Any, exercises: Iterable[Exercise] = (), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        # Read once by the view; a list of choices is not read again to be shown.
        self.fields["exercise"].choices = [  # type: ignore[attr-defined]
            ("", _now("all")),
            *((exercise.pk, exercise_name(exercise)) for exercise in exercises),
        ]

    def chosen(self) -> dict[str, Any]:
        """The filters that were understood."""
        self.is_valid()
        return {name: value for name, value in self.cleaned_data.items() if value}


def exercise_name(exercise: Exercise) -> str:
    revised = exercise.revision > 1 or exercise.retired_at is not None
    return (
        _now("%(title)s, rev. %(revision)d")
        % {"title": exercise.title, "revision": exercise.revision}
        if revised
        else exercise.title
    )


def _why_proposed(proposed: ProposedPurpose) -> str:
    if proposed.counts_for:
        return _now("Boards for %(purpose)s count for: %(scopes)s. Practice counts for none.") % {
            "purpose": Board.Purpose(proposed.purpose).label,
            "scopes": ", ".join(proposed.counts_for),
        }
    return _now("No scheme asks for this, so its boards count for no certificate.")


class NewBoardsForm(forms.Form):
    """A board for one trainee, or one for each person in a class.

    Once a class is chosen its people can be ticked; ``ticked`` says that they were shown.
    """

    exercise = forms.ModelChoiceField(
        Exercise.objects.none(),
        label=_("Exercise"),
        empty_label=_("choose one"),
    )
    person = forms.CharField(
        label=_("One trainee"),
        required=False,
        max_length=120,
        help_text=_("Employee number, or the name if nobody else has it."),
        widget=forms.TextInput(attrs={"list": "people", "autocomplete": "off"}),
    )
    session = forms.ModelChoiceField(
        ClassSession.objects.none(),
        label=_("Or a whole class"),
        required=False,
        to_field_name="number",
        empty_label=_("no class"),
    )
    people = RowsField(
        Person.objects.none(),
        label=_("Who in the class"),
        required=False,
        to_field_name="employee_number",
        widget=forms.CheckboxSelectMultiple,
    )
    ticked = forms.BooleanField(required=False, widget=forms.HiddenInput)
    purpose = forms.ChoiceField(
        label=_("Purpose"), choices=[("", _("choose one")), *Board.Purpose.choices]
    )
    unit = forms.CharField(label=_("Unit"), required=False, max_length=80)
    work_order = forms.CharField(
        label=_("Work order"),
        required=False,
        max_length=80,
        help_text=_("A production sample names its unit or its work order."),
    )
    alloy = forms.CharField(
        label=_("Solder alloy"),
        required=False,
        max_length=40,
        widget=forms.TextInput(attrs={"list": "alloys", "autocomplete": "off"}),
    )
    handed_out_on = forms.DateField(label=_("Handed out on"), widget=DayInput)

    def __init__(
        self,
        *args: Any,
        sessions: QuerySet[ClassSession],
        people: PersonQuerySet,
        session: ClassSession | None = None,
        proposed: ProposedPurpose | None = None,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.known_people = people
        if proposed is not None:
            self.fields["purpose"].help_text = _why_proposed(proposed)
        self.fields["exercise"].queryset = Exercise.objects.current()  # type: ignore[attr-defined]
        self.fields["exercise"].label_from_instance = exercise_name  # type: ignore[attr-defined]
        left_empty = _("Left empty: what the exercise calls for, else %(alloy)s.")
        self.fields["alloy"].help_text = left_empty % {"alloy": DEFAULT_ALLOY}
        self.fields["session"].queryset = sessions  # type: ignore[attr-defined]
        if session is None:
            del self.fields["people"], self.fields["ticked"]
        else:
            enrolled = Person.objects.filter(enrolments__session=session)
            self.fields["people"].queryset = enrolled  # type: ignore[attr-defined]
            self.initial.setdefault("people", list(enrolled))

    @staticmethod
    def suggested_alloys() -> tuple[str, ...]:
        """Names as criteria write them, since one for an alloy is asked by its name."""
        return ALLOYS

    def suggested_people(self) -> QuerySet[Person]:
        return self.known_people.order_by("full_name")[:SUGGESTED_PEOPLE]

    def clean_person(self) -> Person | None:
        text = self.cleaned_data["person"].strip()
        if not text:
            return None
        by_number = self.known_people.with_number(text)
        if by_number is not None:
            return by_number
        people = list(self.known_people.filter(full_name__iexact=text)[:6]) or list(
            self.known_people.filter(full_name__icontains=text)[:6]
        )
        if not people:
            raise forms.ValidationError(
                _("Nobody at your sites has this number or name. Look it up under People.")
            )
        if len(people) > 1:
            numbers = ", ".join(
                f"{person.full_name} {person.employee_number}" for person in people[:5]
            )
            raise forms.ValidationError(
                _("Several people have this name: %(people)s. Give the number."),
                params={"people": numbers},
            )
        return people[0]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        if "person" in data and "session" in data:
            if data["person"] and data["session"]:
                self.add_error("person", _("Choose one trainee or a class, not both."))
            elif not data["person"] and not data["session"]:
                self.add_error("person", _("Say who the board is for: one trainee or a class."))
        if data.get("ticked") and "people" in data and not data["people"]:
            self.add_error("people", _("Tick at least one person of the class."))
        return data


class CorrectionForm(forms.Form):
    """Which boards are put right, what they are for, and why."""

    boards = RowsField(
        Board.objects.none(),
        label=_("Which boards"),
        to_field_name="number",
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": _("Tick at least one board.")},
    )
    purpose = forms.ChoiceField(
        label=_("What they are for"),
        required=False,
        choices=[("", _("choose one")), *((each.value, each.label) for each in CORRECTED_TO)],
    )
    reason = forms.CharField(
        label=_("Why"),
        max_length=400,
        help_text=_("Such as: handed out twice; practice was ticked by mistake."),
        error_messages={"required": _("Say why, so that whoever reads it later understands.")},
    )

    def __init__(self, *args: Any, boards: QuerySet[Board], corrects: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.corrects = corrects
        self.fields["boards"].queryset = boards  # type: ignore[attr-defined]
        self.fields["boards"].label_from_instance = _board_and_person  # type: ignore[attr-defined]
        self.initial.setdefault("boards", [board.number for board in boards])

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        if self.corrects and "purpose" in data and not data["purpose"]:
            self.add_error("purpose", _("Choose what the boards are for."))
        return data


def _board_and_person(board: Board) -> str:
    return _now("%(number)s, %(person)s, %(exercise)s, for %(purpose)s") % {
        "number": board.number,
        "person": board.person.full_name,
        "exercise": board.exercise.title,
        "purpose": board.get_purpose_display(),
    }


class ToolsUsedForm(forms.Form):
    """What a board was made with: ticked on the shelf, scanned or typed.

    ``shelf`` says that the tools were shown; without it nothing is said of them. ``seen`` tells
    what the board named then.
    """

    shelf = forms.BooleanField(
        required=False, initial=True, widget=forms.HiddenInput(attrs={"value": "on"})
    )
    seen = forms.CharField(required=False, max_length=64, widget=forms.HiddenInput)
    codes = forms.CharField(
        label=_("Scan or type codes"),
        required=False,
        max_length=1000,
        help_text=_("One a line, or with spaces between; they are added to what is ticked."),
        widget=forms.Textarea(
            attrs={"rows": 2, "autocomplete": "off", "autocapitalize": "characters"}
        ),
    )
    tools = RowsField(
        Tool.objects.none(),
        label=_("Tools used"),
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )

    def __init__(self, *args: Any, board: Board, at: datetime, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.shelf_tools = list(board_tools.shelf_of(board))
        unfit_tools = unfit(self.shelf_tools, board_tools.day_made(board, at))
        # Before they are read: of what is named in between the page does not say that it showed it.
        self.initial.setdefault("seen", tools_digest(board))
        used = list(board.tools.values_list("pk", flat=True))
        if not used:
            needs_good = board.purpose in board_tools.NEEDS_GOOD_TOOLS
            used = [
                key
                for key in board_tools.remembered(board)
                if not (needs_good and key in unfit_tools)
            ]
        field = self.fields["tools"]
        field.queryset = board_tools.shelf_of(board)  # type: ignore[attr-defined]
        # Read once; a list of choices is not read again to be shown. Those of last time on top.
        field.choices = [  # type: ignore[attr-defined]
            (tool.pk, _tool_with_state(tool, unfit_tools))
            for tool in sorted(self.shelf_tools, key=lambda tool: tool.pk not in used)
        ]
        self.initial.setdefault("tools", used)

    def clean_codes(self) -> list[Tool]:
        by_code = {tool.code.casefold(): tool for tool in self.shelf_tools}
        typed = CODES_APART.split(self.cleaned_data["codes"].strip())
        unknown = [code for code in typed if code and code.casefold() not in by_code]
        if unknown:
            raise forms.ValidationError(
                _("No tool in use at this site has the code %(codes)s."),
                params={"codes": ", ".join(code[:24] for code in unknown[:5])},
            )
        return [by_code[code.casefold()] for code in typed if code]

    def tools_used(self) -> list[Tool] | None:
        """All that is said to have been used; None where nobody was asked."""
        if not self.cleaned_data["shelf"]:
            return None
        return [*self.cleaned_data["tools"], *self.cleaned_data["codes"]]


def _tool_with_state(tool: Tool, unfit_tools: dict[int, str]) -> str:
    name = tool_name(tool)
    return f"{name} ({unfit_tools[tool.pk]})" if tool.pk in unfit_tools else name


class HandInForm(ToolsUsedForm):
    bench_minutes = forms.IntegerField(
        label=_("Minutes at the bench"),
        required=False,
        min_value=1,
        max_value=6000,
        help_text=_("If you took the time. It shows how your pace changes and counts for nothing."),
        widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
    )


class PieceForm(forms.Form):
    """What a board was made with and where it is kept."""

    seen = forms.CharField(required=False, max_length=64, widget=forms.HiddenInput)
    tools = RowsField(
        Tool.objects.none(),
        label=_("Tools used"),
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )
    kept_where = forms.CharField(label=_("Where it is kept"), required=False, max_length=120)
    kept_until = forms.DateField(label=_("Keep through"), required=False, widget=DayInput)

    def __init__(self, *args: Any, board: Board, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        seen = piece_digest(board)  # Before they are read, as above.
        used = board.tools.all()
        self.fields["tools"].queryset = board_tools.shelf_of(board)  # type: ignore[attr-defined]
        self.fields["tools"].label_from_instance = tool_name  # type: ignore[attr-defined]
        self.initial = {
            "tools": list(used),
            "kept_where": board.kept_where,
            "kept_until": board.kept_until,
            "seen": seen,
        }


def tool_name(tool: Tool) -> str:
    return f"{tool.code}, {tool.name or tool.get_kind_display()}"


class DisposalForm(forms.Form):
    disposed_how = forms.CharField(
        label=_("How it is disposed of"),
        max_length=120,
        help_text=_("The records stay; only the piece itself is gone."),
    )


class DestructiveCheckForm(forms.ModelForm):
    class Meta:
        model = DestructiveCheck
        fields = ["kind", "result", "done_on"]
        widgets = {"result": forms.Textarea(attrs={"rows": 3}), "done_on": DayInput()}
        help_texts = {
            "kind": _("Such as: section of E07, pull test, peel."),
            "result": _("What it showed."),
        }
