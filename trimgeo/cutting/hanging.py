"""Parts that hang over the edge of the finished board, and what of its case they would run into."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import shapely
from shapely import Polygon, affinity

from trimgeo.cutting.holder import Standing
from trimgeo.model.board import Area, Case, Ring
from trimgeo.model.plan import XY, Fit
from trimgeo.tables import EDGE_TOLERANCE

ROUNDING: Final = 1e-6
"""mm: a part that was placed to keep the gap keeps it."""

_SPACING: Final = 0.04
"""mm between the points at which it is looked how far a part reaches: lengths are told to 0.1 mm."""

_SEEN: Final = 0.05
"""mm: what stands in a wall by less only touches it, in lengths that are told to 0.1 mm."""

_QUARTER: Final = 64
"""Chords a quarter circle of a round part."""


@dataclass(frozen=True)
class Hanging:
    """A part beyond the edge of the board, and where it is nearest to a wall or a post, or furthest into it.

    ``at`` is a point of the case, mm.  ``clear`` is the distance there; negative: how far the part reaches
    past the inner face of the wall, or into the post.
    """

    name: str
    thing: Literal["wall", "post"]
    at: XY
    clear: float


def hanging(finished: Ring, case: Case, parts: Sequence[Standing], pose: Fit) -> tuple[Hanging, ...]:
    """The parts that hang over the edge and leave less than the gap to walls or posts, as the board lies.

    Where it does not fit as it lies, it is moved, or turned and moved, as ``pose`` says.  Walls and posts are
    taken to stand at all heights: openings are not in the job.

    >>> from trimgeo.cutting.fit import fit
    >>> board, tray = Ring(shapely.box(0, 0, 40, 20)), Case(Ring(shapely.box(-1, -1, 41, 21)), (), gap=0.5)
    >>> socket = Standing("J1", 5.0, shapely.box(-3, 8, 6, 12))
    >>> hanging(board, tray, [socket], fit(board, tray, []))
    (Hanging(name='J1', thing='wall', at=(-3.0, 10.0), clear=-2.0),)
    """
    found = []
    board = shapely.buffer(finished.polygon, EDGE_TOLERANCE, join_style="mitre")
    shapely.prepare(board)
    for part in parts:
        area = shapely.buffer(part.spine, part.radius, quad_segs=_QUARTER)
        if shapely.covers(board, area) or not shapely.intersects(area, finished.polygon):
            continue
        over = shapely.difference(area, board)
        lies = _moved(over, pose)
        found.append(Hanging(part.name, "wall", *_beyond(lies, case.cavity.polygon)))
        found += [Hanging(part.name, "post", *_into(lies, post.polygon)) for post in case.posts]
    return tuple(one for one in found if one.clear < case.gap - ROUNDING)


def _moved(area: Area, pose: Fit) -> Area:
    """As the board goes in: as it lies where it fits so, else by a shift alone, else turned."""
    if pose.as_placed >= -ROUNDING:
        return area
    if _by_shift(pose) and pose.shifted is not None:
        return affinity.translate(area, *pose.shifted[1])
    return affinity.translate(affinity.rotate(area, pose.angle, origin=(0.0, 0.0)), *pose.shift)


def _by_shift(pose: Fit) -> bool:
    return pose.shifted is not None and pose.shifted[0] >= -ROUNDING


def _beyond(area: Area, cavity: Polygon) -> tuple[XY, float]:
    """The point of an area furthest out of a cavity, or nearest to its border, and its distance from that."""
    return _deepest(area, shapely.difference(area, cavity), shapely.boundary(cavity))


def _into(area: Area, post: Polygon) -> tuple[XY, float]:
    """The point of an area deepest in a post, or nearest to it, and its distance from the post's border."""
    return _deepest(area, shapely.intersection(area, post), shapely.boundary(post))


def _deepest(area: Area, within: Area, border: shapely.Geometry) -> tuple[XY, float]:
    """The point of an area furthest from a border in what lies ``within``, of several alike the middle one.

    Where nothing lies within, the point of the area nearest to the border, and the distance.
    """
    pieces = [each for each in shapely.get_parts(within) if shapely.area(each) > 0]
    if not pieces:
        ends = shapely.get_coordinates(shapely.shortest_line(area, border))
        return (float(ends[0, 0]), float(ends[0, 1])), float(np.hypot(*(ends[1] - ends[0])))
    reached = [_furthest(piece, border) for piece in pieces]
    depth, (x, y) = max(reached, key=lambda each: each[0])
    return (x, y), -depth


def _furthest(piece: Polygon, border: shapely.Geometry) -> tuple[float, XY]:
    """How far an area reaches from a border, and there: on the area's own border, or in its midst."""
    inner = shapely.get_coordinates(shapely.maximum_inscribed_circle(piece, tolerance=_SPACING))[:1]
    points = np.vstack([shapely.get_coordinates(shapely.segmentize(piece, _SPACING)), inner])
    depths = shapely.distance(border, shapely.points(points))
    alike = points[depths >= depths.max() - _SPACING]
    x, y = alike[int(np.argmin(np.hypot(*(alike - alike.mean(axis=0)).T)))].round(6) + 0.0
    return float(depths.max()), (float(x), float(y))


def hanging_sentences(found: Sequence[Hanging], gap: float, pose: Fit) -> tuple[str, ...]:
    """The same in words: a part may be meant to look out of the case, so that none of it is an error.

    >>> lies = Fit(True, spare=0.5, most=0.5, shift=(0.0, 0.0), angle=0.0, as_placed=0.5, binds=())
    >>> hanging_sentences([Hanging("J1", "post", (7.0, 8.0), -2.0)], 0.5, lies)
    ('Over the edge of the board, parts run into posts of the case: J1 by 2.0 mm at (7.0, 8.0).',)
    """
    where = "Over the edge of the board"
    if pose.as_placed < -ROUNDING:
        most = "the most room in its case without a turn" if _by_shift(pose) else "the most room in its case"
        where = f"Where the board has {most}, over its edge"
    deep = [one for one in found if one.clear < -_SEEN]
    ways = (
        (
            "parts reach past the inner face of the case's wall, which needs an opening there",
            [f"{one.name} by {-one.clear:.1f} mm{_at(one)}" for one in deep if one.thing == "wall"],
        ),
        (
            "parts run into posts of the case",
            [f"{one.name} by {-one.clear:.1f} mm{_at(one)}" for one in deep if one.thing == "post"],
        ),
        (
            f"parts come nearer to the case than the gap of {gap:.2f} mm",
            [
                f"{one.name} has {max(one.clear, 0.0):.2f} mm to a {one.thing}{_at(one)}"
                for one in found
                if one.clear >= -_SEEN
            ],
        ),
    )
    return tuple(f"{where}, {what}: {', '.join(names)}." for what, names in ways if names)


def _at(one: Hanging) -> str:
    return f" at ({one.at[0]:.1f}, {one.at[1]:.1f})"
