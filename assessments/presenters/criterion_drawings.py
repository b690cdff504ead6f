"""Which drawing of a criterion is shown: its own where it fits the limits, else one made from them.

A drawing says by its figures what it shows (``270°``, ``1 D``). One that no longer fits is drawn
from the limits where that can be done, and hidden with a note where not.
"""

import re
from decimal import Decimal
from functools import lru_cache
from pathlib import Path

from django.contrib.staticfiles import finders
from django.urls import reverse
from django.utils.html import conditional_escape, format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from assessments.domain import limit_drawings
from assessments.domain.criterion_rules import LENGTHS
from assessments.models import Criterion, CriterionDrawing
from people.presenters import quantities

DRAWN, HIDDEN = "drawn/", "hidden/"
SIGN_TO_UNIT = {"°": "deg", "%": "percent", "mm": "mm", "d": "d", "D": "D"}
FIGURE = re.compile(r"(-?\d+(?:\.\d+)?)\s*(°|%|mm|d|D)(?![\w])")
TEXT = re.compile(r"<text\b[^>]*>([^<]*)</text>")
GENERATORS = ("turret-wrap-top", "clearance", "strip-length")
"""What can be drawn from limits."""
MADE_ANEW = {
    "turret-wrap-top-": "turret-wrap-top",
    "turret-wrap-inside-": "turret-wrap-top",
    "turret-wrap-short-": "turret-wrap-top",
    "clearance-": "clearance",
    "strip-length-": "strip-length",
}
"""How the names of drawings begin of which another can be drawn, and as what."""
FIGURES_APART = re.compile("-(?:top|inside|short|wide|embedded|accept|reject)(?![a-z])")
IN_STRIP = 10.0
"""Millimetres that the drawing of a stripped wire has room for, where its limits are shorter."""


def accept_shown(criterion: Criterion) -> str:
    """The name of the accept drawing that a page shows."""
    return shown_under(criterion, criterion.accept_drawing, accept=True)


def reject_shown(criterion: Criterion) -> str:
    """The same of the first drawing of what fails."""
    return rejects_shown(criterion)[0]


def rejects_shown(criterion: Criterion) -> list[str]:
    """The same of all of them; one at least."""
    names = criterion.reject_drawings or [""]
    return [shown_under(criterion, name, accept=False) for name in names]


def family_of(name: str) -> str:
    """What drawings of one thing at other figures have in common: ``turret-wrap``."""
    return FIGURES_APART.sub("", name)


def shown_under(criterion: Criterion, name: str, *, accept: bool) -> str:
    """A drawing as the limits of a criterion have it: itself, one drawn from them, or none."""
    if fits(criterion, name, accept=accept):
        return name
    kind = next((kind for begins, kind in MADE_ANEW.items() if name.startswith(begins)), None)
    if kind is None:
        return f"{HIDDEN}{'accept' if accept else 'reject'}"
    low, high = (
        None if limit is None else float(limit) for limit in (criterion.low, criterion.high)
    )
    value = (limit_drawings.inside if accept else limit_drawings.outside)(low, high)
    return f"{DRAWN}{kind}/{value:g}/{criterion.unit}/{'accept' if accept else 'reject'}"


def fits(criterion: Criterion, name: str, *, accept: bool) -> bool:
    """Whether the figures of a drawing agree with a criterion's limits; true of one without any.

    Of an acceptable drawing each lies within the limits; of any other one lies outside.
    """
    low, high = criterion.low, criterion.high
    if not name or (low is None and high is None):
        return True
    said = figures_of(name)
    same = [value for value, unit in said if unit == criterion.unit]
    if not same:
        # A length in another unit says something else than the limits do.
        return not any(unit in LENGTHS for _value, unit in said if criterion.unit in LENGTHS)
    within = [(low is None or value >= low) and (high is None or value <= high) for value in same]
    return all(within) if accept else not all(within)


def figures_of(name: str) -> list[tuple[Decimal, str]]:
    """The figures with a unit that stand in a drawing."""
    if name.startswith(CriterionDrawing.PREFIX):
        drawing = _own(name)
        if drawing is None or drawing.kind != CriterionDrawing.Kind.SVG:
            return []
        return _figures_in(bytes(drawing.data).decode())
    path = finders.find(f"img/drawings/{name}.svg")
    return _figures_of_file(str(path), Path(str(path)).stat().st_mtime_ns) if path else []


@lru_cache(maxsize=256)
def _figures_of_file(path: str, changed_ns: int) -> list[tuple[Decimal, str]]:
    return _figures_in(Path(path).read_text(encoding="utf-8"))


def _figures_in(svg: str) -> list[tuple[Decimal, str]]:
    return [
        (Decimal(number), SIGN_TO_UNIT[sign])
        for text in TEXT.findall(svg)
        for number, sign in FIGURE.findall(text)
    ]


_kept: dict[str, CriterionDrawing] = {}


def _own(name: str) -> CriterionDrawing | None:
    """A drawing of the organisation's own; a row never changes, so it is read once."""
    if name not in _kept:
        sha256 = name.removeprefix(CriterionDrawing.PREFIX)
        drawing = CriterionDrawing.objects.filter(sha256=sha256).first()
        if drawing is None:
            return None
        if len(_kept) > 200:
            _kept.clear()
        _kept[name] = drawing
    return _kept[name]


# What `{% drawing %}` puts into a page


def site_drawing(name: str, label: str, decorative: bool) -> SafeString | None:
    drawing = _own(name)
    if drawing is None:
        return None
    return format_html(
        '<img class="drawing is-own" src="{}" alt="{}">',
        reverse("assessments:criterion_drawing", args=[drawing.sha256]),
        "" if decorative else label or drawing.title,
    )


def site_drawing_title(name: str) -> str:
    drawing = _own(name)
    return drawing.title if drawing else ""


def title_from_limits(name: str) -> str:
    found = _drawn(name)
    return found[0] if found else ""


def from_limits(name: str, label: str, decorative: bool) -> SafeString | None:
    found = _drawn(name)
    if found is None:
        return None
    title, content = found
    return format_html(
        '<svg class="drawing" viewBox="0 0 160 120" {}>{}</svg>',
        SafeString('aria-hidden="true"')
        if decorative
        else format_html('role="img" aria-label="{}"', label or title),
        content,
    )


def hidden(name: str, label: str, decorative: bool) -> SafeString:
    return format_html(
        '<span class="drawing-hidden">{}</span>',
        _("The drawing was made for other limits and is hidden."),
    )


def _drawn(name: str) -> tuple[str, SafeString] | None:
    parts = name.removeprefix(DRAWN).split("/")
    if len(parts) != 4 or parts[0] not in GENERATORS:
        return None
    kind, number, unit, side = parts
    try:
        value = Decimal(number)
    except ArithmeticError:
        return None
    text = quantities.with_unit(quantities.format_decimal(value), unit)
    shown, accept = str(conditional_escape(text)), side == "accept"
    if kind == "turret-wrap-top":
        content = limit_drawings.drawn_wrap(float(value), shown, accept=accept)
    elif kind == "clearance":
        # A gap in conductor diameters or millimetres is drawn as if the insulation doubled it.
        share = float(value) if unit == "D" else float(value) / 2
        content = limit_drawings.drawn_clearance(share, shown, accept=accept)
    else:
        content = limit_drawings.drawn_strip(
            float(value) / max(IN_STRIP, float(value)), shown, accept=accept
        )
    words = {
        "turret-wrap-top": _("Turret from above, drawn from the limits: wire wrapped %(value)s"),
        "clearance": _("Insulation clearance, drawn from the limits: %(value)s"),
        "strip-length": _("Stripped wire, drawn from the limits: %(value)s"),
    }
    # Lines of our own and a figure that was escaped.
    return words[kind] % {"value": text}, SafeString(content)


def file_of(name: str) -> tuple[str, bytes] | None:
    """A drawing as a file for paper: its ending and its bytes; None where there is none."""
    if name.startswith(CriterionDrawing.PREFIX):
        drawing = _own(name)
        if drawing is None:
            return None
        return drawing.ending, bytes(drawing.data)
    if name.startswith(DRAWN):
        found = _drawn(name)
        if found is None:
            return None
        return "svg", (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 160 120">{found[1]}</svg>'
        ).encode()
    path = finders.find(f"img/drawings/{name}.svg") if name else None
    return ("svg", Path(str(path)).read_bytes()) if path else None
