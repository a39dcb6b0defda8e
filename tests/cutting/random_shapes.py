"""Random boards and outlines that the tests of the cut share."""

from __future__ import annotations

import numpy as np
from shapely import Polygon, affinity, box


def random_case(seed: int) -> tuple[Polygon, Polygon]:
    """Part of a star, and a board with up to three cut-outs in its edge that it lies on."""
    rng = np.random.default_rng(seed)
    board = box(0, 0, *rng.uniform((60, 50), (120, 90)))
    for _ in range(rng.integers(0, 4)):
        (x, y), (width, height) = rng.uniform(0, (110, 80)), rng.uniform(3, 30, 2)
        less = board.difference(
            affinity.rotate(box(x, y, x + width, y + height), float(rng.choice([0, 30, 45])))
        )
        board = less if less.geom_type == "Polygon" and not less.interiors else board
    return _part_of_a_star(rng, board, 60.0), board


def random_part(seed: int, board: Polygon) -> Polygon:
    """Part of a star that lies on the board, in one piece."""
    return _part_of_a_star(np.random.default_rng(seed), board, 50.0)


def _part_of_a_star(rng: np.random.Generator, board: Polygon, furthest: float) -> Polygon:
    while True:
        corners = int(rng.integers(3, 9))
        angle, radius = np.sort(rng.uniform(0, 2 * np.pi, corners)), rng.uniform(8, 80, corners)
        centre = rng.uniform(20, furthest, 2)
        star = Polygon(centre + np.column_stack([radius * np.cos(angle), radius * np.sin(angle)]))
        if star.is_valid:
            part = star.intersection(board)
            if part.geom_type == "Polygon" and part.area > 200 and not part.interiors:
                return part
