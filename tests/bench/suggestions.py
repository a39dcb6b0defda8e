"""How many bodies on drawn boards are suggested: python tests/bench/suggestions.py [count [first]].

Boards 0 to 59 were tuned on, and confidences fitted; those from 100 on judge.
"""

from __future__ import annotations

import importlib.util
import sys
import time
from pathlib import Path

import cv2
import shapely

from trimgeo.model.board import Picture
from trimgeo.plane.leaning import feet_of
from trimgeo.vision.suggest import suggest

NAME = "populated"
spec = importlib.util.spec_from_file_location(NAME, Path(__file__).parents[1] / "vision" / f"{NAME}.py")
populated = importlib.util.module_from_spec(spec)
sys.modules[NAME] = populated
spec.loader.exec_module(populated)


def judged(board):
    """Best overlap of each body, of each proposal, and how far feet are off; seconds; the proposals."""
    picture = Picture(board.pixels_per_mm, board.origin, board.pixels.shape[1::-1], lambda: board.pixels)
    start = time.perf_counter()
    found = [each for each in suggest(picture, board.edge, board.eye, "top") if each.kind == "component"]
    seconds = time.perf_counter() - start
    share = [
        [each.shape.intersection(body.top).area / each.shape.union(body.top).area for each in found]
        for body in board.bodies
    ]
    feet = []
    for body, row in zip(board.bodies, share, strict=True):
        if board.eye is not None and row and max(row) >= 0.8:
            top = found[row.index(max(row))].shape
            foot = shapely.transform(top, lambda xy, high=body.height: feet_of(xy, board.eye, high))
            rings = [shapely.segmentize(shape.exterior, 0.1) for shape in (foot, body.foot)]
            feet.append((body.kind, shapely.hausdorff_distance(*rings)))
    return (
        [max(row, default=0.0) for row in share],
        [max(c) for c in zip(*share, strict=True)],
        feet,
        seconds,
        found,
    )


def reliability(sure):
    """Of the proposals of each confidence, the share that is right."""
    print("confidence  proposals  mean   right")
    for low, high in ((0.5, 0.7), (0.7, 0.8), (0.8, 0.9), (0.9, 0.96), (0.96, 1.01)):
        within = [each for each in sure if low <= each[0] < high]
        if within:
            mean, right = (sum(column) / len(within) for column in zip(*within, strict=True))
            print(f"{low:.2f} to {min(high, 1):.2f}  {len(within):8d}   {mean:.2f}   {right:.2f}")


def main(count: int = 20, first: int = 100) -> None:
    cv2.setNumThreads(1)
    bodies = proposals = hit = false = stray = 0
    missed: dict[str, int] = {}
    feet, sure = [], []
    for seed in range(first, first + count):
        board = populated.populated_board(seed)
        each, theirs, more, seconds, proposed = judged(board)
        bodies, proposals = bodies + len(each), proposals + len(theirs)
        hit += sum(share >= 0.8 for share in each)
        false += sum(share < 0.8 for share in theirs)
        stray += sum(share < 0.1 for share in theirs)
        feet += more
        sure += [(p.confidence, share >= 0.8) for p, share in zip(proposed, theirs, strict=True)]
        for body, share in zip(board.bodies, each, strict=True):
            if share < 0.8:
                missed[body.kind] = missed.get(body.kind, 0) + 1
        for p, share in zip(proposed, theirs, strict=True):
            if share < 0.8 and "-v" in sys.argv:
                x, y = p.centre
                told = [round(v, 1) for v in (x, y, p.shape.area**0.5, p.confidence, share)]
                print("    false:", told, "round" if p.circle else len(p.polygon.exterior.coords))
        good = sum(share >= 0.8 for share in each)
        print(
            f"{seed:3d} {good:3d} of {len(each)} found, {len(theirs)} proposed, "
            f"{sum(s < 0.8 for s in theirs)} false, {seconds:.1f} s  {board.told}",
            flush=True,
        )
    reliability(sure)
    print(f"{100 * hit / bodies:.1f} % of {bodies} bodies found with overlap 0.8; missed: {missed}")
    print(
        f"{100 * false / max(1, proposals):.1f} % of {proposals} proposals overlap no body by 0.8, "
        f"{100 * stray / max(1, proposals):.1f} % lie on nothing"
    )
    if feet:
        far = sorted(far for _, far in feet)
        print(
            f"feet of {len(far)} leaning bodies: median {far[len(far) // 2]:.2f} mm off, "
            f"95 % within {far[int(0.95 * (len(far) - 1))]:.2f} mm, the worst {far[-1]:.2f} mm"
        )


if __name__ == "__main__":
    main(*(int(a) for a in sys.argv[1:] if a != "-v"))
