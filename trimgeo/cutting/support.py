"""Where a blade starts, and where the board is clamped."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import shapely
from shapely import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from trimgeo.model.job import Cutter
from trimgeo.model.plan import XY, Cut, Hole
from trimgeo.plane.rings import right_of, unit

START_HOLE: Final = 2.0
"""Diameter, mm, of a hole through which a saw's blade is threaded (common practice), or the blade's own."""


def start_holes(
    tool_centre: Sequence[LineString],
    cuts: Sequence[Cut],
    finished: Polygon,
    board: Polygon,
    cutter: Cutter,
    sanding: float,
    standing: Sequence[BaseGeometry] = (),
) -> tuple[tuple[Hole, ...], tuple[str, ...]]:
    """A hole for each line that a blade cannot enter from the board's edge, and a sentence where none fits.

    Its rim keeps outside the guide line by the wander, within the board and off the areas that are
    ``standing``; of all such places it is the nearest to where the first cut of that line starts, seen
    straight back along it.  Wheels and bits need none: they are lowered.

    >>> cuts = [Cut(1, LineString([(10, 10), (30, 10), (30, 30), (10, 30), (10, 10)]))]
    >>> ring, part = LineString(shapely.box(9, 9, 31, 31).exterior), shapely.box(10, 10, 30, 30)
    >>> board, saw = shapely.box(0, 0, 60, 60), Cutter(kind="blade", kerf=1.0)
    >>> holes, _ = start_holes([ring], cuts, part, board, saw, 0.5)
    >>> [(round(hole.at[0], 2), round(hole.at[1], 2), hole.diameter) for hole in holes]
    [(8.2, 9.0, 2.0)]
    """
    if cutter.kind != "blade":
        return (), ()
    diameter = cutter.diameter or START_HOLE
    clear = diameter / 2 + sanding + cutter.wander
    taken = [shapely.buffer(shape, diameter / 2) for shape in standing]
    taken.append(shapely.buffer(finished, clear, quad_segs=64))
    free = shapely.difference(shapely.buffer(board, -diameter / 2), shapely.union_all(taken))
    holes, said = [], []
    for line in tool_centre:
        if not line.is_closed:
            continue
        ring = Polygon(line)
        own = [cut for cut in cuts if shapely.covers(ring, cut.line)]
        first = min(own or cuts, key=lambda cut: cut.n)
        if free.is_empty:
            said.append(
                f"A blade cannot enter cut {first.n}: no place in the waste takes a hole of {diameter:g} mm "
                f"that stays {sanding + cutter.wander:.1f} mm outside the finished edge. "
                "Use a thinner blade, or start at the edge."
            )
            continue
        along = unit(np.diff(shapely.get_coordinates(first.line)[:2], axis=0)[0])
        ahead = first.start - clear * along + (sanding + cutter.kerf / 2) * right_of(along)
        x, y = shapely.get_coordinates(shapely.shortest_line(free, Point(ahead)))[0]
        holes.append(Hole((float(x), float(y)), diameter, first.n))
    return tuple(holes), tuple(said)


def clamp(finished: Polygon, standing: Sequence[BaseGeometry]) -> tuple[XY, float] | None:
    """The largest round place of the kept board on which nothing stands: its middle and radius, mm.

    >>> (x, y), radius = clamp(shapely.box(0, 0, 40, 20), [shapely.box(20, 0, 40, 20)])
    >>> round(x), round(y), round(radius)
    (10, 10, 10)
    """
    free = shapely.difference(finished, shapely.union_all(list(standing))) if standing else finished
    parts = [part for part in shapely.get_parts(free) if part.geom_type == "Polygon" and not part.is_empty]
    if not parts:
        return None
    spokes = [shapely.maximum_inscribed_circle(part, tolerance=0.01) for part in parts]
    best = max(spokes, key=lambda spoke: spoke.length)
    (x, y), _ = best.coords
    return (x, y), float(best.length)
