"""The ring of a drawn line where a person has said roughly where its corners are."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np
import shapely
from shapely import LineString, Polygon

from trimgeo.vision.line_closing import Closing, faces, new_stretches
from trimgeo.vision.line_ink import Floats
from trimgeo.vision.line_strokes import Stroke

NEAR = 5.0  # mm; how far from the rough corners the line is searched
LEAST_COVERED = 0.4  # of a side that must lie on strokes
TURNED = 0.45  # rad; how far a stroke may run askew to its rough side


def guided(strokes: Sequence[Stroke], rough: Polygon, edge: Polygon) -> Closing | None:
    """The ring that the strokes beside each rough side close; None where a side has no stroke.

    A rough side along the board edge needs none.  The strokes of a side are run on to meet the next.
    """
    at = shapely.get_coordinates(shapely.orient_polygons(rough).exterior)
    lines, inked = [], 0.0
    for a, b in itertools.pairwise(at):
        found = _beside(strokes, a, b)
        if found is not None:
            lines.append(found[0])
            inked += found[1]
        elif edge.exterior.distance(shapely.Point((a + b) / 2)) > NEAR:
            return None
    if not lines:
        return None
    near = [f for f in faces(edge, lines) if _apart(f, rough) < NEAR + 1.5]
    if len(near) != 1:
        return None
    ring = shapely.orient_polygons(Polygon(near[0].exterior))
    return Closing(ring, tuple(new_stretches(ring, edge)), inked, None)


def _apart(face: Polygon, rough: Polygon) -> float:
    return float(shapely.hausdorff_distance(face.exterior, rough.exterior, densify=0.05))


def _beside(strokes: Sequence[Stroke], a: Floats, b: Floats) -> tuple[LineString, float] | None:
    """The line through the strokes along one rough side, run on both ways, and the length that has ink."""
    length = float(np.hypot(*(b - a)))
    way = (b - a) / length
    normal = np.array([-way[1], way[0]])
    gathered = []
    for stroke in strokes:
        if len(stroke.points) < 4:
            continue
        reach = min(5, len(stroke.points) // 2)
        run = np.gradient(stroke.points, axis=0)
        even = np.ones(2 * reach + 1)
        run = np.column_stack([np.convolve(np.pad(c, reach, mode="edge"), even, "valid") for c in run.T])
        askew = np.abs(run @ normal) <= np.tan(TURNED) * np.abs(run @ way)
        s, t = (stroke.points - a) @ way, (stroke.points - a) @ normal
        use = askew & (np.abs(t) < NEAR) & (s > -NEAR) & (s < length + NEAR)
        gathered.append(np.column_stack([s[use], t[use]]))
    points = np.vstack([*gathered, np.zeros((0, 2))])
    bins = np.floor(points[:, 0]).astype(int)
    filled = np.unique(bins)
    if len(filled) < max(4, LEAST_COVERED * length):
        return None
    spread = np.array([np.ptp(points[bins == n, 1]) for n in filled])
    single = float(
        (spread < 1.2).sum()
    )  # two strokes side by side are copper or printing more likely than ink
    middle = np.array([np.median(points[bins == n], axis=0) for n in filled])
    middle = middle[np.argsort(middle[:, 0])]
    line = a + middle[:, :1] * way + middle[:, 1:] * normal
    slope = [np.polyfit(part[:, 0], part[:, 1], 1)[0] for part in (middle[:6], middle[-6:])]
    run_on = [max(8.0, middle[0, 0] + 8.0), max(8.0, length - middle[-1, 0] + 8.0)]
    start = line[0] - run_on[0] * (way + slope[0] * normal)
    stop = line[-1] + run_on[1] * (way + slope[1] * normal)
    return LineString([start, *line, stop]), single
