"""Drawings made from a limit: a wrap, a clearance, a stripped length, as lines on 160 by 120.

In the shapes and inks of the drawings that come along.
"""

import math
from collections.abc import Iterable

INK, THIN, METAL, SOLDER = "#22272a", "#5d6469", "#e4e2da", "#b9bdbf"
EDGE, COPPER, INSULATION = "#8a4319", "#d8a27d", "#fbfaf7"
FACE = "Helvetica Neue, Segoe UI, Roboto, Liberation Sans, Arial, sans-serif"
POST = (100.0, 60.0)


def drawn_wrap(angle_deg: float, text: str, *, accept: bool) -> str:
    """A turret post from above with a wire wrapped so far round it.

    Parameters
    ----------
    angle_deg : float
        From the top of the post clockwise; from 345° on the ends would meet, and the drawing
        shows as much and says the rest.
    text : str
        The figure, as it is written.
    """
    shown = min(max(angle_deg, 10.0), 345.0)
    end = _on_post(22, shown)
    large = int(shown > 180)
    wire = f"M40 38H100A22 22 0 {large} 1 {end[0]:.1f} {end[1]:.1f}"
    mark = _on_post(49, shown)
    inner, outer = _on_post(38, shown), _on_post(54, shown)
    return _whole(
        [
            _path("d-centre", "M100 10V110M46 60H154", stroke=THIN, width=".7", dashes="9 2 1.5 2"),
            _circle("d-metal", 100, 60, 38, fill=METAL),
            _path("d-wire-edge", wire, stroke=EDGE, width="14"),
            _path("d-wire", wire, stroke=COPPER, width="11.4"),
            _path("d-strand", wire, stroke=EDGE, width=".8"),
            _circle("d-metal", 100, 60, 15, fill=METAL),
            _path("d-insulation", "M0 27H46V49H0", fill=INSULATION, stroke=INK, width="1.6"),
            _path(
                "d-thin",
                f"M100 20V8M{inner[0]:.1f} {inner[1]:.1f}L{outer[0]:.1f} {outer[1]:.1f}",
                stroke=THIN,
                width=".8",
            ),
            _path(
                "d-thin",
                f"M100 11A49 49 0 {large} 1 {mark[0]:.1f} {mark[1]:.1f}",
                stroke=THIN,
                width=".8",
            ),
            _text(156, 116, text, "end"),
        ],
        accept=accept,
    )


def _on_post(radius: float, angle_deg: float) -> tuple[float, float]:
    turn = math.radians(angle_deg)
    return POST[0] + radius * math.sin(turn), POST[1] - radius * math.cos(turn)


def drawn_clearance(share: float, text: str, *, accept: bool) -> str:
    """A joint from the side with a gap between it and the insulation.

    Parameters
    ----------
    share : float
        The gap in overall diameters, as far as it can be drawn; below 0 the insulation is in
        the solder.
    """
    gap = min(max(share, -0.8), 3.4) * 26
    edge = 112 - gap
    return _whole(
        [
            _path("d-wire-edge", "M4 62H124", stroke=EDGE, width="14"),
            _path("d-wire", "M4 62H124", stroke=COPPER, width="11.4"),
            _path(
                "d-solder",
                "M104 55Q112 52 112 32H128V92H112Q112 72 104 69Z",
                fill=SOLDER,
                stroke=INK,
                width="1.6",
            ),
            _path(
                "d-insulation",
                f"M0 49H{edge:.1f}V75H0",
                fill=INSULATION,
                stroke=INK,
                width="1.6",
            ),
            _path("d-metal", "M112 16H146V108H112Z", fill=METAL, stroke=INK, width="1.6"),
            _path("d-thin", f"M{edge:.1f} 47V22M112 16V10", stroke=THIN, width=".8"),
            _path("d-thin", f"M{edge:.1f} 26H112", stroke=THIN, width=".8"),
            _text(max((edge + 112) / 2, 24), 20, text, "middle"),
        ],
        accept=accept,
    )


def drawn_strip(share: float, text: str, *, accept: bool) -> str:
    """A stripped wire with its bare length.

    Parameters
    ----------
    share : float
        The bare length against the most that the drawing has room for.
    """
    end = 42 + min(max(share, 0.08), 1.0) * 108
    return _whole(
        [
            *(
                _path(
                    "d-wire-shape",
                    f"M34 {top}H{end - 1:.1f}Q{end + 2:.1f} {top + 4} {end - 1:.1f} {top + 8}H34Z",
                    fill=COPPER,
                    stroke=EDGE,
                    width="1.3",
                )
                for top in (40, 48, 56, 64, 72)
            ),
            _path("d-insulation", "M0 34H42V86H0", fill=INSULATION, stroke=INK, width="1.6"),
            _path(
                "d-thin", f"M42 90V106M{end:.1f} 84V106M42 102H{end:.1f}", stroke=THIN, width=".8"
            ),
            _text((42 + end) / 2, 98, text, "middle"),
        ],
        accept=accept,
    )


def inside(low: float | None, high: float | None) -> float:
    """A value well inside limits, to be drawn as acceptable.

    Examples
    --------
    >>> inside(90, 200), inside(180, None), inside(None, 2)
    (145.0, 225.0, 1.0)
    """
    if low is not None and high is not None:
        return (low + high) / 2
    if low is not None:
        return low * 1.25 if low else 1.0
    return (high or 0.0) / 2


def outside(low: float | None, high: float | None) -> float:
    """A value well outside limits: below the lower one where there is room, else beyond the upper.

    Examples
    --------
    >>> outside(90, 200), outside(0, 2)
    (54.0, 3.0)
    """
    if low is not None and low > 0:
        return low * 0.6
    if high is not None:
        return high * 1.5 if high > 0 else 1.0
    return (low or 0.0) - 0.5


def _whole(parts: Iterable[str], *, accept: bool) -> str:
    mark = (
        '<circle class="d-accept" cx="12" cy="109" r="5" fill="#17634f"/>'
        if accept
        else '<path class="d-reject" d="M7.5 104.5l9 9m0-9l-9 9" fill="none" stroke="#9f1c36"'
        ' stroke-width="2.8"/>'
    )
    return "".join(parts) + mark


def _path(
    kind: str, line: str, *, stroke: str, width: str, fill: str = "none", dashes: str = ""
) -> str:
    dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
    return (
        f'<path class="{kind}" d="{line}" fill="{fill}" stroke="{stroke}"'
        f' stroke-width="{width}" stroke-linejoin="round"{dashed}/>'
    )


def _circle(kind: str, x: float, y: float, radius: float, *, fill: str) -> str:
    return (
        f'<circle class="{kind}" cx="{x:g}" cy="{y:g}" r="{radius:g}" fill="{fill}"'
        f' stroke="{INK}" stroke-width="1.6"/>'
    )


def _text(x: float, y: float, text: str, anchor: str) -> str:
    return (
        f'<text class="d-text" x="{x:.1f}" y="{y:g}" text-anchor="{anchor}" font-family="{FACE}"'
        f' font-size="10.5" fill="{INK}">{text}</text>'
    )
