"""Where a blade starts, where the waste is parted first, and where the board is clamped."""

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

LONGEST_WASTE: Final = 50.0
"""Waste that hangs on along more than this, mm, tears when the last of it is cut (common practice)."""

_HAIR: Final = 1e-6
"""mm beside a cut: on the waste for sure."""

LEAST_RELIEF: Final = 4.0
"""Waste narrower than this, mm, bends instead of tearing: it needs no relief cut (common practice)."""


MOST_ASIDE: Final = 15.0
"""How far, mm, a relief cut is moved along its cut to pass a part: further, the waste hangs on unevenly."""


def start_holes(
    tool_centre: Sequence[LineString],
    cuts: Sequence[Cut],
    finished: Polygon,
    board: Polygon,
    cutter: Cutter,
    sanding: float,
    standing: Sequence[tuple[str, BaseGeometry]] = (),
) -> tuple[tuple[Hole, ...], tuple[str, ...]]:
    """A hole for each line that a blade cannot enter from the board's edge, and a sentence where none fits.

    Its rim keeps outside the guide line by the wander, within the board and off what is ``standing``, by name
    and area; of all such places it is the nearest to where the first cut of that line starts, seen straight
    back along it.  Wheels and bits need none: they are lowered.

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
    taken = [shapely.buffer(shape, diameter / 2) for _, shape in standing]
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


def relief_cuts(
    cuts: Sequence[Cut],
    finished: Polygon,
    board: Polygon,
    beyond: float,
    standing: Sequence[tuple[str, BaseGeometry]] = (),
) -> tuple[tuple[LineString, ...], tuple[str, ...]]:
    """Straight cuts in the waste, made before all others, that leave no long piece to tear off.

    Along every straight cut beside which waste hangs on over more than `LONGEST_WASTE`, at equal steps,
    square to the cut: from the board's edge to ``beyond`` mm before the finished edge (the kerf and the
    wander), as far as only waste is there and it is wider than `LEAST_RELIEF`.  Each is moved aside, by at
    most `MOST_ASIDE`, to pass what is ``standing`` by as much; a sentence says what it cannot pass.

    >>> cut = Cut(1, LineString([(120, 20), (0, 20)]))
    >>> part, board = shapely.box(0, 0, 120, 20), shapely.box(0, 0, 120, 60)
    >>> found, _ = relief_cuts([cut], part, board, 2.0, [("coil", shapely.box(35, 30, 41, 40))])
    >>> [line.coords[:] for line in found]
    [[(80.0, 60.0), (80.0, 22.0)], [(44.0, 60.0), (44.0, 22.0)]]
    """
    waste = shapely.difference(board, finished)
    around = [(name, shapely.buffer(shape, beyond)) for name, shape in standing]
    found, said = [], []
    for cut in cuts:
        if cut.circle is not None:
            continue
        pieces = int(np.ceil(cut.length / LONGEST_WASTE))
        for share in np.arange(1, pieces) / pieces:
            line, names = _relief(cut, share * cut.length, waste, board, beyond, around)
            if line is not None:
                found.append(line)
                said += [_through(line, name) for name in names]
    return tuple(found), tuple(said)


def _relief(
    cut: Cut,
    place: float,
    waste: BaseGeometry,
    board: Polygon,
    beyond: float,
    around: Sequence[tuple[str, BaseGeometry]],
) -> tuple[LineString | None, list[str]]:
    """The relief cut beside a cut nearest to a ``place``, mm from its start, and what stands in its way."""
    first: tuple[LineString | None, list[str]] = (None, [])
    for aside in sorted(np.arange(-MOST_ASIDE, MOST_ASIDE + 1.0), key=lambda each: (abs(each), -each)):
        if not 0.0 < place + aside < cut.length:
            continue
        line = _square(cut, place + aside, waste, board, beyond)
        names = [] if line is None else [name for name, shape in around if shapely.intersects(line, shape)]
        if line is not None and not names:
            return line, []
        if aside == 0.0:
            first = line, names
    return first


def _square(cut: Cut, place: float, waste: BaseGeometry, board: Polygon, beyond: float) -> LineString | None:
    """From the board's edge towards a place of a cut, square to it; None where no such cut helps."""
    start, end = np.asarray(cut.start), np.asarray(cut.end)
    along = unit(end - start)
    out = right_of(along)
    foot = start + place * along
    x0, y0, x1, y1 = board.bounds
    far = float(np.hypot(x1 - x0, y1 - y0))
    beside = shapely.intersection(LineString([foot + _HAIR * out, foot + far * out]), waste)
    near = [part for part in shapely.get_parts(beside) if part.distance(Point(foot)) < 1e-3]
    if not near or near[0].length < beyond + LEAST_RELIEF:
        return None
    outer = foot + (near[0].length + _HAIR) * out
    return LineString([outer, foot + beyond * out]) if _on(board, outer) else None


def _through(line: LineString, name: str) -> str:
    (x, y), (u, v) = line.coords
    # Adding 0 takes the sign from what rounds to nothing.
    x, y, u, v = (round(value, 1) + 0.0 for value in (x, y, u, v))
    where = f"({x:.1f}, {y:.1f}) to ({u:.1f}, {v:.1f})"
    return f"The relief cut from {where} runs through {name}: take it off first."


def _on(board: Polygon, point: Sequence[float]) -> bool:
    """Whether a point lies on the board's edge: a line that ends on the kept board again reaches no edge."""
    return float(shapely.distance(board.exterior, Point(point))) < 1e-3


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
