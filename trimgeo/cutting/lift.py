"""What comes off the board before the cut, and why."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Final

import shapely
from shapely import LineString, MultiPolygon, Polygon

from trimgeo.cutting.relief import Obstacle
from trimgeo.model.board import FaceName, Keepout, Part
from trimgeo.model.plan import Lift

_ROUNDING: Final = 1e-9
"""What stands in the band by less only touches it."""

_QUARTER: Final = 64
"""Chords a quarter circle for lengths in words, shown to 0.1 mm; decisions use the exact shape."""


def lift_list(
    parts: Sequence[Part],
    keepouts: Sequence[Keepout],
    swept_band: MultiPolygon | Polygon,
    edge: Polygon,
    breached: Collection[str] = (),
) -> tuple[Lift, ...]:
    """Everything that comes off before cutting: top face first, then by name.

    Every part that must go; every other part and every component keep-out that stands in the swept
    band.  Traces and copper lie flat and are none.  The reason says how far it stands in the band,
    measured on the board from where it enters; a component that must survive is lifted and refitted,
    or is one of those whose clearance is ``breached``, by name.

    >>> band = shapely.box(6, 0, 8, 5)
    >>> part = Part("J1", shapely.box(4, 1, 7, 2), "top", 9.0, must_go=False)
    >>> lift_list([part], [], band, shapely.box(0, 0, 10, 5))
    (Lift(name='J1', face='top', at=(5.5, 1.5), height=9.0, reason='stands in the swept band by 1.0 mm'),)
    """
    inner = shapely.buffer(swept_band, -_ROUNDING, join_style="mitre")
    shapely.prepare(inner)
    found = []
    for part in parts:
        if part.must_go:
            found.append(Lift(part.name, part.face, _at(part.area), part.height, "asked for in the job"))
        elif part.area.intersects(inner):
            reason = _reach(part.area, swept_band, edge)
            found.append(Lift(part.name, part.face, _at(part.area), part.height, reason))
    for keepout in keepouts:
        if keepout.kind == "component" and shapely.dwithin(inner, keepout.spine, keepout.radius):
            area = keepout.spine.buffer(keepout.radius, quad_segs=_QUARTER)
            reason = _reach(area, swept_band, edge) + _afterwards(keepout, breached)
            found.append(
                Lift(keepout.name, keepout.face or "top", _at(keepout.spine), keepout.height, reason)
            )
    return tuple(sorted(found, key=lambda lift: (lift.face != "top", lift.name)))


def lift_for(obstacle: Obstacle, face: FaceName, height: float | None, relief: LineString) -> Lift:
    """What a relief cut runs through comes off as well.

    >>> relay = Obstacle("K1", shapely.box(4, 1, 7, 3), may_go=True)
    >>> lift_for(relay, "top", 15.0, LineString([(5, 9), (5, 0)])).reason
    'the relief cut from (5.0, 9.0) to (5.0, 0.0) runs through it'
    """
    # Adding 0 takes the sign from what rounds to nothing.
    x, y, u, v = (round(value, 1) + 0.0 for xy in relief.coords for value in xy[:2])
    reason = f"the relief cut from ({x:.1f}, {y:.1f}) to ({u:.1f}, {v:.1f}) runs through it"
    return Lift(obstacle.name, face, _at(obstacle.area), height, reason)


def _afterwards(keepout: Keepout, breached: Collection[str]) -> str:
    if keepout.may_cut:
        return ""
    if keepout.name in breached:
        return "; must survive, but the outline comes too near: move the line"
    return "; must survive: lift it and refit it after the cut"


def _at(shape: shapely.Geometry) -> tuple[float, float]:
    """The centroid, or a point of the shape where the centroid is none."""
    centre = shape.centroid
    if not shape.intersects(centre):
        centre = shape.representative_point()
    return float(centre.x), float(centre.y)


def _reach(area: shapely.Geometry, band: MultiPolygon | Polygon, edge: Polygon) -> str:
    """In words, how far the part of an area on the board stands in the band."""
    area = area.intersection(edge)
    entry = band.boundary.intersection(area).difference(edge.boundary.buffer(_ROUNDING))
    outside = shapely.get_parts(area.difference(band))
    outside = outside[shapely.area(outside) > _ROUNDING]
    if len(outside) == 0 or entry.is_empty:
        return "stands wholly in the swept band"
    if len(outside) > 1:
        return "stands across the swept band"
    corners = shapely.points(shapely.get_coordinates(area.intersection(band)))
    depth = float(shapely.distance(corners, entry).max())
    return f"stands in the swept band by {max(depth, 0.1):.1f} mm"
