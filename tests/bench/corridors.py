"""Fewest cuts in thin random corridors: the outline's count against the proved bound.

    python tests/bench/corridors.py [count]

Each corridor is the room between a random star of 4 to 15 corners and the same star grown, whose walls
are jagged.
"""

from __future__ import annotations

import sys
import time

import numpy as np
import shapely
from shapely import Polygon

from trimgeo.plane.annulus import annulus
from trimgeo.plane.fewest import fewest_in


def corridor(seed: int) -> tuple[Polygon, Polygon]:
    """What is kept, and what is allowed: a star and jagged walls a little way outside it."""
    draw = np.random.RandomState(seed)
    while True:
        corners = draw.randint(4, 16)
        angle = np.sort(draw.uniform(0, 2 * np.pi, corners))
        if np.max(np.diff(np.append(angle, angle[0] + 2 * np.pi))) > 0.9 * np.pi:
            continue
        radius = draw.uniform(15, 60, corners)
        star = Polygon(radius[:, None] * np.column_stack([np.cos(angle), np.sin(angle)]))
        width = draw.uniform(1, 6)
        kept = jagged(draw, star, 0.3 * width)
        allowed = jagged(draw, star.buffer(width, join_style="mitre", mitre_limit=2), 0.3 * width)
        if kept.is_valid and allowed.is_valid and allowed.contains(kept.buffer(0.05 * width)):
            return kept, allowed


def jagged(draw: np.random.RandomState, shape: Polygon, depth: float) -> Polygon:
    """The ring with more corners, each moved by up to ``depth``."""
    line = shapely.segmentize(shape.exterior, draw.uniform(4, 15))
    corners = shapely.get_coordinates(line)[:-1]
    return Polygon(corners + draw.uniform(-depth, depth, corners.shape))


def main() -> None:
    """Print a line for each corridor that is not proved or not sound, and the counts."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    proved = faulty = 0
    seconds: list[float] = []
    for seed in range(count):
        kept, allowed = corridor(seed)
        begun = time.perf_counter()
        found = fewest_in(annulus(kept, allowed, np.zeros(len(allowed.exterior.coords) - 1, dtype=bool)))
        seconds.append(time.perf_counter() - begun)
        outline = found.outline
        sound = outline.is_valid and len(outline.exterior.coords) - 1 == found.count
        sound &= outline.buffer(1e-4, join_style="mitre").covers(kept)
        sound &= allowed.buffer(1e-4, join_style="mitre").covers(outline)
        proved += found.count == found.proved
        faulty += not sound
        if found.count != found.proved or not sound:
            print(f"corridor {seed}: {found.count} cuts, proved {found.proved}, sound {sound}")
    print(f"corridors {count}  fewest proved {proved}  not sound {faulty}")
    print(f"seconds: median {np.median(seconds):.3f}  most {np.max(seconds):.3f}")


if __name__ == "__main__":
    main()
