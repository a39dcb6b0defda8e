"""Necks of random parts against a fine raster (tests/plane/raster_necks.py).

    python tests/bench/necks.py [parts] [first seed] [width]

Missed: a neck narrower than the width by 0.1 mm that is not found or is off by over 0.05 mm.  False: one with
no body on one side, by 0.1 mm.  Every fault is printed.
"""

from __future__ import annotations

import importlib.util
import sys
import time
from pathlib import Path

import cv2
import numpy as np

from trimgeo.plane.necks import fingers, necks, slivers

_path = Path(__file__).parents[1] / "plane" / "raster_necks.py"
_spec = importlib.util.spec_from_file_location("raster_necks", _path)
judge = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(judge)


def main() -> None:
    """Print a table."""
    cv2.setNumThreads(1)
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 300
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    width = float(sys.argv[3]) if len(sys.argv) > 3 else 5.0
    found = pairs = bad = with_fingers = 0
    spent = []
    for seed in range(first, first + count):
        part = judge.random_part(seed)
        begun = time.process_time()
        thin = necks(part, width)
        strips = fingers(part, width)
        slivers(part)
        spent.append(1e3 * (time.process_time() - begun))
        wrong, judged = judge.faults(part, width, thin)
        if wrong:  # a raster takes the tips off sharp corners: look again, four times as closely
            wrong, judged = judge.faults(part, width, thin, pixel=0.005)
        found, pairs, bad = found + len(thin), pairs + judged, bad + bool(wrong)
        with_fingers += bool(strips)
        if wrong:
            print(f"seed {seed}: {', '.join(wrong)}")
    print(f"{count} parts, {found} necks, {pairs} pairs of bodies judged, {bad} parts with a fault")
    print(f"{with_fingers} parts with fingers; ms: median {np.median(spent):.1f}, worst {max(spent):.1f}")


if __name__ == "__main__":
    main()
