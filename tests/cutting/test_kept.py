"""What an outline must hold: arcs stand outside the true ones, as a sagitta would be missing within."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely import LineString, Point, box

from trimgeo.cutting.kept import ARC_SEGMENTS, grown, kept
from trimgeo.model.board import Keepout
from trimgeo.model.job import Placing

AXES = np.eye(2)


def rim(centre: tuple[float, float], radius: float) -> np.ndarray:
    """Points of a true circle, shape (n, 2)."""
    turn = np.linspace(0, 2 * np.pi, 3600, endpoint=False)
    return np.array(centre) + radius * np.column_stack([np.cos(turn), np.sin(turn)])


@pytest.mark.parametrize("segments", [4, 8, ARC_SEGMENTS, 128])
@pytest.mark.parametrize("radius", [0.3, 2.0, 25.0])
def test_sides_that_stand_for_an_arc_touch_it_from_without(segments: int, radius: float) -> None:
    """Elementary: chords of the arc lie within it by the sagitta r (1 - cos(90° / 2n)), n a quarter."""
    (shape,) = grown(np.array([Point(3, 4)], dtype=object), radius, segments, AXES)
    assert shape.covers(shapely.multipoints(rim((3, 4), radius * (1 - 1e-12))))
    chords = Point(3, 4).buffer(radius, quad_segs=segments)
    sagitta = radius * (1 - np.cos(np.pi / (4 * segments)))
    assert radius - chords.exterior.distance(Point(3, 4)) == pytest.approx(sagitta)
    farthest = np.hypot(*(shapely.get_coordinates(shape) - (3, 4)).T).max()
    # a whole number of sides: they may be half as coarse again
    assert farthest - radius <= 1.02 * radius * (1 / np.cos(1.5 * np.pi / (4 * segments)) - 1)


@pytest.mark.parametrize("degrees", [0.0, 17.0, 45.0])
def test_what_is_kept_holds_every_point_within_the_clearance_of_a_track(degrees: float) -> None:
    """2 x √(0.1² + 0.15² + 0.1²) = 0.412 mm of placing (JCGM 100:2008, 6.2) and 0.5 mm asked for."""
    track = shapely.affinity.rotate(LineString([(20, 20), (40, 20), (40, 35)]), degrees, origin=(30, 30))
    keepout = Keepout("N1", "trace", track, 0.25, (1,), None, 0.5, "asked")
    placing = Placing(print=0.1, taping=0.15, finish=0.1)
    (shape,) = kept([keepout], box(0, 0, 60, 60), 0.3, 0.3, placing).grown(0.0)
    reach = 0.25 + 0.5 + 2 * np.sqrt(0.1**2 + 0.15**2 + 0.1**2)
    exact = shapely.buffer(track, reach * (1 - 1e-12), quad_segs=2000)
    assert shape.covers(exact)
    assert shape.area - exact.area < 0.003 * exact.area
