"""A job in a pose of its own, so that what is built does not depend on how the job lies.

Searches take one way or another on the last digits of a coordinate.  In the pose a turned, mirrored or
shifted job, one told in another order or with needless corners, is the same to the bit.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import shapely
from shapely import Polygon

from trimgeo.model.board import Case, Keepout, Ring
from trimgeo.plane.hulls import Floats
from trimgeo.plane.pose import Pose, pose_of

STANDS_OUT = 1e-9
"""mm: a corner that stands out by less is needless."""

Taken = Callable[[Any], Any]


def posed(
    keepouts: Sequence[Keepout], edge: Polygon, case: Case | None
) -> tuple[Pose, list[Keepout], Polygon, Case | None]:
    """The pose of a job, and its keep-outs, board edge and case in it, always in one order.

    >>> part = Keepout("part", "other", shapely.box(1, 1, 2, 3), 0.0, (1,), None, 0.5, "")
    >>> other = replace(part, spine=shapely.affinity.rotate(part.spine, 90, origin=(0, 0)))
    >>> board, turned = shapely.box(0, 0, 9, 4), shapely.box(-4, 0, 0, 9)
    >>> one, two = posed([part], board, None), posed([other], turned, None)
    >>> bool(one[1][0].spine.equals_exact(two[1][0].spine)), bool(one[2].equals_exact(two[2]))
    (True, True)
    """
    spots = shapely.get_coordinates(shapely.centroid([each.spine for each in keepouts]))
    pose = pose_of([edge], spots)

    def taken(shape: Any) -> Any:
        return shapely.normalize(shapely.transform(_plain(shape), pose.taken))

    moved = [replace(each, spine=taken(each.spine)) for each in keepouts]
    moved.sort(key=lambda each: (each.spine.wkb, each.radius, each.required, each.uncertainty, each.may_cut))
    inner = None if case is None else _case(case, taken)
    return pose, moved, shapely.orient_polygons(taken(Polygon(edge.exterior))), inner


def _plain(shape: Any) -> Any:
    """The shape without needless corners."""
    return shapely.simplify(shape, STANDS_OUT, preserve_topology=True)


def _case(case: Case, taken: Taken) -> Case:
    posts = sorted((taken(post.polygon) for post in case.posts), key=lambda post: post.wkb)
    cavity = shapely.orient_polygons(taken(case.cavity.polygon))
    return replace(case, cavity=Ring(cavity), posts=tuple(Ring(shapely.orient_polygons(p)) for p in posts))


def placed(pose: Pose, outline: Polygon) -> Polygon:
    """An outline of the pose where the job lies.

    >>> pose = posed([], shapely.box(3, 2, 9, 4), None)[0]
    >>> inside = shapely.transform(shapely.box(4, 2, 9, 4), pose.taken)
    >>> placed(pose, inside).equals(shapely.box(4, 2, 9, 4))
    True
    """
    corners: Floats = pose.back(shapely.get_coordinates(outline.exterior))
    return shapely.orient_polygons(Polygon(np.round(corners, 9)))
