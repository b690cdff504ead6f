"""What the page for measuring on a photograph shows: kinds of marks, what was kept, words."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from math import sqrt
from typing import Any
from urllib.parse import urlencode

from django.urls import reverse
from django.utils.translation import gettext as _

from assessments import access
from assessments.domain.geometry import MARKS, Across, Kind, Quantity, Winding
from assessments.models import Criterion, Joint, Measurement, Photo, PhotoSetup
from assessments.queries import photo_setups, repeatability
from assessments.queries.measured_places import MeasuredPlace, is_by_former_scale
from assessments.queries.measurement_studies import studied_spread
from assessments.services.measuring import (
    GAUGES,
    NO_TOLERANCE,
    REFUSALS,
    REMARKS,
    SHOWN_UNKNOWN_PX,
    SIZE_KINDS,
    known_wires,
    least_mark_uncertainty_px,
    scale_of,
    wire_of,
)
from people.models import User
from training.domain.wire import awg_diameter_mm, solid_tolerance_mm

from .measurement_words import TERMS

ROWS = {"edge": 9, "post": 9, "centre": 1}  # to write into where no script adds any


@dataclass(frozen=True, slots=True)
class MarksOfKind:
    """Marks of one kind, with what to say of them."""

    name: str
    title: str
    advice: str
    least: int
    most: int
    rows: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class QuantityTab:
    name: str
    label: str
    url: str
    current: bool


@dataclass(frozen=True, slots=True)
class MeasuringScreen:
    quantity: str
    label: str
    tabs: tuple[QuantityTab, ...]
    kinds: tuple[MarksOfKind, ...]
    said: dict[str, Any]
    sizes: tuple[tuple[str, str], ...]
    size_kinds: dict[str, Any]
    setups: tuple[PhotoSetup, ...]
    retired_setup: bool
    scatter: float
    units: tuple[str, ...]
    kept: tuple[Measurement, ...]
    last: Measurement | None
    counts: MeasuredPlace | None
    left_out: int
    told: dict[str, Any]

    @property
    def reading(self) -> Measurement | None:
        """The one whose value stands on the page, as it does by the photograph's scale."""
        return self.last if self.last and not is_by_former_scale(self.last) else None


def measure_url(photo: Photo, **query: str) -> str:
    base = reverse("assessments:photo_measure", args=[photo.key])
    return f"{base}?{urlencode(query)}" if query else base


def build(
    photo: Photo,
    user: User,
    *,
    joint: Joint | None,
    criterion: Criterion | None,
    quantity: str = "",
    marks: Mapping[str, Sequence[Sequence[str]]] | None = None,
    typed: Mapping[str, Any] | None = None,
    query: Mapping[str, str],
) -> MeasuringScreen:
    """Lay out the page for one quantity.

    Parameters
    ----------
    quantity : str
        What to measure; the criterion's own quantity or the scale if it is not one.
    marks, typed
        What was sent and refused, to be shown again.
    query
        What leads back to the criterion, for links.
    """
    usual = criterion.quantity if criterion else Measurement.Quantity.SCALE.value
    name = quantity if quantity in Measurement.Quantity.values else usual
    if criterion is not None and name not in (criterion.quantity, "scale"):
        name = usual
    kept = tuple(access.measurements_readable_by(user, photo))
    mine = [
        measurement
        for measurement in kept
        if measurement.quantity == name
        and measurement.measured_by_id == user.pk
        and (name == "scale" or (measurement.joint, measurement.criterion) == (joint, criterion))
    ]
    last = mine[0] if mine else None
    shown = marks if marks is not None else last.marks if last else {}
    said = _said(photo, joint, criterion, name, last, typed)
    offered = [usual, "scale"] if criterion else Measurement.Quantity.values
    words = kind_words(criterion.datum if criterion else "")
    scatter = repeatability.scatter_of(user)
    counts, left_out = _counts(photo, user, joint, criterion if name != "scale" else None)
    setups = tuple(PhotoSetup.objects.in_use().filter(site=photo.board.site_id))
    return MeasuringScreen(
        quantity=name,
        label=str(Measurement.Quantity(name).label),
        tabs=tuple(
            QuantityTab(
                part,
                str(Measurement.Quantity(part).label),
                measure_url(photo, quantity=part, **query),
                part == name,
            )
            for part in dict.fromkeys(offered)
        ),
        kinds=tuple(
            MarksOfKind(
                kind.name,
                *words[name, kind.name],
                kind.least,
                kind.most,
                _rows(kind.name, kind.least, shown.get(kind.name, ())),
            )
            for kind in sorted(MARKS[Quantity(name)], key=_in_turn)
        ),
        said=said,
        sizes=tuple(_sizes(joint)),
        size_kinds=SIZE_KINDS,
        setups=setups,
        retired_setup=photo.setup is not None and photo.setup not in setups,
        units=_units(name, joint),
        kept=kept,
        last=last,
        counts=counts,
        left_out=left_out,
        told=_told(photo, joint, criterion, name, said)
        | {"scatter": scatter, "studied": _studied(photo, user) if scatter <= 1 else None},
        scatter=scatter,
    )


def _studied(photo: Photo, user: User) -> dict[str, float] | None:
    """What the studies at the photograph's site bear out of the user's marks, where it is less."""
    spread = studied_spread(user, photo.board.site_id)
    if spread is None or spread.upper_px >= max(1.0, spread.pixel_px):
        return None
    return {"upper_px": spread.upper_px, "pixel_px": spread.pixel_px}


def _counts(
    photo: Photo, user: User, joint: Joint | None, criterion: Criterion | None
) -> tuple[MeasuredPlace | None, int]:
    """What counts of the measurements of a place by the user, and how many of them do not."""
    if criterion is None:
        return None, 0
    measurements = list(
        Measurement.objects.filter(
            photo__board=photo.board_id, joint=joint, criterion=criterion, measured_by=user
        ).select_related("photo")
    )
    counts = MeasuredPlace.of(criterion, measurements)
    return counts, sum(map(is_by_former_scale, measurements))


def _in_turn(kind: Kind) -> tuple[bool, int]:
    """What is marked by one point comes first, so that an edge may grow at the end.

    What only stands in for another kind comes last.
    """
    return (kind.least == 0 and kind.most == 1, kind.most)


def _rows(name: str, least: int, points: Sequence[Sequence[Any]]) -> tuple[tuple[str, str], ...]:
    rows = [(str(x), str(y)) for x, y in points]
    blank = max(ROWS.get(name, least) - len(rows), 0)
    return tuple(rows + [("", "")] * blank)


def _said(
    photo: Photo,
    joint: Joint | None,
    criterion: Criterion | None,
    name: str,
    last: Measurement | None,
    typed: Mapping[str, Any] | None,
) -> dict[str, Any]:
    """What stands in the fields beside the marks."""
    before = last.options if last else {}
    unit = criterion.unit if criterion else before.get("unit", _units(name, joint)[0])
    usual = Across.CONDUCTOR if unit == "d" else Across.OVERALL
    said = {
        "winding": before.get("winding", Winding.CLOCKWISE.value),
        "full_turns": str(before.get("full_turns", 0)),
        "across": before.get("across", usual.value),
        "unit": unit,
        "size_mm": before.get("size_mm", ""),
        "size_half_mm": format_half(before.get("size_u_mm")),
        "size_kind": before.get("size_kind", "wire" if joint else "graticule"),
        "certificate": before.get("certificate", ""),
        "mark_uncertainty_px": "",
        "shown_width_px": "",
    }
    if typed is not None:
        said |= {key: typed.get(key, value) for key, value in said.items()}
    return said


def format_half(u_mm: float | None) -> str:
    """By how much a size may be off, as it was written: its standard uncertainty times √3."""
    return f"{u_mm * sqrt(3):.6g}" if u_mm else ""


def _units(name: str, joint: Joint | None) -> tuple[str, ...]:
    position = joint.position if joint else None
    known = [
        unit
        for unit, size in (
            ("d", position and position.conductor_mm),
            ("D", position and position.overall_mm),
        )
        if size
    ]
    return {
        "length": ("mm", *known),
        "clearance": ("D", "d", "mm"),
    }.get(name, ("",))


def _sizes(joint: Joint | None) -> list[tuple[str, str]]:
    """Sizes that a scale can be taken from: the position's own wire, then bare wire by gauge."""
    wire = wire_of(joint)
    sizes = []
    for diameter, label in (
        (wire.conductor, _("conductor of this wire, ± %(half)s mm")),
        (wire.overall, _("this wire over its insulation, ± %(half)s mm")),
    ):
        if diameter is not None:
            sizes.append((f"{diameter.mm:.4g}", label % {"half": f"{diameter.half_mm:.2g}"}))
    for awg in GAUGES:
        mm = awg_diameter_mm(awg)
        said = {"gauge": awg, "half": f"{solid_tolerance_mm(mm):.2g}"}
        sizes.append((f"{mm:.4f}", _("solid wire AWG %(gauge)d, ± %(half)s mm") % said))
    return sizes


def joint_mark_words(datum: str) -> tuple[str, str]:
    """The mark that a clearance is measured to, by what the criterion measures it from."""
    return {
        "terminal": (_("Terminal"), _("Where the wire first touches the terminal.")),
        "solder": (_("Solder’s end"), _("Where the solder ends on the wire.")),
    }.get(
        datum,
        (
            _("Joint"),
            _("Where the wire first touches the terminal: the criterion does not say otherwise."),
        ),
    )


def kind_words(datum: str = "") -> dict[tuple[str, str], tuple[str, str]]:
    """For each quantity and kind of marks, its title and what to do.

    Parameters
    ----------
    datum : str
        What a criterion of insulation clearance measures from.
    """
    edge = (_("Edge"), _("Five or more along the fillet’s edge, from toe to top."))
    solder = (_("Solder"), _("One in the solder, well inside, near the arc’s middle."))
    return {
        ("scale", "ends"): (_("Known size"), _("Two across something of known size.")),
        ("length", "ends"): (_("Ends"), _("One at each end of the length.")),
        ("clearance", "insulation"): (_("Insulation"), _("Where the insulation ends.")),
        ("clearance", "joint"): joint_mark_words(datum),
        ("clearance", "across"): (
            _("Across the wire"),
            _("Two, one on each side: on the insulation behind its end, or on the conductor."),
        ),
        ("wrap", "post"): (
            _("Post"),
            _("Five or more where the wire lies against the post, along the wire’s inner edge."),
        ),
        ("wrap", "centre"): (
            _("Centre"),
            _(
                "Only if that edge is hidden: the centre of the post where the wire lies, "
                "not of its top."
            ),
        ),
        ("wrap", "start"): (_("Start"), _("Where the wire first touches the post.")),
        ("wrap", "end"): (_("End"), _("Where it last touches the post.")),
        ("fillet", "edge"): edge,
        ("fillet", "solder"): solder,
        ("wetting_angle", "edge"): edge,
        ("wetting_angle", "base"): (_("Base line"), _("Two along the surface it should wet.")),
        ("wetting_angle", "solder"): solder,
        ("fill", "bottom"): (_("Bottom"), _("The bottom of the barrel or the cup.")),
        ("fill", "top"): (_("Top"), _("Its top.")),
        ("fill", "level"): (_("Solder level"), _("How far the solder reaches.")),
    }


def _told(
    photo: Photo,
    joint: Joint | None,
    criterion: Criterion | None,
    name: str,
    said: Mapping[str, Any],
) -> dict[str, Any]:
    """What the page's script needs: the photograph, limits, scale, and the words it says."""
    conductor, overall = (wire := wire_of(joint)).conductor, wire.overall
    seen = photo_setups.view_of(photo)
    limits = [criterion.low, criterion.high] if criterion and name != "scale" else [None, None]
    scale = scale_of(photo)
    return {
        "quantity": name,
        "width": photo.upright_width,
        "height": photo.upright_height,
        "scale": scale and asdict(scale),
        "view": asdict(seen.view),
        "is_qualified": seen.is_qualified,
        "conductor_mm": conductor.mm if conductor else None,
        "overall_mm": overall.mm if overall else None,
        "conductor_u_mm": conductor.u_mm if conductor else 0,
        "overall_u_mm": overall.u_mm if overall else 0,
        "wires": [[wire.mm, wire.half_mm] for wire in known_wires(joint)],
        "shown_unknown_px": SHOWN_UNKNOWN_PX,
        "closest_px": least_mark_uncertainty_px(photo, float("inf")),
        "unit": said["unit"],
        "finders": finders(name),
        "find_url": reverse("assessments:photo_find_marks", args=[photo.key]),
        "limits": [_float(limit) for limit in limits],
        "judges": bool(criterion and name != "scale"),
        "refusals": {code: str(text) for code, text in REFUSALS.items()},
        "remarks": {code: str(text) for code, text in REMARKS.items()},
        "verdicts": {
            "within": _("within"),
            "outside": _("outside"),
            "too_close_to_call": _("too close to call:"),
        },
        "words": {
            "mark": _("%(kind)s %(n)s of %(all)s: x %(x)s, y %(y)s"),
            "no_tolerance": str(NO_TOLERANCE),
            "terms": {name: str(word) for name, word in TERMS.items()},
            "not_sent": _("No answer came, so this is not kept. Try again."),
            "looking": _("Looking for the edge …"),
            "not_looked": _("No answer came. Click once more, or set the marks by hand."),
            "found": _(
                "Found. Look at each mark, drag what lies wrong, then accept them: only then is "
                "anything kept."
            ),
        },
    }


def finders(quantity: str) -> dict[str, list[str]]:
    """For each kind of marks that can be found in the photograph, what to click in turn."""
    advice = {
        ("scale", "ends"): [_("Click on the wire, between its edges.")],
        ("clearance", "insulation"): [_("Click on the insulation, close to where it ends.")],
        ("clearance", "across"): [_("Click on the wire, between its edges.")],
        ("wrap", "post"): [_("Click on the edge of the post where the wire lies.")],
    } | {
        (name, "edge"): [_("Click at the toe of the fillet."), _("Now at its top.")]
        for name in ("fillet", "wetting_angle")
    }
    return {kind: words for (name, kind), words in advice.items() if name == quantity}


def _float(value: Any) -> float | None:
    return None if value is None else float(value)
