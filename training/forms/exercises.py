"""Drafts of exercises: begun, changed part by part, published, retired."""

from collections.abc import Iterable, Mapping
from decimal import Decimal
from pathlib import Path
from typing import Any

from crispy_forms.layout import Div
from django import forms
from django.contrib.staticfiles import finders
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _
from django.utils.translation import override, pgettext_lazy

from people.forms.fields import PasswordField, code_validator, form_helper
from people.forms.signing import SigningListForm
from people.presenters import drawings
from training import ports
from training.content.cautions import CAUTIONS
from training.content.exercises import EXERCISES
from training.domain.pasted import by_column, pasted_cells
from training.domain.position_names import MOST_NAMES, NotNames, names_in, next_names, written_as
from training.domain.wire import stranded_diameter_mm
from training.models import Exercise, ExerciseStep, JointType, Stage
from training.models.exercises import ExerciseQuerySet
from training.queries.exercises import POSITION, head_of

from .rows import Raw, RowForm

RESERVED_CODES = {"new", "publish"}
FEW_LINES = {"rows": 3}
MOST_TOOLS = 60
FAULTS = {
    "spelling": _("“%(part)s” is no name: use letters, digits, dots, hyphens and underscores."),
    "length": _("“%(part)s” is longer than 12 characters. Shorten it."),
    "backwards": _("“%(part)s” goes backwards. Begin with the lower number."),
    "stem": _("“%(part)s” goes from one kind of name to another. Write two runs."),
    "many": _("“%(part)s” is too many: an exercise has 400 positions at most."),
}


class NewExerciseForm(forms.Form):
    """An exercise of the organisation's own, as a draft."""

    code = forms.CharField(
        label=_("Code"),
        max_length=24,
        validators=[code_validator],
        help_text=_("It stays the same from revision to revision: EX-TUR-3."),
    )
    title = forms.CharField(label=_("Title"), max_length=120)
    copied_from = forms.ModelChoiceField(
        label=_("Begin as a copy of"),
        required=False,
        queryset=Exercise.objects.none(),
        empty_label=_("nothing: an empty exercise"),
    )

    def __init__(self, *args: Any, exercises: ExerciseQuerySet, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["copied_from"]
        field.queryset = exercises  # type: ignore[attr-defined]
        field.label_from_instance = (  # type: ignore[attr-defined]
            lambda exercise: f"{exercise.title} ({exercise.code}, {exercise.revision})"
        )
        self.helper = form_helper(
            Div("code", "title", css_class="fields-row"),
            "copied_from",
        )

    def clean_code(self) -> str:
        code = self.cleaned_data["code"]
        if code.lower() in RESERVED_CODES:
            raise forms.ValidationError(_now("That word cannot be a code. Give another."))
        return code


def drawings_to_choose() -> list[str]:
    """Names of the drawings that come along, whole exercises first."""
    folder = finders.find("img/drawings")
    names = sorted(path.stem for path in Path(str(folder)).glob("*.svg")) if folder else []
    return sorted(names, key=lambda name: (not name.startswith("exercise-"), name))


def drawing_choices(stored: Iterable[str]) -> list[Any]:
    """Every drawing there is by what it shows; what is stored stays a choice, known or not."""
    own = ports.own_drawings()
    brought = drawings_to_choose()
    known = {name for name, _title in own} | set(brought)
    gone = [name for name in dict.fromkeys(stored) if name and name not in known]
    groups: list[Any] = [("", _now("none")), *((name, name) for name in gone)]
    if own:
        groups.append((_now("Of this organisation"), own))
    groups.append(
        (_now("Brought along"), [(name, drawings.title_of(name) or name) for name in brought])
    )
    return groups


def caution_choices(stored: Iterable[str]) -> list[tuple[str, str]]:
    codes = {caution.code for caution in CAUTIONS}
    return [
        *((one.code, _now(one.title)) for one in CAUTIONS if not one.goes_with),
        *((one.code, _now(one.title)) for one in CAUTIONS if one.goes_with),
        *((code, code) for code in dict.fromkeys(stored) if code not in codes),
    ]


class HeadForm(forms.Form):
    """What a draft says beside its positions and steps."""

    title = forms.CharField(label=_("Title"), max_length=120)
    summary = forms.CharField(
        label=_("What is on the board, in a line"),
        max_length=200,
        required=False,
        help_text=_("“16 turrets with one wire each, and 2 spare”, without a full stop."),
    )
    purpose = forms.CharField(
        label=_("What it is for"), max_length=2000, widget=forms.Textarea(attrs=FEW_LINES)
    )
    drawing = forms.ChoiceField(label=_("Drawing"), required=False, choices=[])
    alloy = forms.CharField(
        label=_("Solder alloy"),
        required=False,
        max_length=40,
        help_text=_("Left empty, each board says its own."),
    )
    stages = forms.MultipleChoiceField(
        label=_("Stages asked for"),
        choices=Stage.choices,
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )
    pass_mark = forms.DecimalField(
        label=_("Score at least"), min_value=0, max_value=100, max_digits=5, decimal_places=2
    )
    allowed_rejects = forms.IntegerField(
        label=_("Rejected joints, at most"), min_value=0, max_value=400
    )
    rework_allowed = forms.IntegerField(label=_("Reworks a joint"), min_value=0, max_value=9)
    graders = forms.TypedChoiceField(
        label=_("Graders"), choices=[(1, _("one")), (2, _("two"))], coerce=int
    )
    photographs_wanted = forms.BooleanField(
        label=_("Photographs of the joints are asked for"), required=False
    )
    tools = forms.CharField(
        label=_("Tools, a line each"),
        required=False,
        max_length=8000,
        widget=forms.Textarea(attrs={"rows": 6}),
    )
    cautions = forms.MultipleChoiceField(
        label=_("Cautions that its page and sheets carry"),
        required=False,
        choices=[],
        widget=forms.CheckboxSelectMultiple,
    )
    seen = forms.CharField(required=False, max_length=64, widget=forms.HiddenInput)

    def __init__(self, *args: Any, exercise: Exercise, seen: str, **kwargs: Any) -> None:
        stored = head_of(exercise)
        self.known_tools = {tool["name"]: tool["kind"] for tool in stored["tools"]}
        stored["tools"] = "\n".join(self.known_tools)
        kwargs["initial"] = stored | {"seen": seen}
        super().__init__(*args, **kwargs)
        self.fields["drawing"].choices = drawing_choices([exercise.drawing])  # type: ignore[attr-defined]
        self.fields["cautions"].choices = caution_choices(exercise.cautions)  # type: ignore[attr-defined]
        self.helper = form_helper(
            "title",
            "summary",
            "purpose",
            Div("drawing", "alloy", css_class="fields-row"),
            "stages",
            Div("pass_mark", "allowed_rejects", css_class="fields-row"),
            Div("rework_allowed", "graders", css_class="fields-row"),
            "photographs_wanted",
            "tools",
            "cautions",
            "seen",
        )

    def clean_title(self) -> str:
        return " ".join(self.cleaned_data["title"].split())

    def clean_stages(self) -> list[str]:
        """In the order of the work."""
        return [stage.value for stage in Stage if stage.value in self.cleaned_data["stages"]]

    def clean_tools(self) -> list[dict[str, str]]:
        lines = [" ".join(line.split()) for line in self.cleaned_data["tools"].splitlines()]
        names = list(dict.fromkeys(filter(None, lines)))
        if len(names) > MOST_TOOLS or any(len(name) > 200 for name in names):
            raise forms.ValidationError(
                _now("Give %(n)d tools at most, each in a line of up to 200 characters.")
                % {"n": MOST_TOOLS}
            )
        known = kinds_of_tools() | self.known_tools
        return [{"kind": known.get(name, "bench"), "name": name} for name in names]

    def said(self) -> dict[str, Any]:
        """What was typed, by the names of `HEAD`."""
        return {name: value for name, value in self.cleaned_data.items() if name != "seen"}


def kinds_of_tools() -> dict[str, str]:
    """The kind of every tool that exercises which come along name."""
    return {tool.name: tool.kind for exercise in EXERCISES for tool in exercise.tools}


# Positions


class PositionsForm(RowForm):
    """Positions that are made alike: one, or a run of them as ``E01–E20``."""

    written = ("names", "wire_awg", "stranding", "insulation", "forming", "clearance")

    names = forms.CharField(
        label=_("Positions"),
        max_length=600,
        widget=forms.TextInput(attrs={"placeholder": "E01–E20", "autocomplete": "off"}),
        error_messages={"required": _("Give the position a name, or several: E01–E20.")},
    )
    joint_type = forms.ChoiceField(label=_("Joint"), choices=JointType.choices)
    required = forms.BooleanField(label=_("Required"), required=False, initial=True)
    wires = forms.IntegerField(
        label=_("Wires"), min_value=1, max_value=20, required=False, initial=1
    )
    wire_awg = forms.IntegerField(
        label=pgettext_lazy("gauge of a wire", "AWG"), min_value=0, max_value=60, required=False
    )
    stranding = forms.CharField(
        label=_("Strands"),
        max_length=12,
        required=False,
        widget=forms.TextInput(attrs={"placeholder": "19/34"}),
    )
    insulation = forms.CharField(label=_("Insulation"), max_length=24, required=False)
    conductor_mm = forms.DecimalField(
        label=_("d, mm"),
        min_value=0,
        max_digits=6,
        decimal_places=3,
        required=False,
        localize=True,
    )
    overall_mm = forms.DecimalField(
        label=_("D, mm"),
        min_value=0,
        max_digits=6,
        decimal_places=3,
        required=False,
        localize=True,
    )
    scope_code = forms.CharField(
        label=_("Credited to"),
        max_length=40,
        required=False,
        widget=forms.TextInput(attrs={"list": "scopes", "autocomplete": "off"}),
    )
    forming = forms.CharField(label=_("Forming"), max_length=120, required=False)
    clearance = forms.CharField(label=_("Clearance called for"), max_length=120, required=False)

    def clean_names(self) -> list[str]:
        try:
            names = names_in(self.cleaned_data["names"])
        except NotNames as error:
            raise forms.ValidationError(str(FAULTS[error.fault]) % {"part": error.part}) from error
        if not names:
            raise forms.ValidationError(_now("Give the position a name, or several: E01–E20."))
        return names

    def clean_wires(self) -> int:
        return self.cleaned_data["wires"] or 1

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        if cleaned.get("conductor_mm") is None and cleaned.get("stranding"):
            cleaned["conductor_mm"] = _worked_out(cleaned["stranding"], cleaned.get("wire_awg"))
        d, overall = cleaned.get("conductor_mm"), cleaned.get("overall_mm")
        if d is not None and overall is not None and overall < d:
            self.add_error(
                "overall_mm", _now("D is measured over the insulation, so it is not below d.")
            )
        return cleaned


def _worked_out(stranding: str, awg: int | None) -> Decimal | None:
    """The diameter over the bare conductor of ``19/34``; None for what is not worked out."""
    strands, _slash, gauge = stranding.partition("/")
    if stranding == "solid" and awg is not None:
        strands, gauge = "1", str(awg)
    if not all(part.isascii() and part.isdecimal() and len(part) < 4 for part in (strands, gauge)):
        return None
    try:
        return Decimal(f"{stranded_diameter_mm(int(strands), int(gauge)):.3f}")
    except ValueError:
        return None


def as_runs(positions: Iterable[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Neighbouring positions that are made alike as one row of the form."""
    runs: list[tuple[dict[str, Any], list[str]]] = []
    for position in positions:
        alike = {name: position[name] for name in POSITION if name != "name"}
        if runs and runs[-1][0] == alike:
            runs[-1][1].append(position["name"])
        else:
            runs.append((alike, [position["name"]]))
    return [{**alike, "names": written_as(names)} for alike, names in runs]


def as_positions(rows: Iterable[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """The positions that rows of the form say, by the names of `POSITION`."""
    return [
        {"name": name, **{field: row[field] for field in POSITION if field != "name"}}
        for row in rows
        for name in row["names"]
    ]


def like_row(row: Raw) -> Raw:
    """A row of as many positions more, made alike."""
    try:
        names = names_in(str(row.get("names") or ""))
    except NotNames:
        names = []
    return {**row, "names": written_as(next_names(names))}


class PasteForm(forms.Form):
    """Rows copied from a spreadsheet, taken into the grid without being stored."""

    paste = forms.CharField(
        label=_("Rows from a spreadsheet"),
        max_length=60_000,
        required=False,
        strip=False,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text=_(
            "In the order of the columns here, or under a first row with their names. They are put "
            "after those that are there."
        ),
    )

    def rows(self) -> list[Raw]:
        """What was pasted, as the grid is filled with it; of a valid form.

        Raises
        ------
        ValidationError
            With a sentence for each cell that says nothing the grid knows.
        """
        plain = PositionsForm()
        columns = {
            name: (name, *{str(field.label), *_in_english(field.label)})
            for name, field in plain.fields.items()
        }
        rows: list[Raw] = []
        faults = []
        cells = pasted_cells(self.cleaned_data["paste"])
        for number, said in enumerate(by_column(cells, columns), start=1):
            row: Raw = dict(said)
            if "joint_type" in said:
                known = _joint_type(said["joint_type"])
                if known is None:
                    faults.append(
                        _now("Row %(n)d: there is no joint type “%(type)s”.")
                        % {"n": number, "type": said["joint_type"][:40]}
                    )
                row["joint_type"] = known
            row["required"] = said.get("required", "").casefold() not in _NO
            rows.append(row)
        if len(rows) > MOST_NAMES:
            faults.append(str(FAULTS["many"]) % {"part": rows[0].get("names", "")})
        if faults:
            raise forms.ValidationError(faults[:20])
        return rows


_NO = frozenset({"no", "n", "0", "false", "nein", "spare", "–", "-"})


def _in_english(label: Any) -> set[str]:
    with override("en"):
        return {str(label)}


def _joint_type(said: str) -> str | None:
    for value, label in JointType.choices:
        if said.casefold() in {value, str(label).casefold(), *_in_english(label)}:
            return value
    return None


# Steps


class StepForm(RowForm):
    """One thing to do, in its stage, and where the advice comes from."""

    written = ("text",)

    stage = forms.ChoiceField(label=_("Stage"), choices=Stage.choices)
    text = forms.CharField(
        label=_("What to do"), max_length=2000, widget=forms.Textarea(attrs={"rows": 2})
    )
    source = forms.CharField(
        label=_("Source"),
        max_length=200,
        required=False,
        help_text=_("Left empty: common practice."),
    )
    drawing = forms.ChoiceField(label=_("Drawing"), required=False, choices=[])
    shows = forms.ChoiceField(
        label=_("It shows"),
        required=False,
        choices=[("", _("neither")), *ExerciseStep.Shows.choices],
    )
    cautions = forms.MultipleChoiceField(
        label=_("Cautions"), required=False, choices=[], widget=forms.CheckboxSelectMultiple
    )

    def clean_source(self) -> str:
        return self.cleaned_data["source"] or "common practice"

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        if cleaned.get("shows") and not cleaned.get("drawing"):
            self.add_error("drawing", _now("Choose the drawing that accept or reject is said of."))
        return cleaned


def step_form(stored: Iterable[Mapping[str, Any]]) -> type[StepForm]:
    """The form of a step with what there is to choose from, which is looked up once for all rows.

    ``stored`` are the steps as they stand: what they name stays to be chosen.
    """
    steps = list(stored)
    named = drawing_choices(step["drawing"] for step in steps)
    cautions = caution_choices(code for step in steps for code in step["cautions"])

    class OfferingForm(StepForm):
        def __init__(self, *args: Any, **kwargs: Any) -> None:
            super().__init__(*args, **kwargs)
            self.fields["drawing"].choices = named  # type: ignore[attr-defined]
            self.fields["cautions"].choices = cautions  # type: ignore[attr-defined]

    return OfferingForm


# Publishing


class WhyForm(forms.Form):
    """Why a draft is discarded."""

    why = forms.CharField(
        label=_("Why"),
        max_length=200,
        error_messages={"required": _("Say why: whoever reads of it later asks.")},
    )
    seen = forms.CharField(required=False, max_length=64, widget=forms.HiddenInput)


class RetiringForm(forms.Form):
    """Why a revision goes out of use, and the password."""

    reason = forms.CharField(
        label=_("Why"),
        max_length=400,
        error_messages={"required": _("Say why: whoever reads of it later asks.")},
    )
    password = PasswordField(
        help_text="",
        error_messages={"required": _("Type your password to prove that it is you.")},
    )


class PublishingForm(SigningListForm):
    """Which drafts are published as their page shows them, why, and one proof for all of them."""

    reason = forms.CharField(
        label=_("Why"),
        max_length=400,
        error_messages={"required": _("Say why: everybody goes by it from now on.")},
    )
    password = PasswordField(
        help_text=_("Once for all that is ticked."),
        error_messages={"required": _("Type your password to prove that it is you.")},
    )
