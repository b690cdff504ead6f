"""Write the table of joint states that the server and the browser must both agree with.

``python -m tests.assessments.joint_state_cases`` writes it anew; tests compare, they never write.
Every combination of few criteria stands in it, with what follows from the rules as they are
written here.
"""

import json
from itertools import product
from pathlib import Path
from typing import Any

TABLE = Path(__file__).parent.parent / "reference" / "joint_states" / "cases.json"

# By code: how severe, and whether it is measured.
CRITERIA = {
    "C-1": ("critical", False),
    "J-1": ("major", False),
    "J-2": ("major", True),
    "N-1": ("minor", False),
}
OUTCOMES = (None, "accept", "reject", "not_applicable")
SETS = (["C-1", "J-1", "J-2"], ["J-1", "N-1"], ["C-1", "N-1"], ["N-1"])


def load() -> list[dict[str, Any]]:
    return json.loads(TABLE.read_text())


def expected_state(codes: list[str], judged: dict[str, str], *, spare: bool) -> str:
    if spare and not judged:
        return "not_applicable"
    if set(judged) != set(codes):
        return "open"
    rejected = {CRITERIA[code][0] for code, outcome in judged.items() if outcome == "reject"}
    if rejected & {"critical", "major"}:
        return "rejected"
    return "accepted_with_remarks" if rejected else "accepted"


def make() -> list[dict[str, Any]]:
    cases = []
    for codes, spare in product(SETS, (False, True)):
        for outcomes in product(OUTCOMES, repeat=len(codes)):
            judged = {code: said for code, said in zip(codes, outcomes, strict=True) if said}
            shown = codes[len(judged) % len(codes)]
            unseen = {code for code in ("J-1", "N-1") if code in codes}
            seen = {shown} - {"J-2"}  # What is measured is never accepted by a key alone.
            cases.append(
                {
                    "codes": codes,
                    "spare": spare,
                    "judged": judged,
                    "shown": shown,
                    "state": expected_state(codes, judged, spare=spare),
                    "accepted": sorted((unseen | seen) - set(judged)),
                }
            )
    return cases


if __name__ == "__main__":
    rows = [json.dumps(case, separators=(",", ":")) for case in make()]
    TABLE.parent.mkdir(parents=True, exist_ok=True)
    TABLE.write_text("[\n" + ",\n".join(rows) + "\n]\n")
