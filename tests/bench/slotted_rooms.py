"""Smaller outlines in rooms with deep slots, against a search that shares no code: paring down what is kept.

    python tests/bench/slotted_rooms.py [rooms] [first seed]

Slots lead from the walls between the kept parts, so an outline has to go around their tips.  The judge
begins with the ring of what is kept, all of whose sides are cuts, and takes cut after cut away: of all runs
of up to four neighbours it replaces the one by one cut or none that costs the least area, over all lines
through two corners and lines through one of them every five degrees.
"""

from __future__ import annotations

import sys

import numpy as np
import shapely
import shapely.affinity
from long_outlines import Search, area_of, corners_of, lines_of
from numpy.typing import NDArray
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from trimgeo.plane.annulus import annulus
from trimgeo.plane.bridges import NoBridgeError, bridged
from trimgeo.plane.fewest import fewest_in
from trimgeo.plane.trade import smallest_for_each

Floats = NDArray[np.float64]

RUNS = (1, 2, 3, 4)
STEP = np.radians(5.0)
TRIED = 60


def slotted(seed: int) -> tuple[Polygon, Polygon]:
    """What is kept, parts joined by bridges, and a walled room with slots between them."""
    draw = np.random.RandomState(seed)
    while True:
        room = shapely.box(0, 0, 100, 80)
        for _ in range(draw.randint(1, 5)):
            room = shapely.difference(room, _slot(draw))
        if not isinstance(room, Polygon) or room.interiors:
            continue
        inner, parts = room.buffer(-1, join_style="mitre"), []
        for _ in range(200):
            middle, size = draw.uniform((5, 5), (95, 75)), draw.uniform(4, 18, 2)
            part = shapely.box(*(middle - size / 2), *(middle + size / 2))
            if draw.uniform() < 0.3:
                part = shapely.affinity.rotate(part, draw.uniform(0, 90))
            parts += [part] if inner.covers(part) else []
            if len(parts) >= draw.randint(2, 7):
                break
        if len(parts) > 1:
            try:
                return bridged(shapely.union_all(parts), room, 4.0), room
            except NoBridgeError:
                continue


def _slot(draw: np.random.RandomState) -> BaseGeometry:
    """A slot from one of the four walls."""
    wide, at, deep = draw.uniform(1.5, 8), draw.uniform(10, 90), draw.uniform(20, 72)
    slot = shapely.box(at - wide / 2, -1, at + wide / 2, deep)
    slot = shapely.affinity.rotate(slot, draw.uniform(-12, 12), origin=(at, 0))
    onto = ([1, 0, 0, 1, 0, 0], [1, 0, 0, -1, 0, 80], [0, 1.25, 0.8, 0, 0, 0], [0, -1.25, 0.8, 0, 100, 0])
    return shapely.affinity.affine_transform(slot, onto[draw.randint(4)])


def pool(kept: Polygon, allowed: Polygon) -> Floats:
    """Lines, by direction and distance, through two corners, or every few degrees through a kept one."""
    own = shapely.get_coordinates(kept.exterior)[:-1]
    walls = shapely.get_coordinates(allowed.exterior)[:-1]
    points = np.vstack([own, walls])
    way = points[None] - own[:, None]
    i, j = np.nonzero(np.hypot(way[..., 0], way[..., 1]) > 1e-6)
    one = np.arctan2(way[i, j, 1], way[i, j, 0])
    fan = np.arange(-np.pi, np.pi, STEP)
    angle = np.concatenate([one, one + np.pi, np.tile(fan, len(own))])
    through = np.concatenate([own[i], own[i], np.repeat(own, len(fan), axis=0)])
    right = np.column_stack([np.sin(angle), -np.cos(angle)])
    return np.column_stack([angle, np.sum(through * right, axis=1)])


def pared(kept: Polygon, allowed: Polygon, least: int) -> dict[int, float]:
    """The area left with each number of cuts, from those of what is kept down to ``least``."""
    search, lines = Search(kept, allowed, 0), lines_of(kept)
    others = pool(kept, allowed)
    found = {len(lines): area_of(corners_of(lines))}
    while len(lines) > least:
        trials: list[tuple[float, Floats]] = []
        for run in RUNS:
            for at in range(len(lines)):
                rest = np.roll(lines, -at, axis=0)[run:]
                if run == 1:
                    trials.append((area_of(corners_of(rest)), rest))
                elif len(rest) >= 2:
                    trials += _replaced(rest, others, kept.area)
        trials.sort(key=lambda each: each[0])
        good = (trial for area, trial in trials if area > kept.area - 0.1 and search.sound(trial) is not None)
        best = next(good, None)
        if best is None:
            break
        lines = best
        found[len(lines)] = area_of(corners_of(lines))
    return found


def _replaced(rest: Floats, others: Floats, least: float) -> list[tuple[float, Floats]]:
    """Ways with one of ``others`` put behind ``rest`` that run forwards there, the smallest ones."""
    ring = np.concatenate(
        [np.broadcast_to(rest, (len(others), *rest.shape)), others[:, None]], axis=1
    )  # [which, line, (angle, distance)]
    angle, distance = ring[..., 0], ring[..., 1]
    x, y = np.sin(angle), -np.cos(angle)
    u, v, far = np.roll(x, -1, axis=1), np.roll(y, -1, axis=1), np.roll(distance, -1, axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        corner = (
            np.stack([distance * v - y * far, x * far - distance * u], axis=-1) / (x * v - y * u)[..., None]
        )
        side = corner - np.roll(corner, 1, axis=1)
        forward = side[..., 0] * np.cos(angle) + side[..., 1] * np.sin(angle)
        p, q = corner[..., 0], corner[..., 1]
        area = np.sum(p * np.roll(q, -1, axis=1) - np.roll(p, -1, axis=1) * q, axis=1) / 2
    good = np.flatnonzero((forward >= 0).all(axis=1) & (area > least - 0.1) & (area < 1e5))
    good = good[np.argsort(area[good], kind="stable")[:TRIED]]
    return [(float(area[k]), ring[k]) for k in good]


def main() -> None:
    """Print for each room the fewest cuts and bound, and by how much the trade's areas exceed the judge's."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 40
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    excess: list[float] = []
    proved = 0
    for seed in range(first, first + count):
        kept, allowed = slotted(seed)
        room = annulus(kept, allowed, np.zeros(len(allowed.exterior.coords) - 1, dtype=bool))
        few = fewest_in(room)
        found = {each.cuts: each.area for each in smallest_for_each(room, few=few)}
        judge = pared(kept, allowed, few.count)
        own = [
            (min(area for k, area in found.items() if k <= cuts) / area - 1) * 100
            for cuts, area in judge.items()
            if few.count <= cuts <= 12
        ]
        proved += few.count == few.proved
        excess += own
        worst = max(own, default=0.0)
        print(
            f"room {seed}: fewest {few.count} proved {few.proved}, trade {sorted(found)}, "
            f"judge from {min(judge)}, excess {worst:.3f} % at most",
            flush=True,
        )
    got = np.array(excess)
    print(f"rooms {count}, fewest proved {proved}; outlines {len(got)}")
    print(f"within 0.5 %: {np.mean(got <= 0.5) * 100:.1f} %, worst {got.max():.2f} %")
    print(f"smaller than the judge's by more than 0.5 %: {np.mean(got < -0.5) * 100:.1f} %")


if __name__ == "__main__":
    main()
