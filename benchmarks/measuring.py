"""What the stated uncertainty of measurements on photographs covers: coverage and false "within".

    .venv/bin/python -m benchmarks.measuring [--joints 500] [--pictures 10] [--only "wrap"]
        [--setup "by hand"]

Drawn joints are photographed by simulated cameras (`tests/assessments/simulated.py`) in three
photo set-ups, so many times each: anywhere within the set-up's bounds, and at all of its bounds at
once, leaning to eight sides in turn. Beside each quantity stands how often U = 2u covered the
truth; of things that lie just at a limit, how many are stated within it, at the worse side and
the worst of the eight; and how much wider U is than what would have covered 95 %. The peer is the
same uncertainty without the view, as if every picture were from exactly above.
"""

import argparse
import time

from tests.assessments import simulated
from tests.assessments.simulated import SETUPS, Tally, scenes, tallied

SIDES = tuple(range(0, 360, 45))
HEAD = (
    f"{'set-up':14} {'quantity':19} {'n':>5}  {'covered':>8} {'wider':>6}   "
    f"{'at bounds':>9} {'within':>7} {'wider':>6}   {'no view':>8} {'within':>7}   not proven"
)


def without_view(joints, bounds, pictures):
    """The same photographs with what was stated before the view had a term."""
    real = simulated.measure
    simulated.measure = lambda *args, **said: real(*args, **{**said, "view": None})
    try:
        return tallied(joints, bounds, pictures=pictures, seed=3, at_bound=True)
    finally:
        simulated.measure = real


def joined(tallies: list[Tally]) -> Tally:
    whole = Tally([], [])
    for tally in tallies:
        whole.errors += tally.errors
        whole.expanded += tally.expanded
        whole.unproven += tally.unproven
        whole.refused += tally.refused
    return whole


def line(setup: str, name: str, inside: Tally, sides: list[Tally], plain: Tally | None) -> str:
    at_bound = joined(sides)
    if not inside.errors or not at_bound.errors:
        return f"{setup:14} {name:19} {'none is proven':>14}"
    asked = len(inside.errors) + inside.unproven + inside.refused
    worst = max(side.false_within for side in sides if side.errors)
    before = (
        f"{plain.covered:8.1%} {plain.false_within:7.1%}" if plain and plain.errors else " " * 16
    )
    return (
        f"{setup:14} {name:19} {len(inside.errors):5}  {inside.covered:8.2%} {inside.wider:6.2f}   "
        f"{at_bound.covered:9.2%} {worst:7.2%} {at_bound.wider:6.2f}   {before}   "
        f"{(inside.unproven + inside.refused) / asked:.0%}"
    )


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--joints", type=int, default=500)
    options.add_argument("--pictures", type=int, default=10)
    options.add_argument("--only", default="")
    options.add_argument("--setup", choices=SETUPS)
    asked = options.parse_args()
    began = time.perf_counter()
    drawn = []
    for kind in ("turret", "hole"):
        for joint in scenes(kind, asked.joints):
            drawn.append([scene for scene in joint if asked.only in scene.name])
    print(f"{len(drawn)} joints drawn in {time.perf_counter() - began:.0f} s")
    print(HEAD)
    for setup, bounds in SETUPS.items():
        if asked.setup not in (None, setup):
            continue
        inside = tallied(drawn, bounds, pictures=asked.pictures, seed=1)
        each_side = max(asked.pictures // len(SIDES), 1)
        sides = [
            tallied(
                drawn, bounds, pictures=each_side, seed=2 + side, at_bound=True, towards_deg=side
            )
            for side in SIDES
        ]
        plain = without_view(drawn[:: max(len(drawn) // 200, 1)], bounds, asked.pictures)
        for name in inside:
            print(line(setup, name, inside[name], [side[name] for side in sides], plain.get(name)))
    print(f"in {time.perf_counter() - began:.0f} s")


if __name__ == "__main__":
    main()
