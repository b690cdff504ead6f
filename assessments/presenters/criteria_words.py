"""Two revisions of criteria side by side, in words."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.conf import settings
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString
from django.utils.translation import get_language, gettext_lazy, ngettext
from django.utils.translation import gettext as _

from assessments.domain.criteria_differences import (
    Difference,
    Effect,
    differences,
    overall,
    word_differences,
)
from assessments.models import CriteriaSet, Criterion
from assessments.queries import criteria_sets
from assessments.queries.criteria_sets import state_of
from people.presenters import quantities
from training.models import JointType, Stage

from .judgement_words import unit_word

FIELD_NAMES = {
    "stage": gettext_lazy("stage"),
    "of": gettext_lazy("judged on"),
    "joint_types": gettext_lazy("joint types"),
    "alloys": gettext_lazy("alloys"),
    "how": gettext_lazy("judged"),
    "quantity": gettext_lazy("quantity"),
    "low": gettext_lazy("at least"),
    "high": gettext_lazy("at most"),
    "unit": gettext_lazy("unit"),
    "datum": gettext_lazy("measured from"),
    "by_eye": gettext_lazy("by eye instead"),
    "severity": gettext_lazy("severity"),
    "demerits": gettext_lazy("demerits"),
    "document": gettext_lazy("document"),
    "edition": gettext_lazy("edition"),
    "clause": gettext_lazy("clause"),
    "source_note": gettext_lazy("where the limit comes from"),
    "accept_drawing": gettext_lazy("accept drawing"),
    "reject_drawing": gettext_lazy("reject drawing"),
    "more_reject_drawings": gettext_lazy("further reject drawings"),
}
TEXT_NAMES = {
    "title": gettext_lazy("title"),
    "text": gettext_lazy("what is asked"),
    "reject": gettext_lazy("what fails"),
    "advice": gettext_lazy("what to try"),
}
EFFECTS = {
    Effect.STRICTER: gettext_lazy("stricter"),
    Effect.MILDER: gettext_lazy("milder"),
    Effect.ALIKE: gettext_lazy("judged alike"),
    Effect.BOTH: gettext_lazy("stricter and milder"),
    Effect.UNTOLD: gettext_lazy("to be read: it cannot be told"),
}
DRAWINGS = ("accept_drawing", "reject_drawing", "more_reject_drawings")
TAGS = {"same": "{}", "gone": "<del>{}</del>", "new": "<ins>{}</ins>"}


def unit_choice(unit: str) -> str:
    """A unit in a list to choose from: ``°``, ``D: overall diameters``."""
    sign = quantities.unit_sign(unit)
    if unit in ("d", "D"):
        return f"{unit}: {unit_word(unit)}"
    return sign or unit_word(unit)


def field_name(name: str) -> str:
    """What a field of a criterion is called, with the language where it is another's text."""
    if name in FIELD_NAMES:
        return str(FIELD_NAMES[name])
    key, _joint, language = name.rpartition("_")
    called = str(TEXT_NAMES.get(key, key))
    if language == (get_language() or "en").split("-")[0]:
        return called
    return f"{called} ({dict(settings.LANGUAGES).get(language, language)})"


def value_shown(name: str, value: Any) -> str:
    """A field's value as people read it; ``none`` where it is empty."""
    if name == "by_eye":
        return str(dict(Criterion.ByEye.choices)[value])
    if value in ("", None, []):
        return _("any") if name == "alloys" else _("none")
    choices: Mapping[Any, Any] = {
        "stage": dict(Stage.choices),
        "of": dict(Criterion.Of.choices),
        "how": dict(Criterion.How.choices),
        "quantity": dict(Criterion.Quantity.choices),
        "severity": dict(Criterion.Severity.choices),
        "datum": dict(Criterion.Datum.choices),
    }.get(name, {})
    if name == "joint_types":
        return ", ".join(str(dict(JointType.choices).get(one, one)) for one in value)
    if name in DRAWINGS:
        return ", ".join(_drawing_names(value if isinstance(value, list) else [value]))
    if isinstance(value, list):
        return ", ".join(map(str, value))
    if name in ("low", "high"):
        return quantities.format_decimal(Decimal(str(value)))
    if name == "unit":
        return unit_choice(value)
    return str(choices.get(value, value))


def _drawing_names(names: list[str]) -> list[str]:
    """Drawings as people call them: the organisation's own by what they show."""
    own = criteria_sets.site_drawings(names)
    return [own[name].title if name in own else name for name in names]


@dataclass(frozen=True, slots=True)
class CriterionDifference:
    """What became of one criterion from one revision to another.

    ``kind`` is ``changed``, ``new`` or ``dropped``; ``says`` is marked up for a page.
    """

    code: str
    title: str
    kind: str
    says: SafeString
    effect: Effect

    @property
    def so(self) -> str:
        """Whether it is stricter by that, in words."""
        return str(EFFECTS[self.effect])


def compare_sets(before: CriteriaSet, after: CriteriaSet) -> list[CriterionDifference]:
    """Every criterion that differs between two revisions, in the order of the later one."""
    old = {criterion.code: criterion for criterion in before.all_criteria}
    new = {criterion.code: criterion for criterion in after.all_criteria}
    rows = []
    for code, criterion in new.items():
        if code not in old:
            rows.append(_of_new(criterion))
            continue
        found = differences(state_of(old[code]), state_of(criterion))
        if found:
            rows.append(_of_changed(old[code], criterion, found))
    rows += [
        _of_dropped(criterion, after.dropped.get(code, ""))
        for code, criterion in old.items()
        if code not in new
    ]
    return rows


def _of_changed(
    before: Criterion, after: Criterion, found: list[Difference]
) -> CriterionDifference:
    names = {one.name for one in found}
    parts: list[SafeString] = []
    for one in found:
        if one.name == "unit" and names & {"low", "high"}:
            continue  # It stands behind the limits.
        parts.append(_part(one, before, after))
    says = format_html_join(SafeString("; "), "{}", ((part,) for part in parts))
    effect = overall([one.effect for one in found])
    return CriterionDifference(after.code, after.title, "changed", says, effect)


def _part(one: Difference, before: Criterion, after: Criterion) -> SafeString:
    name = field_name(one.name)
    is_text = one.name.rpartition("_")[0] in TEXT_NAMES or one.name == "source_note"
    if is_text and one.before and one.after:
        marked = format_html_join(
            "",
            "{}",
            (
                (format_html(TAGS[segment.kind], segment.text),)
                for segment in word_differences(one.before, one.after)
            ),
        )
        return format_html("{}: “{}”", name, marked)
    old, new = value_shown(one.name, one.before), value_shown(one.name, one.after)
    if one.name in ("low", "high"):
        old = quantities.with_unit(old, before.unit) if one.before != "" else old
        new = quantities.with_unit(new, after.unit) if one.after != "" else new
    return format_html("{} <del>{}</del> <ins>{}</ins>", name, old, new)


def _of_new(criterion: Criterion) -> CriterionDifference:
    says = format_html(
        "<ins>{}</ins> “{}” {}, {}, {}. {}",
        _("new:"),
        criterion.text,
        criterion.how_asked.capitalize(),
        criterion.get_severity_display(),
        demerits_shown(criterion.demerits),
        ", ".join(criterion.joint_type_names).capitalize() + ".",
    )
    return CriterionDifference(criterion.code, criterion.title, "new", says, Effect.STRICTER)


def _of_dropped(criterion: Criterion, why: str) -> CriterionDifference:
    says = format_html(
        "<del>{}, {}</del> {}{}",
        criterion.get_severity_display(),
        demerits_shown(criterion.demerits),
        _("dropped"),
        f": {why}" if why else "",
    )
    return CriterionDifference(criterion.code, criterion.title, "dropped", says, Effect.MILDER)


def demerits_shown(n: int) -> str:
    return ngettext("%(n)d demerit", "%(n)d demerits", n) % {"n": n}


def counted(rows: Iterable[CriterionDifference]) -> str:
    """How many changed, are new, are dropped: ``4 changed, 1 new``; empty for no difference."""
    kinds = [row.kind for row in rows]
    said = [
        (kinds.count("changed"), _("%(n)d changed")),
        (kinds.count("new"), _("%(n)d new")),
        (kinds.count("dropped"), _("%(n)d dropped")),
    ]
    return ", ".join(text % {"n": n} for n, text in said if n)
