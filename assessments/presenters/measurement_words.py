"""What was measured on a photograph, for people: its marks drawn, its result in words."""

from collections.abc import Mapping
from typing import Any

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext

from assessments.domain.marks import shares_of
from assessments.domain.repeats import How
from assessments.models import Measurement
from assessments.queries.measured_places import MeasuredPlace, is_by_former_scale
from assessments.services.measuring import REMARKS, VERDICTS, drawn_of
from people.presenters.quantities import format_with_uncertainty, with_unit

TERMS = {
    "marks": _("marks"),
    "scale": _("scale"),
    "size": _("known sizes"),
    "view": _("view"),
}


def marks_drawn(measurement: Measurement) -> SafeString:
    """The marks and their lines, to stand in an SVG whose units are the photograph's pixels."""
    lay = drawn_of(measurement)
    photo = measurement.photo
    size = max(photo.upright_width, photo.upright_height) / 130
    lines = format_html_join(
        "",
        '<polyline class="{}" points="{}"/>',
        (
            (kind, " ".join(f"{x:.1f},{y:.1f}" for x, y in line))
            for kind in ("halo", "line")
            for line in lay.lines
        ),
    )
    marks = format_html_join(
        "",
        '<path class="{}" d="M{} {}h{}m{} {}v{}"/>',
        (
            (
                kind,
                f"{x - size:.1f}",
                f"{y:.1f}",
                f"{2 * size:.1f}",
                f"{-size:.1f}",
                f"{-size:.1f}",
                f"{2 * size:.1f}",
            )
            for kind in ("halo", "white")
            for x, y in lay.marks
        ),
    )
    return format_html('<g class="marks-kept">{}{}</g>', lines, marks)


def measured_value(measurement: Measurement | MeasuredPlace) -> str:
    """The value with its expanded uncertainty: ``213.4° ± 4.1°``."""
    value, expanded = format_with_uncertainty(measurement.value, measurement.standard_uncertainty)
    unit = measurement.unit
    shown = with_unit(value, unit)
    return shown if expanded is None else f"{shown} ± {with_unit(expanded, unit)}"


def measured_says(measurement: Measurement | MeasuredPlace) -> str:
    """The value and what it says of the limits: ``213.4° ± 4.1°, within``."""
    words = VERDICTS.get(measurement.verdict)
    shown = measured_value(measurement)
    return f"{shown}, {words}" if words else shown


def place_says(measured: MeasuredPlace) -> str:
    """What counts of a place, and how it comes of several measurements."""
    said = measured_says(measured)
    how = repeats_say(measured.repeats)
    return f"{said} ({how})" if how else said


def left_out_says(n: int, measured: MeasuredPlace | None) -> str:
    """What was measured of a place and does not count; nothing where all of it does."""
    if not n:
        return ""
    if measured is None:
        return _now(
            "Measured before the photograph’s scale was set anew, so it no longer counts: measure "
            "again."
        )
    return ngettext(
        "%(n)d measurement from before the photograph’s scale was set anew is left out.",
        "%(n)d measurements from before the photograph’s scale was set anew are left out.",
        n,
    ) % {"n": n}


def repeats_say(repeated: Mapping[str, Any]) -> str:
    """How a value comes of several measurements; nothing where there was one."""
    if not repeated:
        return ""
    said = {"n": len(repeated["measurements"]), "used": len(repeated["used"])}
    words = {
        How.WORST: _now("the worst of %(n)d measurements, which disagree"),
        How.COMBINED: _now("%(used)d measurements combined"),
        How.SINGLE: _now("the one of %(n)d measurements that is proven"),
    }
    return words[How(repeated["how"])] % said


def measured_remarks(measurement: Measurement) -> list[str]:
    """What has to be said with a result, in sentences."""
    former = by_former_scale_says(measurement)
    return [
        *([former] if former else []),
        *(str(REMARKS.get(code, code)) for code in measurement.remarks),
    ]


def by_former_scale_says(measurement: Measurement) -> str:
    """That a measurement counts no more, where it was read by a former scale."""
    if not is_by_former_scale(measurement):
        return ""
    return _now(
        "Measured before the photograph’s scale was set anew: nothing more is judged by it."
    )


def measured_shares(measurement: Measurement) -> str:
    """What the uncertainty is made of: ``marks 12 %, scale 61 %, view 27 %``.

    Empty where the measurement was kept before its terms were.
    """
    return ", ".join(
        f"{TERMS[name]} {with_unit(f'{share:.0%}'.rstrip('%'), 'percent')}"
        for name, share in shares_of(measurement.budget).items()
        if name in TERMS
    )
