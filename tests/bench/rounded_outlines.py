"""Corners of built outlines put on a grid, judged by shapely alone (tests/plane/judged_rounding.py).

    python tests/bench/rounded_outlines.py [boards] [first seed] [step ...]

The boards are those of `boards_built`, the outlines the fewest cuts, the middle of the trade and its end.
Every fault is printed.
"""

from __future__ import annotations

import importlib.util
import sys
import time
from pathlib import Path

import numpy as np
from boards_built import board

from trimgeo.plane.annulus import annulus
from trimgeo.plane.grid import rounded_to
from trimgeo.plane.trade import smallest_for_each

_path = Path(__file__).parents[1] / "plane" / "judged_rounding.py"
_spec = importlib.util.spec_from_file_location("judged_rounding", _path)
judged = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(judged)


MANY = 12
"""Cuts up to which the time is told apart."""


def main() -> None:
    """Print a table."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    steps = [float(each) for each in sys.argv[3:]] or [0.1, 0.5, 1.0]
    totals = {step: np.zeros(4, dtype=int) for step in steps}
    costs: dict[float, list[float]] = {step: [] for step in steps}
    worst: dict[float, tuple[list[float], list[float]]] = {step: ([], []) for step in steps}
    bad: dict[float, int] = dict.fromkeys(steps, 0)
    for seed in range(first, first + count):
        kept, allowed, free = board(seed)
        found = list(smallest_for_each(annulus(kept, allowed, free), 12))
        for each in {
            0: found[0],
            len(found) // 2: found[len(found) // 2],
            len(found) - 1: found[-1],
        }.values():
            for step in steps:
                begun = time.process_time()
                rounded = rounded_to(each.outline, kept, allowed, free, step)
                spent = 1e3 * (time.process_time() - begun)
                worst[step][each.cuts > MANY].append(spent)
                wrong = judged.faults(each.outline, rounded, kept, allowed, free, step)
                if wrong:
                    print(f"seed {seed}, {each.cuts} cuts, step {step}: {', '.join(wrong)}")
                bad[step] += bool(wrong)
                sides = judged.sides_of(rounded, allowed, free)
                totals[step] += judged.on_grid(sides, allowed, free, step)
                length = np.hypot(*(np.roll(sides.corners, -1, axis=0) - sides.corners)[sides.cut].T).sum()
                if length > 0:
                    costs[step].append((rounded.area - each.outline.area) / (length * step))
    print("step  outlines  faulty  corners on grid    ends on grid     area / (cuts x step)   ms to 12, more")
    for step in steps:
        a, b, c, d = totals[step]
        cost, (few, many) = np.array(costs[step]), worst[step]
        print(
            f"{step:4.2f}  {len(few) + len(many):8d}  {bad[step]:6d}  {b:5d} of {a:5d} {b / max(a, 1):4.0%}  "
            f"{d:4d} of {c:4d} {d / max(c, 1):4.0%}  mean {cost.mean():.2f}, worst {cost.max():.2f}  "
            f"median {np.median(few):.0f}, worst {max(few):.0f}; worst {max(many, default=0):.0f}"
        )


if __name__ == "__main__":
    main()
