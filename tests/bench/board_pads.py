"""Boards with marks of the ground's shade at their rim, and with small notches: what is told from what.

Run as ``python tests/bench/board_pads.py [count] [first]``: so many boards of each kind, three of its
things at the rim of each; the finder was tuned on boards 0 to 9 of each kind.  Truth is the polygon that
was drawn: a mark is none of its sides, a notch is.  Boards that are refused, or off by more than is stated,
are shown.
"""

import sys
import time

import cv2
import numpy as np
import shapely
from board_edges import renderer
from shapely import affinity

from trimgeo.errors import JobError
from trimgeo.model.board import Picture
from trimgeo.vision.edge import find_outline

COVERAGE = 2.45  # of a standard uncertainty in one direction, 95 % in two (chi-square table)
MARKS = ("pad cut by the rim", "pad at the rim", "pad behind a strip", "ringed pad", "leg")
NOTCHES = ("half round", "castellated", "slot", "bitten hole", "keyhole")
KINDS = (*MARKS, *NOTCHES)
GROUNDS = {"paper": 232, "light lid": 214}
WIDE, HIGH = 44, 30


def disc(x, y, radius):
    return shapely.Point(x, y).buffer(radius, quad_segs=64)


def mark(kind, rng, light):
    """Areas with colours, at (0, 0) of a rim along y = 0 with the board above it."""
    radius = rng.uniform(0.6, 1.2)
    if kind == "pad cut by the rim":
        return [(disc(0, rng.uniform(0.0, 0.8) * radius, radius), light)]
    if kind == "pad at the rim":
        return [(disc(0, radius + rng.uniform(-0.1, 0.03), radius), light)]
    if kind == "pad behind a strip":
        return [(disc(0, radius + rng.uniform(0.05, 0.3), radius), light)]
    if kind == "ringed pad":
        at = rng.uniform(0.3, 1.0) * radius
        drilled = tuple(0.35 * v for v in light)
        return [(disc(0, at, radius), light), (disc(0, at, 0.45 * radius), drilled)]
    w, h = rng.uniform(0.6, 1.6), rng.uniform(0.6, 1.5)
    return [(shapely.box(-w / 2, -0.1, w / 2, h), light)]


def notch(kind, rng, metal):
    """What is cut out of the board there, and areas with colours round it."""
    radius = rng.uniform(0.5, 1.3)
    if kind == "half round":
        return disc(0, 0, radius), []
    if kind == "castellated":
        radius = rng.uniform(0.3, 0.6)
        at = rng.uniform(-0.1, 0.1)
        return disc(0, at, radius), [(disc(0, at, radius + 0.25), metal)]
    if kind == "slot":
        deep = radius + rng.uniform(0.5, 4)
        return shapely.box(-radius, -1, radius, deep - radius) | disc(0, deep - radius, radius), []
    if kind == "bitten hole":
        return disc(0, rng.uniform(0.2, 0.6) * radius, radius), []
    neck = rng.uniform(0.4, 0.6)  # half its width
    return disc(0, 2.5, 1.3) | shapely.box(-neck, -1, neck, 2), []


def places(rng):
    """Where on three of the four sides things are: middle and turn."""
    sides = rng.permutation(4)[:3]
    at = {
        0: (rng.uniform(8, WIDE - 8), 0, 0),
        1: (WIDE, rng.uniform(8, HIGH - 8), 90),
        2: (rng.uniform(8, WIDE - 8), HIGH, 180),
        3: (0, rng.uniform(8, HIGH - 8), 270),
    }
    return [at[int(side)] for side in sides]


def scene(boards, kind, seed):
    """A board with three things of a kind at its rim, on paper or on a scanner's lid."""
    rng = np.random.default_rng([KINDS.index(kind), seed])
    ground = list(GROUNDS)[seed % 3 == 2]
    board, marks, cut = shapely.box(0, 0, WIDE, HIGH), [], []
    metal = (boards.COPPER, boards.GOLD, boards.TIN)[rng.integers(3)]
    for x, y, turn in places(rng):

        def put(shape, x=x, y=y, turn=turn):
            return affinity.translate(affinity.rotate(shape, turn, origin=(0, 0)), x, y)

        tone = GROUNDS[ground] * (rng.uniform(0.72, 1.0) if ground == "paper" else rng.uniform(0.9, 1.0))
        light = tuple(tone * rng.uniform(0.98, 1.0, 3))
        hole, areas = (None, mark(kind, rng, light)) if kind in MARKS else notch(kind, rng, metal)
        marks += [(put(area), colour) for area, colour in areas]
        if hole is not None:
            cut.append(put(hole))
    board = board.difference(shapely.union_all(cut)) if cut else board
    spin = rng.uniform(-4, 4)
    board = shapely.geometry.polygon.orient(affinity.rotate(board, spin, origin=(0, 0)))
    eye = None
    if ground == "paper":
        eye = (WIDE / 2 + rng.uniform(-110, 110), HIGH / 2 + rng.uniform(-110, 110), rng.uniform(250, 400))
    return boards.Scene(
        board,
        per_mm=float(rng.uniform(8, 14)),
        margin=8,
        mask=("green", "blue", "red")[rng.integers(3)],
        background=ground,
        eye=eye,
        blur=float(rng.uniform(0.7, 1.4)),
        noise=float(rng.uniform(1, 3.5)),
        shadow=float(rng.uniform(-1.2, 1.2)) if eye else 0.0,
        quality=int(rng.integers(75, 96)),
        traces=10,
        marks=[(affinity.rotate(area, spin, origin=(0, 0)), colour) for area, colour in marks],
        seed=seed,
    )


def measured(boards, drawn, where):
    """Distance of the outline that is found from the truth, what is stated, mm, and what is said."""
    pixels, origin = boards.picture_of(drawn)
    seen = Picture(drawn.per_mm, origin, (pixels.shape[1], pixels.shape[0]), lambda: pixels)
    try:
        ring, pieces, _ = find_outline(seen, drawn.thickness, drawn.eye, where)
    except JobError as fault:
        return np.inf, np.inf, "refused: " + str(fault)[-150:]
    dense = [shapely.segmentize(shape.exterior, 0.05) for shape in (ring.polygon, drawn.board)]
    return shapely.hausdorff_distance(*dense), COVERAGE * pieces.spread, ""


def main() -> int:
    """Print a row for each kind; 1 where any board is off by more than is stated."""
    cv2.setNumThreads(1)
    boards, count = renderer(), int(sys.argv[1]) if len(sys.argv) > 1 else 10
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 100
    rows, began = {}, time.process_time()
    for kind in KINDS:
        rows[kind] = []
        for seed in range(first, first + count):
            error, stated, said = measured(boards, scene(boards, kind, seed), f"{kind} {seed}")
            rows[kind].append((error, stated))
            if said or error > stated:
                print(f"{kind:18} {seed:4} {error:8.3f} {stated:.3f} {said}", flush=True)
    print(f"{'':18} within refused wrong  median error, bound, most error")
    wrong = 0
    for kind, each in rows.items():
        errors, stated = np.array(each).T
        shown, bad = np.isfinite(errors), int((np.isfinite(errors) & (errors > stated)).sum())
        wrong += bad
        told = ""
        if shown.any():
            figures = (np.median(errors[shown]), np.median(stated[shown]), np.max(errors[shown]))
            told = ", ".join(f"{value:.3f}" for value in figures)
        print(f"{kind:18} {shown.sum() - bad:6} {(~shown).sum():7} {bad:5}  {told}")
    print(f"{(time.process_time() - began) / (count * len(KINDS)):.2f} s of processor time a board")
    return int(wrong > 0)


if __name__ == "__main__":
    sys.exit(main())
