"""Keeping what is measured on a photograph, and the photograph's scale."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, replace
from datetime import datetime

from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from assessments.domain.geometry import (
    Across,
    MarksRefused,
    Measured,
    Options,
    Quantity,
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
from assessments.queries import written_down
from people.models import User
from people.presenters.quantities import format_with_uncertainty, with_unit
from records.services import trail

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
    "short_arc": gettext_lazy("The marks span an arc under 60°, so its shape is known less well."),
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


def scale_of(photo: Photo) -> Scale | None:
    if not photo.scale_px_per_mm:
        return None
    return Scale(1 / photo.scale_px_per_mm, photo.scale_uncertainty)


def options_for(
    *,
    joint: Joint | None,
    criterion: Criterion | None,
    winding: str = "",
    full_turns: int = 0,
    across: str = "",
    unit: str = "",
    size_mm: float | None = None,
    size_u_mm: float = 0.0,
) -> Options:
    """What is said beside the marks, with the wire's diameters where the position gives them."""
    position = joint.position if joint else None
    unit = criterion.unit if criterion else unit
    default = Across.CONDUCTOR if unit == "d" else Across.OVERALL
    return Options(
        winding=Winding(winding or Winding.CLOCKWISE),
        full_turns=full_turns,
        across=Across(across or default),
        size_mm=size_mm,
        size_u_mm=size_u_mm,
        conductor_mm=float(position.conductor_mm) if position and position.conductor_mm else None,
        overall_mm=float(position.overall_mm) if position and position.overall_mm else None,
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
    try:
        return measure(
            Quantity(quantity),
            marks,
            sigma_px=mark_uncertainty_px,
            scale=scale_of(photo),
            options=options,
        )
    except MarksRefused as refused:
        raise CannotMeasure(REFUSALS[refused.code]) from refused


@transaction.atomic
def keep_measurement(
    *,
    photo: Photo,
    quantity: str,
    marks: Mapping[str, Sequence[Sequence[float]]],
    options: Options,
    mark_uncertainty_px: float,
    actor: User,
    at: datetime,
    joint: Joint | None = None,
    criterion: Criterion | None = None,
) -> Measurement:
    """Keep a measurement with its marks; a scale becomes the photograph's own.

    Parameters
    ----------
    marks : mapping of str to sequence of points
        Pixels of the upright photograph, x right and y down.
    joint, criterion
        The place and the criterion that it is measured for, if any.

    Raises
    ------
    CannotMeasure
        If the marks give no result, or the criterion asks for something else.
    """
    if criterion is not None and criterion.quantity != quantity:
        raise CannotMeasure(
            _("%(criterion)s does not ask for that to be measured.") % {"criterion": criterion.code}
        )
    if joint is not None and joint.board_id != photo.board_id:
        raise CannotMeasure(_("That photograph belongs to another board."))
    held = Photo.objects.select_for_update(no_key=True).get(pk=photo.pk)
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
        options={name: value for name, value in asdict(options).items() if value},
        mark_uncertainty_px=mark_uncertainty_px,
        mm_per_px=scale.mm_per_px if scale else None,
        scale_uncertainty=scale.relative_u if scale else None,
        value=read.value,
        standard_uncertainty=read.u,
        unit=read.unit,
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
    held.save(update_fields=["mark_uncertainty_px", "scale_px_per_mm", "scale_uncertainty"])
    trail.record(
        actor=actor,
        act=written_down.MEASURED,
        about=measurement,
        payload=written_down.measurement_content(measurement),
        at=at,
    )
    return measurement


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
    value, expanded = format_with_uncertainty(measurement.value, measurement.standard_uncertainty)
    unit = measurement.unit
    shown = with_unit(value, unit) + (f" ± {with_unit(expanded, unit)}" if expanded else "")
    parts = [
        photo.board.number,
        str(measurement.joint or ""),
        f"{measurement.get_quantity_display()} {shown}",
        str(VERDICTS.get(measurement.verdict, "")),
    ]
    with file:
        return draw_marks(
            file, drawn_of(measurement), photo.upright_width, ", ".join(filter(None, parts))
        )


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
        "verdict": payload.verdict,
        "remarks": " ".join(payload.remarks),
        "marks_px": json.dumps(payload.marks, separators=(",", ":")),
        "options": json.dumps(payload.options, separators=(",", ":")),
        "mark_uncertainty_px": repr(payload.mark_uncertainty_px),
        "mm_per_px": "" if payload.mm_per_px is None else repr(payload.mm_per_px),
        "scale_relative_uncertainty": (
            "" if payload.scale_uncertainty is None else repr(payload.scale_uncertainty)
        ),
        "measured_by": str(payload.measured_by),
        "measured_at": payload.recorded_at.isoformat(),
    }
