"""Edges of boards drawn by chance against the polygons that were drawn: Hausdorff distance, mm.

Run as ``python tests/bench/board_edges.py [count]``.
"""

from __future__ import annotations

import importlib.util
import sys
import time
from pathlib import Path

import cv2
import numpy as np
import shapely

from trimgeo.errors import JobError
from trimgeo.model.board import Picture
from trimgeo.vision.edge import find_outline

BOUND = 0.2
COVERAGE = 2.45  # of a standard uncertainty in one direction, 95 % in two (chi-square table)
GROUNDS = ("paper", "card", "light lid", "dark lid", "table")


def renderer():
    path = Path(__file__).parents[1] / "vision" / "boards_seen.py"
    spec = importlib.util.spec_from_file_location("boards_seen", path)
    module = importlib.util.module_from_spec(spec)
    sys.modules["boards_seen"] = module
    spec.loader.exec_module(module)
    return module


def scene(boards, seed):
    """A board with notches, tabs and rounded corners, on a ground of another colour, seen from aside."""
    rng = np.random.default_rng(1000 + seed)
    board = boards.random_board(rng)
    x0, y0, x1, y1 = board.bounds
    ground = GROUNDS[seed % len(GROUNDS)]
    masks = [m for m in boards.MASKS if not (m == "white" and ground in ("paper", "card", "light lid"))]
    masks = [m for m in masks if not (m == "black" and ground in ("card", "dark lid"))]
    eye = None
    if "lid" not in ground:
        eye = (*(np.array([(x0 + x1) / 2, (y0 + y1) / 2]) + rng.uniform(-120, 120, 2)), rng.uniform(250, 450))
    return boards.Scene(
        board,
        per_mm=float(rng.uniform(8, 16)),
        mask=masks[rng.integers(len(masks))],
        background=ground,
        eye=eye,
        blur=float(rng.uniform(0.7, 1.5)),
        noise=float(rng.uniform(1, 4)),
        shadow=float(rng.uniform(-1.5, 1.5)) if eye else 0.0,
        quality=int(rng.integers(75, 96)),
        parts=12,
        traces=30,
        seed=seed,
    )


def main() -> int:
    """Print boards off by more than is stated, and the figures; 1 where fewer than 95 % keep the bound."""
    cv2.setNumThreads(1)
    boards, count = renderer(), int(sys.argv[1]) if len(sys.argv) > 1 else 100
    rows, took = [], 0.0
    for seed in range(count):
        drawn = scene(boards, seed)
        pixels, origin = boards.picture_of(drawn)
        seen = Picture(drawn.per_mm, origin, (pixels.shape[1], pixels.shape[0]), lambda p=pixels: p)
        began = time.perf_counter()
        said = ""
        try:
            ring, pieces, _ = find_outline(seen, drawn.thickness, drawn.eye, str(seed))
            found, stated = ring.polygon, COVERAGE * pieces.spread
            dense = [shapely.segmentize(shape.exterior, 0.05) for shape in (found, drawn.board)]
            error = shapely.hausdorff_distance(*dense)
        except JobError as fault:
            error, stated, said = np.inf, np.inf, "refused: " + str(fault)[:60]
        took += time.perf_counter() - began
        rows.append((GROUNDS.index(drawn.background), error, stated))
        if error > stated or said:
            print(
                f"{seed:4} {drawn.mask:8} {drawn.background:10} {error:8.3f} {stated:.3f} {said}", flush=True
            )
    return figures(np.array(rows), took)


def figures(rows, took) -> int:
    count, errors = len(rows), rows[:, 1]
    for n, ground in enumerate(GROUNDS):
        part = rows[rows[:, 0] == n]
        shown = part[np.isfinite(part[:, 1])]
        if len(shown):
            middle, most = np.percentile(shown[:, 1], [50, 95])
            near, covered = np.mean(shown[:, 1] <= BOUND), np.mean(shown[:, 1] <= shown[:, 2])
            print(
                f"{ground:10} {len(part) - len(shown)} of {len(part)} refused; median {middle:.3f},", end=" "
            )
            print(f"95 % {most:.3f}, within {BOUND} mm {near:.0%}, within the stated bound {covered:.0%}")
    inside = int((errors <= BOUND).sum())
    print(f"{inside} of {count} within {BOUND} mm; {int(np.isinf(errors).sum())} refused")
    print(
        f"median {np.median(errors):.3f}, 95th percentile {np.percentile(errors, 95, method='lower'):.3f} mm"
    )
    print(f"{took / count:.2f} s a board, holes apart")
    return int(inside < 0.95 * count)


if __name__ == "__main__":
    sys.exit(main())
