"""Write the table of measurements that the server and the browser must both agree with.

``python -m tests.assessments.measuring_cases`` writes it anew; tests compare, they never write.
Values of marks set by construction come from the construction, the others from the server.
"""

import json
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

import numpy as np

from assessments.domain.geometry import MarksRefused, Options, Quantity, Scale, View, measure
from tests.assessments.marks_placed import (
    BY_HAND,
    PLACED,
    UPRIGHT,
    Placed,
    cap,
    clearance,
    hollow,
    wrap,
    wrap_by_post,
)

TABLE = Path(__file__).parent.parent / "reference" / "measuring" / "cases.json"
SIGMAS = (0.5, 1.0, 2.5)


def load() -> list[dict[str, Any]]:
    return json.loads(TABLE.read_text())


def as_input(one: Placed, sigma: float) -> dict[str, Any]:
    return {
        "quantity": one.quantity.value,
        "marks": {name: [list(map(float, at)) for at in one.marks[name]] for name in one.marks},
        "sigma_px": sigma,
        "scale": one.scale and asdict(one.scale),
        "view": one.view and asdict(one.view),
        "options": {name: value for name, value in asdict(one.options).items() if value},
    }


def measured(case: dict[str, Any]) -> dict[str, Any]:
    """What the server makes of a case's input: the result, or the code of the refusal."""
    given = case["input"]
    try:
        read = measure(
            Quantity(given["quantity"]),
            given["marks"],
            sigma_px=given["sigma_px"],
            scale=Scale(**given["scale"]) if given["scale"] else None,
            options=Options(**given["options"]),
            view=View(**given["view"]) if given["view"] else None,
        )
    except MarksRefused as refused:
        return {"refused": refused.code}
    return {
        "value": read.value,
        "u": read.u,
        "unit": read.unit,
        "remarks": [remark.value for remark in read.remarks],
        "also": read.also,
        "terms": read.terms,
    }


def roughly(one: Placed, rng: np.random.Generator, sigma: float) -> Placed:
    """The same marks set by a hand that errs."""
    marks = {
        name: [tuple(at) for at in rng.normal(np.array(points, dtype=float), sigma).round(3)]
        for name, points in one.marks.items()
    }
    return Placed(f"{one.name}_by_hand", one.quantity, marks, float("nan"), one.options, one.scale)


def make() -> list[dict[str, Any]]:
    rng = np.random.default_rng(20)
    placed = [(one, SIGMAS[n % 3]) for n, one in enumerate(PLACED)]
    placed += [
        (replace(one, name=f"{one.name}_{seen}", value=float("nan"), view=view), SIGMAS[n % 3])
        for seen, view in (("by_hand", BY_HAND), ("upright", UPRIGHT))
        for n, one in enumerate(PLACED)
    ]
    placed += [(roughly(one, rng, 2.0), SIGMAS[n % 3]) for n, one in enumerate(PLACED * 3)]
    known = Options(conductor_mm=0.8, overall_mm=1.28, conductor_u_mm=0.012, overall_u_mm=0.06)
    unmarked = {name: wrap(80).marks[name] for name in ("start", "end")}
    few = unmarked | {"post": wrap_by_post(150).marks["post"][:4]}
    line = unmarked | {"post": [(10.0 * n, 20.0 * n) for n in range(6)]}
    edge, solder = hollow(90).marks["edge"], hollow(90).marks["solder"]
    far = Scale(0.08, 0.01)
    others: list[tuple[Quantity, dict[str, Any], Options, Scale | None]] = [
        (Quantity.FILLET, {"edge": edge[:4], "solder": solder}, Options(), None),
        (Quantity.FILLET, {"edge": [*edge, edge[1]], "solder": solder}, Options(), None),
        (Quantity.FILLET, {"edge": edge, "solder": [edge[3]]}, Options(), None),
        (
            Quantity.FILLET,
            {"edge": [(20, 10), (10, 10), (10, 0), (20, 0), (30, 30)], "solder": [(3.3, 77)]},
            Options(),
            None,
        ),
        (
            Quantity.WETTING_ANGLE,
            {"edge": edge, "solder": solder, "base": [(0, 900), (800, 900)]},
            Options(),
            None,
        ),
        (Quantity.LENGTH, {"ends": [(5, 5), (5, 5)]}, Options(), far),
        (Quantity.LENGTH, {"ends": [(5, 5), (9, 5)]}, Options(), None),
        (Quantity.LENGTH, {"ends": [(5, 5), (9e9, 5)]}, Options(), far),
        (Quantity.LENGTH, {"ends": [(5, 5), (50, 5)]}, Options(unit="d", conductor_mm=0.8), far),
        (Quantity.LENGTH, {"ends": [(5, 5), (50, 5)]}, Options(), Scale(0.02)),
        (Quantity.SCALE, {"ends": [(5, 5), (50, 5)]}, Options(), None),
        (Quantity.WRAP, wrap(80).marks, Options(full_turns=2), None),
        (Quantity.WRAP, wrap(80).marks, known, far),
        (Quantity.WRAP, wrap_by_post(45).marks, Options(), None),
        *((Quantity.WRAP, marks, Options(), None) for marks in (unmarked, few, line)),
        (Quantity.LENGTH, {"ends": [(5, 5), (50, 5)]}, replace(known, unit="D"), far),
        (Quantity.WRAP, wrap(359.2).marks, Options(), None),
        (Quantity.WRAP, wrap(0.7).marks, Options(full_turns=1), None),
        (Quantity.WETTING_ANGLE, cap(8).marks, Options(), None),
        *(
            (Quantity.CLEARANCE, clearance(1.3).marks, replace(known, unit=unit), far)
            for unit in ("d", "D", "mm", "px")
        ),
    ]  # fmt: skip
    placed += [
        (Placed(f"other_{n}", quantity, marks, float("nan"), options, scale), 1.0)
        for n, (quantity, marks, options, scale) in enumerate(others)
    ]
    cases = []
    for one, sigma in placed:
        case: dict[str, Any] = {"name": one.name, "input": as_input(one, sigma)}
        case["expected"] = measured(case)
        if not np.isnan(one.value):
            case["expected"]["value"] = one.value
        cases.append(case)
    return cases


if __name__ == "__main__":
    rows = [json.dumps(case, separators=(",", ":")) for case in make()]
    TABLE.write_text("[\n" + ",\n".join(rows) + "\n]\n")
