"""Pictures registered on others, by points and by holes: ``python tests/bench/registrations.py [COUNT]``.

For each kind of scene: how many were refined on holes, the median greatest error over the board by points
and after refining (mm), the median bound, the share of scenes whose bound holds, those warned of, and those
whose bound does not hold without a warning.
"""

import importlib.util
import sys
import time
from pathlib import Path

import numpy as np

from trimgeo.errors import JobError
from trimgeo.scale.bound import bound
from trimgeo.scale.dpi import scan_map
from trimgeo.scale.holes_matched import Holes
from trimgeo.scale.holes_shared import refined
from trimgeo.scale.like import placed_like, scaled_like

PATH = Path(__file__).parents[1] / "scale" / "registered.py"
SPEC = importlib.util.spec_from_file_location("registered", PATH)
scenes = importlib.util.module_from_spec(SPEC)
SPEC.loader.exec_module(scenes)

PITCH = np.array([2.54, 0.0])


def board(random, kind):
    """Holes of a board and their diameters."""
    if kind.startswith("headers"):
        holes = scenes.headers([[20, 10], [60, 80.0]])
        return holes, np.ones(len(holes))
    if kind == "stitched":
        grid = np.stack(np.meshgrid(np.arange(10, 140, 1.2), np.arange(10, 30, 1.2)), -1).reshape(-1, 2)
        return grid, np.full(len(grid), 0.4)
    return scenes.drilled(random, 1000 if kind == "1000 holes" else 60)


def bent(pixels, k1):
    """A lens as no map here knows it: radial terms of two orders about a point beside the middle."""
    offset = pixels - [2010.0, 1490.0]
    square = (offset**2).sum(axis=1, keepdims=True) / 3000.0**2
    return [2010.0, 1490.0] + offset * (1 + k1 * square - k1 / 3 * square**2)


def misread(random, kind, points):
    """Where the spots are that were clicked in this picture, mm."""
    read = points.copy()
    if kind in ("one pitch off", "headers, one pitch off"):
        read = read + PITCH * random.choice([-1, 1])
    if kind == "one point off":
        read[random.integers(len(read))] += PITCH * random.choice([-1, 1])
    return read


def lists(random, kind, own, there):
    """The holes that a finder gives for both pictures."""
    holes, diameters = board(random, kind)
    keep, false = (1.0, 0.0) if kind.startswith("headers") else (0.7, 0.3)
    first = scenes.found(random, own, holes, diameters, keep, false)
    if kind == "other board":
        holes, diameters = board(random, kind)
        holes = holes[random.permutation(len(holes))] + random.uniform(-3, 3, holes.shape)
    return first, scenes.found(random, there, holes, diameters, keep, false)


def scene(seed, kind):
    """Errors and bounds by points and refined, whether refined, warned, and seconds; None where refused."""
    random = np.random.default_rng(seed)
    mirrored = seed % 2 == 1
    shows = "bottom" if mirrored else "top"
    there = scenes.camera(random, random.uniform(3, 20))
    other = scenes.scaled_by_points(random, there)
    rigid = kind == "placed"
    if rigid:
        own = np.diag([*(1 + random.normal(0, 0.25 / 150 / 2, 2)), 1]) @ scenes.scanner(
            random, 600 / 25.4, mirrored
        )
        count = 2 + seed % 3
    else:
        own = scenes.camera(random, random.uniform(3, 20), mirrored)
        count = 2 if kind == "two near points" else 4 + seed % 3
    if kind == "two near points":
        own = scenes.scanner(random, 300 / 25.4, mirrored)
    points = scenes.CORNERS[:count] if count > 2 else scenes.CORNERS[[0, 2]]
    if kind == "two near points":
        points = np.array([[20, 10], [20 + 4 * 2.54, 10]])
    pixels = scenes.seen(own, misread(random, kind, points)) + random.normal(0, 0.5, points.shape)
    pixels_there = scenes.seen(there, points) + random.normal(0, 0.5, points.shape)
    first, second = lists(random, kind, own, there)
    k1 = random.uniform(-0.12, 0.12) if kind == "lens" else 0.0
    pixels, first.pixels = bent(pixels, k1), bent(first.pixels, k1)
    words = {"like": "other", "where": "points"}
    try:
        if rigid:
            by_points = placed_like(
                scan_map((600, 600), shows, scenes.SIZE), pixels, pixels_there, other, **words
            )
        else:
            by_points = scaled_like(pixels, pixels_there, other, shows=shows, size=scenes.SIZE, **words)
    except JobError:
        return None
    started = time.perf_counter()
    holes = (Holes(each.pixels, each.sd, each.diameters) for each in (first, second))
    found = refined(by_points, next(holes), other, next(holes), "other")
    took = time.perf_counter() - started
    places = bent(scenes.seen(own, scenes.GRID), k1)
    errors = [
        float(np.hypot(*(each.to_board.to_mm(places) - scenes.GRID).T).max()) for each in (by_points, found)
    ]
    bounds = [bound(each.to_board, places) for each in (by_points, found)]
    warned = any("nothing checks" not in text for text in found.warnings)
    return *errors, *bounds, found.count > 0, warned, took


KINDS = (
    "plain",
    "placed",
    "headers",
    "headers, one pitch off",
    "one pitch off",
    "one point off",
    "two near points",
    "other board",
    "stitched",
    "lens",
    "1000 holes",
)


def main(count=200):
    print(
        f"{'kind':24}{'scenes':>7}{'refused':>8}{'refined':>8}{'error':>8}{'after':>8}{'bound':>8}{'after':>8}"
        f"{'held':>7}{'after':>7}{'warned':>7}{'silent':>7}{'s':>7}"
    )
    for kind in KINDS:
        scenes_of = [scene(seed, kind) for seed in range(count if kind != "1000 holes" else count // 10)]
        rows = np.array([each for each in scenes_of if each is not None], dtype=float)
        by_points, after, bound_before, bound_after, is_refined, warned, took = rows.T
        held = by_points <= bound_before, after <= bound_after
        middle = (np.median(each) for each in (by_points, after, bound_before, bound_after))
        silent = int((~held[1] & (warned == 0)).sum())
        print(
            f"{kind:24}{len(scenes_of):7}{len(scenes_of) - len(rows):8}{int(is_refined.sum()):8}",
            *(f"{each:7.3f}" for each in middle),
            f"{held[0].mean():6.3f} {held[1].mean():6.3f}",
            f"{int(warned.sum()):6}{silent:7}{np.median(took):7.2f}",
        )


if __name__ == "__main__":
    main(*map(int, sys.argv[1:2]))
