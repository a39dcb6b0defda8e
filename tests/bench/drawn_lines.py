"""How well drawn lines of known place are found: python tests/bench/drawn_lines.py [count [first]].

A refusal counts as a corner missed for each corner of its board: shown beside the share of the answered.
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
from trimgeo.vision.line import find_line

NAME = "drawn_boards"
spec = importlib.util.spec_from_file_location(NAME, Path(__file__).parents[1] / "vision" / f"{NAME}.py")
boards = importlib.util.module_from_spec(spec)
sys.modules[NAME] = boards
spec.loader.exec_module(boards)

BOUND = 0.1  # mm; stands in for the bound of the view, which these pictures do not have
ALLOWED = BOUND + 0.1


def judged(scene, near):
    """(IoU, largest corner error, largest stray of a drawn stretch) or the sentence of a refusal."""
    picture = Picture(scene.pixels_per_mm, scene.origin, scene.pixels.shape[1::-1], lambda: scene.pixels)
    try:
        found = find_line(picture, scene.edge, scene.keep, near, "middle", "job.toml, [outline]")
    except JobError as refusal:
        return str(refusal)
    union = found.ring.union(scene.ring).area
    at = shapely.points(shapely.get_coordinates(found.ring.exterior))
    tree = shapely.STRtree(at)
    corners = shapely.points(scene.corners)
    near_corner = [
        tree.geometries[n].distance(c) for n, c in zip(tree.nearest(corners), corners, strict=True)
    ]
    stray = 0.0
    if not scene.free.is_empty:
        path = np.array([])
        for line in scene.free.geoms:
            more = shapely.line_interpolate_point(line, np.arange(0, line.length, 0.2))
            path = np.concatenate([path, more])
        stray = float(np.quantile(shapely.distance(path, found.ring.exterior), 0.95))
    return found.ring.intersection(scene.ring).area / union, max(near_corner), stray, near_corner, found


def main(count: int, first: int = 0) -> None:
    cv2.setNumThreads(1)
    alone = guided = refused = wrong = 0
    corners, strays, seconds, stated, covered, lost = [], [], [], [], [], 0
    for seed in range(first, first + count):
        scene = boards.drawn_board(seed)
        start = time.process_time()
        told, result = "alone", judged(scene, None)
        why = result if isinstance(result, str) else ""
        if why:
            told, result = "near", judged(scene, scene.near)
        seconds.append(time.process_time() - start)
        if isinstance(result, str):
            refused, lost = refused + 1, lost + len(scene.corners)
            print(f"{seed:4d} REFUSED  {scene.told}: {why[20:90]} / {result[20:90]}")
            continue
        alone, guided = alone + (told == "alone"), guided + (told == "near")
        share, worst, stray, each, found = result
        stated.append(found.uncertainty)
        covered.append(worst <= 2.45 * found.uncertainty and stray <= 2 * found.uncertainty)
        wrong += share < 0.95
        corners += each
        strays += [] if scene.free.is_empty else [stray]
        mark = "WRONG" if share < 0.95 else "miss" if worst > ALLOWED else "stray" if stray > 0.2 else ""
        print(
            f"{seed:4d} {told:5s} {mark:5s} {share:.4f} {worst:6.3f} {stray:6.3f} u {found.uncertainty:.3f} "
            f"{scene.told}  {why[20:80]}",
            flush=True,
        )
    within = np.mean(np.array(corners) <= ALLOWED) if corners else 0.0
    print(f"{count} boards: {alone} alone, {guided} with near, {refused} refused, {wrong} closed wrongly")
    print(
        f"{len(corners)} corners: {100 * within:.1f} % within {ALLOWED} mm, median {np.median(corners):.3f}"
    )
    print(
        f"{100 * within * len(corners) / (len(corners) + lost):.1f} % of all corners, refused boards counted"
    )
    print(
        f"stated: median {np.median(stated):.3f} mm, most {max(stated):.3f}; worst corner within 2.45 and "
        f"free hand within 2 of it on {100 * np.mean(covered):.1f} % of boards"
    )
    near_enough = 100 * np.mean(np.array(strays) <= 0.2)
    print(f"free hand: within 0.2 mm on {near_enough:.1f} % of the {len(strays)} boards that have any")
    print(f"processor seconds a board: median {np.median(seconds):.1f}, most {max(seconds):.1f}")


if __name__ == "__main__":
    main(*(int(a) for a in sys.argv[1:]))
