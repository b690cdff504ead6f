"""The wires that the exercises use.

Conductor diameters are worked out from the gauge of the strands. Overall diameters are
approximate and recalled, not read: put in what the caliper says.
"""

from decimal import Decimal

from training.domain.wire import stranded_diameter_mm

from . import Wire

FROM_MEMORY = "Overall diameter approximate, from memory: measure the wire you use."
BARE_LEAD = "A bare lead; clearance to insulation does not apply."


def _wire(
    awg: int,
    strands: int,
    strand_awg: int,
    overall_mm: str | None = None,
    insulation: str = "",
) -> Wire:
    conductor = Decimal(f"{stranded_diameter_mm(strands, strand_awg):.3f}")
    return Wire(
        awg=awg,
        stranding=f"{strands}/{strand_awg}" if strands > 1 else "solid",
        conductor_mm=conductor,
        overall_mm=Decimal(overall_mm) if overall_mm else None,
        insulation=insulation,
        note=FROM_MEMORY if overall_mm else BARE_LEAD,
    )


AWG_24_ETFE = _wire(24, 19, 36, "1.14", "ETFE")
AWG_22_ETFE = _wire(22, 19, 34, "1.27", "ETFE")
AWG_20_ETFE = _wire(20, 19, 32, "1.47", "ETFE")
AWG_22_PTFE = _wire(22, 19, 34, "1.27", "PTFE")
AWG_20_PTFE = _wire(20, 19, 32, "1.47", "PTFE")
LEAD_22 = _wire(22, 1, 22)
LEAD_24 = _wire(24, 1, 24)

WIRES = (AWG_24_ETFE, AWG_22_ETFE, AWG_20_ETFE, AWG_22_PTFE, AWG_20_PTFE, LEAD_22, LEAD_24)
