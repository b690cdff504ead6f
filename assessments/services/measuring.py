"""Keeping what is measured on a photograph, and the photograph's scale."""

import json
from collections.abc import Collection, Mapping, Sequence
from dataclasses import asdict, dataclass, fields, replace
from datetime import datetime
from math import sqrt
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from assessments.domain.geometry import (
    Across,
    MarksRefused,
    Measured,
    Options,
    Quantity,
    Remark,
    Scale,
    Winding,
    measure,
)
from assessments.domain.marks_drawn import Drawn, drawn
from assessments.domain.verdict import Verdict, verdict
from assessments.exceptions import CannotMeasure
from assessments.imaging.drawn_marks import draw_marks
from assessments.models import Criterion, Joint, Measurement, Photo, Rendition
from assessments.models.measuring import as_decimal
from assessments.queries import photo_setups, repeatability, written_down
from assessments.queries.measured_places import is_by_former_scale
from assessments.queries.measurement_studies import studied_spread
from people.models import User
from people.presenters.quantities import format_with_uncertainty, with_unit
from records.services import trail
from training.domain.wire import (
    awg_diameter_mm,
    overall_tolerance_mm,
    solid_tolerance_mm,
    stranded_tolerance_mm,
)
from training.models import JointType

from .board_lock import lock_board
from .photo_lock import lock_photo
from .photos import open_rendition

REFUSALS = {
    "too_few_marks": gettext_lazy("Set the marks that are still missing."),
    "too_many_marks": gettext_lazy("There are more marks than are needed. Take some away."),
    "mark_not_on_photograph": gettext_lazy("A mark lies outside the photograph. Put it back."),
    "marks_coincide": gettext_lazy("Two marks lie on the same place. Move one of them."),
    "edge_unclear": gettext_lazy(
        "The marks along the edge follow no arc. Set them in order, from toe to top."
    ),
    "edge_misses_base": gettext_lazy(
        "The edge does not meet the base line. Set the first mark at the toe, and the base line "
        "where the solder ends."
    ),
    "side_unclear": gettext_lazy(
        "It is not clear on which side the solder or the joint lies. Put the mark in the solder "
        "well inside, and the marks across the wire away from the insulation’s end."
    ),
    "size_not_known": gettext_lazy(
        "A size is missing: the photograph’s scale, the known size, or the wire’s diameter."
    ),
    "turns_not_possible": gettext_lazy("A wrap is measured to two turns: say 0 or 1 more turn."),
}
VERDICTS = {
    Verdict.WITHIN.value: gettext_lazy("within"),
    Verdict.OUTSIDE.value: gettext_lazy("outside"),
    Verdict.TOO_CLOSE.value: gettext_lazy("too close to call"),
}
REMARKS = {
    "short_arc": gettext_lazy(
        "The marks span an arc under 60°, too short for its shape: the uncertainty is not proven."
    ),
    "small_wire": gettext_lazy(
        "The wire is under 12 pixels across here: the uncertainty is not proven for so small a "
        "picture. Take a closer photograph."
    ),
    "flat_angle": gettext_lazy(
        "The angle lies within its uncertainty, or 10°, of 0° or 180°: the uncertainty is not "
        "proven there."
    ),
    "side_near": gettext_lazy(
        "A mark that tells a side lies within its own uncertainty of the line. Put it farther away."
    ),
    "whole_turn": gettext_lazy(
        "Start and end lie so close together that a whole turn may be too many or missing. Check "
        "the direction and the full turn."
    ),
    "scale_unsure": gettext_lazy(
        "The scale was given without its uncertainty, so nothing read by it is proven. Set the "
        "scale anew."
    ),
    "view_wide": gettext_lazy(
        "So far as this picture may lean, the top of the post may lie far from where the wire is: "
        "the uncertainty is not proven. Mark where the wire lies against the post instead."
    ),
    "setup_not_qualified": gettext_lazy(
        "The photo set-up is not qualified, so the wide bounds of a photograph by hand count."
    ),
}


NO_TOLERANCE = gettext_lazy(
    "Say by how much the known size may be off, in millimetres: nothing is known exactly. It "
    "stands in the graticule’s certificate, or in the drawing of the pad."
)
SIZE_KINDS = {
    "graticule": gettext_lazy("graticule"),
    "wire": gettext_lazy("wire"),
    "pad": gettext_lazy("pad or part"),
    "other": gettext_lazy("something else"),
}
GAUGES = range(10, 37, 2)
SHOWN_UNKNOWN_PX = 800  # how wide a photograph counts as shown where no page says it


@dataclass(frozen=True, slots=True)
class KnownSize:
    """What a scale is taken from.

    Attributes
    ----------
    mm : float
    half_mm : float or None
        By how much it may be off to either side. None takes a wire's own tolerance, where its
        diameter is one that is known here; else the size is refused.
    kind : str
        One of `SIZE_KINDS`.
    certificate : str
        Of a graticule.
    """

    mm: float
    half_mm: float | None
    kind: str = "other"
    certificate: str = ""


@dataclass(frozen=True, slots=True)
class Diameter:
    """A diameter of a wire, and by how much it may differ from that."""

    mm: float
    half_mm: float

    @property
    def u_mm(self) -> float:
        """The standard uncertainty of what lies anywhere in the range alike: a ÷ √3."""
        return self.half_mm / sqrt(3)


@dataclass(frozen=True, slots=True)
class Wire:
    """The diameters of the wire that a joint's position names, as far as it does."""

    conductor: Diameter | None = None
    overall: Diameter | None = None


def wire_of(joint: Joint | None) -> Wire:
    """A joint’s wire; tolerances by what the site says of it, its standard, or our own figures."""
    position = joint.position if joint else None
    if joint is None or position is None or not (position.conductor_mm or position.overall_mm):
        return Wire()
    of_site = photo_setups.tolerance_of(joint.board.site_id)
    conductor = overall = None
    if position.conductor_mm:
        mm = float(position.conductor_mm)
        if position.stranding == "solid":
            half = solid_tolerance_mm(mm)
        elif of_site is not None:
            half = of_site.conductor_percent / 100 * mm
        else:
            half = stranded_tolerance_mm(mm, position.stranding)
        conductor = Diameter(mm, half)
    if position.overall_mm:
        mm = float(position.overall_mm)
        half = of_site.overall_percent / 100 * mm if of_site else overall_tolerance_mm(mm)
        overall = Diameter(mm, half)
    return Wire(conductor, overall)


def pixel_as_shown_px(photo: Photo, shown_width_px: float | None) -> float:
    """How many of a photograph's pixels one of the screen held.

    Parameters
    ----------
    shown_width_px : float or None
        How wide the whole photograph was on the screen, in pixels of the screen, when its
        marks were set. What is shown is a copy of at most `Rendition.Size.LARGE` pixels, so
        coming closer than that shows no more.
    """
    longest = max(photo.upright_width, photo.upright_height)
    copy_px = photo.upright_width * min(1.0, Rendition.Size.LARGE / longest)
    shown = min(shown_width_px or SHOWN_UNKNOWN_PX, copy_px)
    return photo.upright_width / max(shown, 1.0)


def least_mark_uncertainty_px(
    photo: Photo, shown_width_px: float | None, grader: User | None = None
) -> float:
    """The least that the standard uncertainty of a mark may be: a pixel as it was shown.

    A grader of whom a study at the photograph's site shows less may come down to what it bears
    out, where the photograph is shown no coarser than in the study.

    Parameters
    ----------
    shown_width_px : float or None
        As `pixel_as_shown_px` takes it.
    grader : User, optional
        Whose marks they are.
    """
    pixel = pixel_as_shown_px(photo, shown_width_px)
    usual = max(1.0, pixel)
    studied = studied_spread(grader, photo.board.site_id) if grader is not None else None
    return usual if studied is None else studied.least_px(pixel)


def half_width_mm(size: KnownSize, joint: Joint | None) -> float:
    """By how much a known size may be off; raise CannotMeasure where nobody knows.

    A wire whose diameter is known here brings its own tolerance.
    """
    half = size.half_mm
    if half is None and size.kind == "wire":
        half = next((each.half_mm for each in known_wires(joint) if _same(each.mm, size.mm)), None)
    if not half or half <= 0:
        raise CannotMeasure(str(NO_TOLERANCE))
    if half >= size.mm:
        raise CannotMeasure(
            _("A size that may be off by as much as it measures sets no scale. Give the two apart.")
        )
    if size.kind == "graticule" and not size.certificate.strip():
        raise CannotMeasure(
            _("Name the graticule’s certificate, so that the scale can be traced to it.")
        )
    return half


def known_wires(joint: Joint | None) -> list[Diameter]:
    """The position's own wire, then bare solid wire by its gauge."""
    wire = wire_of(joint)
    own = [each for each in (wire.conductor, wire.overall) if each is not None]
    solid = [awg_diameter_mm(awg) for awg in GAUGES]
    return own + [Diameter(mm, solid_tolerance_mm(mm)) for mm in solid]


def _same(one_mm: float, other_mm: float) -> bool:
    return abs(one_mm - other_mm) < 0.0005


def scale_of(photo: Photo) -> Scale | None:
    if not photo.scale_px_per_mm:
        return None
    # A scale of before the view was looked at says nothing of it, so it proves nothing.
    known = photo.scale_view is not None
    return Scale(
        1 / photo.scale_px_per_mm,
        photo.scale_uncertainty if known else None,
        photo.scale_view or 0.0,
    )


def options_for(
    *,
    joint: Joint | None,
    criterion: Criterion | None,
    winding: str = "",
    full_turns: int = 0,
    across: str = "",
    unit: str = "",
    size: KnownSize | None = None,
) -> Options:
    """What is said beside the marks, with the wire's diameters where the position gives them.

    Raises
    ------
    CannotMeasure
        If nobody knows by how much the known size may be off.
    """
    wire = wire_of(joint)
    conductor, overall = wire.conductor, wire.overall
    unit = criterion.unit if criterion else unit
    default = Across.CONDUCTOR if unit == "d" else Across.OVERALL
    return Options(
        winding=Winding(winding or Winding.CLOCKWISE),
        full_turns=full_turns,
        across=Across(across or default),
        size_mm=size.mm if size else None,
        size_u_mm=half_width_mm(size, joint) / sqrt(3) if size else 0.0,
        conductor_mm=conductor.mm if conductor else None,
        overall_mm=overall.mm if overall else None,
        conductor_u_mm=conductor.u_mm if conductor else 0.0,
        overall_u_mm=overall.u_mm if overall else 0.0,
        unit=unit,
    )


def measure_on(
    photo: Photo,
    quantity: str,
    marks: Mapping[str, Sequence[Sequence[float]]],
    options: Options,
    mark_uncertainty_px: float,
) -> Measured:
    """Measure without keeping anything; raise CannotMeasure with what to do."""
    for points in marks.values():
        for x, y in points:
            if not (0 <= x <= photo.upright_width and 0 <= y <= photo.upright_height):
                raise CannotMeasure(REFUSALS["mark_not_on_photograph"])
    if options.unit in ("deg", "percent", "ratio"):
        options = replace(options, unit="")
    seen = photo_setups.view_of(photo)
    try:
        measured = measure(
            Quantity(quantity),
            marks,
            sigma_px=mark_uncertainty_px,
            scale=scale_of(photo),
            options=options,
            view=seen.view,
        )
    except MarksRefused as refused:
        raise CannotMeasure(REFUSALS[refused.code]) from refused
    if seen.is_qualified:
        return measured
    return replace(measured, remarks=(*measured.remarks, Remark.SETUP_NOT_QUALIFIED))


def measure_again(measurement: Measurement, photo: Photo) -> Measured:
    """What the marks of a kept measurement give on a photograph as it counts as taken now."""
    names = {field.name for field in fields(Options)}
    said = {name: value for name, value in measurement.options.items() if name in names}
    return measure_on(
        photo,
        measurement.quantity,
        measurement.marks,
        Options(**said),
        measurement.mark_uncertainty_px,
    )


def is_read_on_photographs(quantity: str, joint: Joint | None) -> bool:
    """Whether a photograph shows the quantity of such a joint: the fill of a hole is inside it."""
    is_hole = joint is not None and joint.position.joint_type == JointType.HOLE
    return not (quantity == Measurement.Quantity.FILL and is_hole)


@transaction.atomic
def keep_measurement(
    *,
    photo: Photo,
    quantity: str,
    marks: Mapping[str, Sequence[Sequence[float]]],
    options: Options,
    mark_uncertainty_px: float | None,
    actor: User,
    at: datetime,
    joint: Joint | None = None,
    criterion: Criterion | None = None,
    shown_width_px: float | None = None,
    size: KnownSize | None = None,
    found: Collection[str] = (),
) -> Measurement:
    """Keep a measurement with its marks; a scale becomes the photograph's own.

    Parameters
    ----------
    marks : mapping of str to sequence of points
        Pixels of the upright photograph, x right and y down.
    mark_uncertainty_px : float or None
        What the grader states of a mark; what counts is not less than a pixel as it was shown,
        nor than their own repeated measurements scatter.
    joint, criterion
        The place and the criterion that it is measured for, if any.
    shown_width_px : float or None
        How wide the photograph was shown when its marks were set, in pixels of the screen.
    size : KnownSize, optional
        What a scale was taken from, kept beside it.
    found : collection of str
        The kinds of marks that were found in the photograph and accepted as they lay.

    Raises
    ------
    CannotMeasure
        If the marks give no result, the criterion asks for something else, or a scale would
        be without its uncertainty.
    CannotChangeBoard
        If the board was cancelled.
    """
    if criterion is not None and criterion.quantity != quantity:
        raise CannotMeasure(
            _("%(criterion)s does not ask for that to be measured.") % {"criterion": criterion.code}
        )
    if joint is not None and joint.board_id != photo.board_id:
        raise CannotMeasure(_("That photograph belongs to another board."))
    if not is_read_on_photographs(quantity, joint):
        raise CannotMeasure(
            _(
                "How far solder fills a plated hole cannot be read from a photograph. Judge it by "
                "eye from both sides, or write down the figure of a section or of X-ray."
            )
        )
    if quantity == Measurement.Quantity.SCALE and options.size_mm and not options.size_u_mm:
        raise CannotMeasure(str(NO_TOLERANCE))
    lock_board(photo.board)  # Whoever judges the place counts what was measured of it.
    held = lock_photo(photo)
    seen = photo_setups.view_of(held)
    pixel = least_mark_uncertainty_px(held, shown_width_px)
    scatter = repeatability.scatter_of(actor)
    # Daily repeats that scatter more than a pixel speak against what a study bears out.
    least = (
        pixel * scatter
        if scatter > 1
        else least_mark_uncertainty_px(held, shown_width_px, grader=actor)
    )
    mark_uncertainty_px = max(mark_uncertainty_px or least, least)
    read = measure_on(held, quantity, marks, options, mark_uncertainty_px)
    scale = scale_of(held)
    text = ""
    if criterion is not None:
        text = verdict(
            as_decimal(read.value),
            as_decimal(read.expanded),
            criterion.low,
            criterion.high,
            proven=read.is_proven,
        ).value
    measurement = Measurement.objects.create(
        photo=held,
        joint=joint,
        criterion=criterion,
        quantity=quantity,
        marks={name: [[float(x), float(y)] for x, y in points] for name, points in marks.items()},
        options=_as_kept(options, shown_width_px, size, criterion, found)
        | {"pixel_px": pixel}
        | ({"studied_px": least} if least < pixel else {}),
        mark_uncertainty_px=mark_uncertainty_px,
        mm_per_px=scale.mm_per_px if scale else None,
        scale_uncertainty=scale.relative_u if scale else None,
        value=read.value,
        standard_uncertainty=read.u,
        unit=read.unit,
        budget=read.terms,
        view={
            "setup": held.setup.name if held.setup else "",
            "is_qualified": seen.is_qualified,
            **asdict(seen.view),
        },
        remarks=[remark.value for remark in read.remarks],
        also=read.also,
        verdict=text,
        measured_by=actor,
        recorded_at=at,
    )
    held.mark_uncertainty_px = mark_uncertainty_px
    if quantity == Measurement.Quantity.SCALE:
        held.scale_px_per_mm = 1 / read.value
        held.scale_uncertainty = read.also["relative_u"]
        held.scale_view = read.also["relative_view"]
    held.save(
        update_fields=[
            "mark_uncertainty_px",
            "scale_px_per_mm",
            "scale_uncertainty",
            "scale_view",
        ]
    )
    trail.record(
        actor=actor,
        act=written_down.MEASURED,
        about=measurement,
        payload=written_down.measurement_content(measurement),
        at=at,
    )
    return measurement


def _as_kept(
    options: Options,
    shown_width_px: float | None,
    size: KnownSize | None,
    criterion: Criterion | None,
    found: Collection[str],
) -> dict[str, Any]:
    """What was said with the marks, as far as it was."""
    beside: dict[str, Any] = {"shown_width_px": shown_width_px, "found": sorted(found)}
    if criterion is not None:
        beside["datum"] = criterion.datum
    if size is not None:
        beside |= {"size_kind": size.kind, "certificate": size.certificate.strip()}
    return {name: value for name, value in (asdict(options) | beside).items() if value}


# For whoever looks later


def drawn_of(measurement: Measurement) -> Drawn:
    """The marks of a kept measurement and their lines, in pixels of the upright photograph."""
    return drawn(
        measurement.quantity,
        measurement.marks,
        measurement.value,
        measurement.options,
        measurement.also,
    )


def marked_picture(measurement: Measurement) -> bytes:
    """The photograph as a JPEG with the marks drawn on it and the result below.

    Raises
    ------
    NotAPhotograph
        If the original can no longer be read.
    """
    photo = measurement.photo
    _rendition, file = open_rendition(photo, Rendition.Size.LARGE)
    with file:
        return draw_marks(
            file, drawn_of(measurement), photo.upright_width, picture_says(measurement)
        )


def picture_says(measurement: Measurement) -> str:
    """The line below a picture with marks: of what they are, what they give and say."""
    value, expanded = format_with_uncertainty(measurement.value, measurement.standard_uncertainty)
    unit = measurement.unit
    shown = with_unit(value, unit) + (f" ± {with_unit(expanded, unit)}" if expanded else "")
    parts = [
        measurement.photo.board.number,
        str(measurement.joint or ""),
        f"{measurement.get_quantity_display()} {shown}",
        str(VERDICTS.get(measurement.verdict, "")),
        _("measured before the scale was set anew") if is_by_former_scale(measurement) else "",
    ]
    return ", ".join(filter(None, parts))


def as_row(measurement: Measurement) -> dict[str, str]:
    """A measurement as a line of a table, with everything it can be worked out again from."""
    payload = measurement
    return {
        "measurement": str(payload.pk),
        "photograph_sha256": payload.photo.sha256,
        "joint": str(payload.joint or ""),
        "criterion": payload.criterion.code if payload.criterion else "",
        "quantity": payload.quantity,
        "value": repr(payload.value),
        "standard_uncertainty": repr(payload.standard_uncertainty),
        "expanded_uncertainty": repr(payload.expanded),
        "unit": payload.unit,
        "budget": json.dumps(payload.budget, separators=(",", ":")),
        "verdict": payload.verdict,
        "remarks": " ".join(payload.remarks),
        "marks_px": json.dumps(payload.marks, separators=(",", ":")),
        "options": json.dumps(payload.options, separators=(",", ":")),
        "view": json.dumps(payload.view, separators=(",", ":")),
        "mark_uncertainty_px": repr(payload.mark_uncertainty_px),
        "mm_per_px": "" if payload.mm_per_px is None else repr(payload.mm_per_px),
        "scale_relative_uncertainty": (
            "" if payload.scale_uncertainty is None else repr(payload.scale_uncertainty)
        ),
        "measured_by": str(payload.measured_by),
        "measured_at": payload.recorded_at.isoformat(),
    }
