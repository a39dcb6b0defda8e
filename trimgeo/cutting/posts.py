"""Posts that stand in the case: an outline leads around each, so the room is cut open from post to wall.

An outline has no holes, so waste leads from every post to the border of the board or the case.  Which way
it leads is not known before; the nearest ones in unlike directions are tried.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import product
from typing import Final

import numpy as np
import shapely
from shapely import LineString, Polygon

from trimgeo.plane.bridges import ways_around
from trimgeo.plane.coarser import coarser

HAIRLINE: Final = 2e-3
"""mm: the width of a slit where a cut as wide as the cutter's does not pass; nothing is cut there."""

BESIDE: Final = 0.02
"""mm that a slit stays away from what is kept."""

WAYS: Final = 4
"""Ways tried from each post."""

UNLIKE: Final = np.radians(50.0)
"""Directions that differ by less are alike."""

BEST: Final = 2
"""Ways to open the room that are searched on."""

Cost = Callable[[Polygon], float]
"""What a room cut open costs."""


def openings(allowed: Polygon, kept: Polygon, slot: float) -> list[list[Polygon]]:
    """For each post, which is a hole of ``allowed``, the slits that may lead from it to the outside.

    They are as wide as ``slot`` where that misses ``kept``, else a hairline.  A post that has none is
    enclosed by what is kept.

    >>> room = shapely.box(0, 0, 9, 9) - shapely.box(1, 4, 2, 5)
    >>> [slit.bounds for slit in openings(room, shapely.box(4, 1, 8, 8), 1.0)[0]][0]
    (-0.5, 4.0, 2.0, 5.0)
    """
    outside = shapely.LinearRing(allowed.exterior)
    fewer = coarser(kept, Polygon(allowed.exterior), BESIDE, 0.0)
    found = []
    for ring in allowed.interiors:
        post = Polygon(ring)
        slits: list[Polygon] = []
        for width in (slot, HAIRLINE):
            slits = slits or [_slit(way, width) for way in _ways(post, outside, fewer, width)]
        found.append(slits)
    return found


def _slit(way: LineString, width: float) -> Polygon:
    """The way as wide as it is cut, and a little longer at both ends."""
    return Polygon(shapely.buffer(way, width / 2, cap_style="square", join_style="mitre").exterior)


def _ways(post: Polygon, outside: shapely.LinearRing, kept: Polygon, width: float) -> list[LineString]:
    """Straight ways from a post in unlike directions, nearest first; where there is none, one around."""
    corners = shapely.get_coordinates(outside)
    sides = shapely.linestrings(np.stack([corners[:-1], corners[1:]], axis=1))
    middle = shapely.centroid(post)
    lines = shapely.shortest_line(middle, sides)
    blocked = shapely.buffer(kept, width / 2 + BESIDE, join_style="mitre")
    shapely.prepare(blocked)
    lines = lines[~shapely.intersects(blocked, lines)]
    lines = lines[np.argsort(shapely.length(lines), kind="stable")]
    chosen: list[LineString] = []
    angles: list[float] = []
    for line in lines:
        (x, y), (u, v) = line.coords
        angle = float(np.arctan2(v - y, u - x))
        if all(abs((angle - each + np.pi) % (2 * np.pi) - np.pi) > UNLIKE for each in angles):
            chosen.append(line)
            angles.append(angle)
    if chosen:
        return chosen[:WAYS]
    free = shapely.difference(Polygon(outside), blocked)
    return ways_around(np.array([middle, outside], dtype=object), free, free, free)


def opened(allowed: Polygon, slits: list[list[Polygon]], kept: Polygon, cost: Cost) -> list[Polygon]:
    """The room cut open in the best ways found, cheapest by ``cost`` first; infinite where it does not do.

    Slit by slit the others are tried, as long as that makes it cheaper.
    """
    inside = shapely.point_on_surface(kept)
    known: dict[tuple[int, ...], tuple[float, Polygon]] = {}

    def tried(ways: tuple[int, ...]) -> float:
        if ways not in known:
            bands = shapely.union_all([each[way] for each, way in zip(slits, ways, strict=True)])
            parts = shapely.get_parts(shapely.difference(allowed, bands))
            part = parts[int(np.argmin(shapely.distance(parts, inside)))]
            simple = isinstance(part, Polygon) and not part.interiors
            known[ways] = (cost(part) if simple else np.inf, part)
        return known[ways][0]

    best = (0,) * len(slits)
    for number, way in product(range(len(slits)), range(1, WAYS)):
        if way < len(slits[number]):
            other = (*best[:number], way, *best[number + 1 :])
            best = min(best, other, key=tried)
    tried(best)
    order = sorted(known.values(), key=lambda each: each[0])
    return [part for price, part in order[:BEST] if np.isfinite(price)]
