"""Fewest cuts in thin random corridors: the outline's count against the proved bound.

    python tests/bench/corridors.py [count]

Each corridor is the room between a random star of 4 to 15 corners and the same star grown, whose walls
are jagged.
"""

from __future__ import annotations

import sys

import numpy as np
import shapely
from shapely import Polygon


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
