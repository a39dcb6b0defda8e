"""Random inside corners against solids moved along the cut: ``inside_corners.py [COUNT] [FIRST]``.
[FIRST]``.

The waste opens by 30 to 170 degrees; wheels and bits of random sizes cut boards of random thickness.  A
wheel's stop mark and what it leaves on both faces, and what a bit leaves of the corner, are compared with
the solids of tests/cutting/swept_solids.py, which are sampled point by point.  A miss is more than 0.02 mm.
"""

import importlib.util
import sys
from pathlib import Path

import numpy as np

from trimgeo.cutting.corners import corners
from trimgeo.cutting.edges import chains, new_edges
from trimgeo.model.board import Ring
from trimgeo.model.job import Cutter, Finish

LIMIT = 0.02


def load():
    path = Path(__file__).parents[1] / "cutting" / "swept_solids.py"
    spec = importlib.util.spec_from_file_location("swept_solids", path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def inside_corner(solids, waste, cutter, sanding, thickness):
    """The one inside corner of a part that fills the board but for a wedge."""
    board, part = solids.wedge(waste)
    part, board = Ring(part), Ring(board)
    cuts = new_edges(part, board)
    found = corners(cuts, chains(cuts, part), cutter, Finish(sanding=sanding), thickness, board)
    (corner,) = [one for one in found if one.inside]
    return corner


def differences(solids, seed):
    """What ours and the solids differ by, mm: stop, left on near and far face, corner of the bit."""
    rng = np.random.default_rng(seed)
    waste, thickness, sanding = rng.uniform(30, 170), rng.uniform(0.8, 3.2), rng.uniform(0.1, 0.8)
    beyond, kerf, diameter = rng.uniform(0, 1), rng.uniform(0.4, 2), rng.uniform(15, 80)
    wheel = Cutter(kind="wheel", kerf=kerf, diameter=diameter, breakthrough=beyond)
    corner = inside_corner(solids, waste, wheel, sanding, thickness)
    points = solids.wheel_points(diameter / 2, thickness, beyond, kerf)
    stop = solids.furthest_axle(points, waste)
    left = [solids.left_uncut(points, stop, depth) for depth in (0.0, thickness)]
    drill = rng.uniform(0.8, 4)
    bit = inside_corner(solids, waste, Cutter(kind="bit", kerf=drill, diameter=drill), sanding, thickness)
    away = bit.fillet * (1 / np.sin(np.radians(waste) / 2) - 1)
    return (
        corner.stop_short - stop,
        corner.left[0] - left[0],
        corner.left[1] - left[1],
        away - solids.rounded_corner(waste, drill / 2, sanding),
    )


def main(count=300, first=0):
    solids = load()
    found = np.array([differences(solids, seed) for seed in range(first, first + count)])
    print(f"{count} inside corners of 30 to 170 degrees of waste, differences in mm")
    print(f"{'':24} {'median':>9} {'worst':>9} {'misses':>7}")
    names = ("stop mark", "left on the near face", "left on the far face", "corner that a bit leaves")
    for name, column in zip(names, np.abs(found).T, strict=True):
        print(f"{name:24} {np.median(column):9.5f} {column.max():9.5f} {np.sum(column > LIMIT):7}")
    return int(np.any(np.abs(found) > LIMIT))


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:3])))
