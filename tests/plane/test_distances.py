import numpy as np
import pytest
import shapely
from shapely import LineString, MultiPolygon, Point, box

from trimgeo.plane.distances import capsule_spans, nearest, nearest_on_board, pieces


def scene(seed, count):
    rng = np.random.default_rng(seed)
    angle = np.sort(rng.uniform(0, 2 * np.pi, (count, 9)), axis=1)
    reach = rng.uniform(0.2, rng.uniform(1, 30), (count, 9))
    at = rng.uniform(0, 100, (count, 1, 2))
    polygons = shapely.polygons(at + reach[..., None] * np.stack([np.cos(angle), np.sin(angle)], axis=-1))
    lines = [LineString(rng.uniform(0, 100, (rng.integers(2, 5), 2))) for _ in range(count)]
    points = [Point(at) for at in rng.uniform(0, 100, (count, 2))]
    return np.array([*polygons, *lines, *points], dtype=object), LineString(rng.uniform(0, 100, (12, 2)))


@pytest.mark.parametrize("seed", range(20))
def test_distances_agree_with_the_library_of_plane_geometry(seed):
    shapes, wall = scene(seed, 60)
    rims = np.where(shapely.get_dimensions(shapes) == 2, shapely.boundary(shapes), shapes)
    found = nearest(pieces(shapes), len(shapes), pieces([wall]))
    assert found.distance == pytest.approx(shapely.distance(rims, wall), abs=1e-12)
    assert shapely.distance(shapely.points(found.on_shape), rims) == pytest.approx(0, abs=1e-12)
    assert shapely.distance(shapely.points(found.on_line), wall) == pytest.approx(0, abs=1e-12)
    assert np.hypot(*(found.on_shape - found.on_line).T) == pytest.approx(found.distance, abs=1e-12)


def test_a_shape_of_thousands_of_corners_is_measured_as_one_of_few():
    ring = Point(50, 50).buffer(40, quad_segs=2000)
    wall = LineString([(95, 0), (95, 100)])
    found = nearest(pieces([ring, box(0, 0, 1, 1)]), 2, pieces([wall]))
    assert found.distance.tolist() == [5.0, 94.0]
    assert found.on_shape[0].tolist() == [90.0, 50.0]


def test_parts_and_holes_are_boundary_too():
    plane = box(0, 0, 10, 10).difference(box(2, 2, 8, 8))
    both = MultiPolygon([plane, box(20, 0, 21, 1)])
    inner, outer = pieces([LineString([(5, 4), (5, 5)])]), pieces([LineString([(18, 0), (18, 1)])])
    assert nearest(pieces([both]), 1, inner).distance.tolist() == [2.0]
    assert nearest(pieces([both]), 1, outer).distance.tolist() == [2.0]


def test_nothing_is_infinitely_far():
    wall = pieces([LineString([(0, 0), (1, 1)])])
    assert nearest(pieces([]), 1, wall).distance.tolist() == [np.inf]
    assert nearest(pieces([Point(0, 0)]), 1, pieces([])).distance.tolist() == [np.inf]
    mixed = pieces([Point(3, 0), LineString(), None, box(0, 0, 1, 1)])
    assert np.unique(mixed.owner).tolist() == [0, 3]


def test_a_chord_of_a_circle_has_the_length_of_the_handbook():
    # Machinery's Handbook, segments of circles, from memory: radius 1, chord 1.0000, height 0.1340
    height = 1 - 0.5 * np.sqrt(3)
    line = LineString([(-5, 1 - height), (5, 1 - height)])
    low, high = capsule_spans(pieces([Point(0, 0)]), np.array([1.0]), pieces([line]))
    assert (high - low)[0, 0] * 10 == pytest.approx(1.0, abs=1e-12)


@pytest.mark.parametrize("seed", range(10))
def test_stretches_inside_a_track_agree_with_a_fine_polygon(seed):
    rng = np.random.default_rng(seed)
    track, radius = LineString(rng.uniform(0, 10, (2, 2))), rng.uniform(0.5, 3)
    lines = [LineString(rng.uniform(-2, 12, (2, 2))) for _ in range(40)]
    grown = track.buffer(radius, quad_segs=4000)
    shape = pieces([track])
    own = [n for n in range(len(shape.owner)) if (shape.start[n] != shape.end[n]).any()]
    low, high = capsule_spans(shape.take(own), np.full(len(own), radius), pieces(lines))
    length = np.maximum(high - low, 0).ravel()[::2] * shapely.length(lines)
    assert length == pytest.approx(shapely.length(shapely.intersection(lines, grown)), abs=1e-2)


def test_what_is_over_the_board_edge_is_not_measured():
    board, wall = box(0, 0, 10, 10), pieces([LineString([(0, 5), (10, 5)])])
    spines = np.array([box(2, -3, 4, 1), box(2, -3, 4, -1), LineString([(1, -4), (9, -1)])], dtype=object)
    found = nearest_on_board(spines, np.array([0.0, 0.0, 0.5]), board, wall)
    assert found.distance.tolist() == [4.0, np.inf, np.inf]
