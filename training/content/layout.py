"""Rows of positions alike, and the scopes that joints are credited to."""

from . import PositionContent, Wire

TERMINALS = "TERM-OP"
CUPS = "CUP-OP"
HOLES = "HOLE-OP"
WIRES = "WIRE-OP"

ONE_TO_TWO = "one overall diameter, at most two; none of it in the solder"
NO_CLEARANCE = "none asked for: a bare lead"


def positions(
    count: int,
    joint_type: str,
    wire: Wire,
    scope: str,
    *,
    first: int = 1,
    spare: int = 0,
    wires: int = 1,
    forming: str,
    clearance: str = ONE_TO_TWO,
) -> tuple[PositionContent, ...]:
    """Give positions alike, E01 and on; the last `spare` of them are not required."""
    return tuple(
        PositionContent(
            name=f"E{first + index:02d}",
            joint_type=joint_type,
            wire=wire,
            scope_code=scope,
            forming=forming,
            clearance=clearance,
            wires=wires,
            required=index < count - spare,
        )
        for index in range(count)
    )
