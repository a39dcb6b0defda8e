"""Area left between support lines, against clipping the whole ring with shapely."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from trimgeo.plane.hulls import convex_hull, side_angles, supports
from trimgeo.plane.tracks import between, surroundings, tracks


def ring_of(shape):
    return shapely.get_coordinates(shapely.orient_polygons(shape))[:-1]


def notched_board(rng, hull, into):
    """A rectangle with slots cut in from outside, up to the hull: seldom convex."""
    board = shapely.box(-10, -9, 11, 12)
    for _ in range(4):
        angle = rng.uniform(0, 2 * np.pi)
        slot = shapely.LineString([12 * np.array([np.cos(angle), np.sin(angle)]), rng.normal(size=2) * 6])
        board = board.difference(slot.buffer(rng.uniform(0.3, 1.5), quad_segs=2))
    if into == "beside the hull":
        board = board.union(shapely.Polygon(hull))
    else:  # parts of the corners stay on the board, as kept areas would
        board = board.union(
            shapely.MultiPoint(hull).buffer(0.2, quad_segs=1).intersection(shapely.Polygon(hull))
        )
    return max(shapely.get_parts(board), key=lambda part: part.intersection(shapely.Polygon(hull)).area)


def clipped_area(ring, hull, angles):
    """What is left around the hull when all lines have cut: half planes one after another."""
    region = shapely.Polygon(ring)
    lines = supports(hull, angles)
    for normal, offset in zip(lines.normal, lines.offset, strict=True):
        along, foot = np.array([-normal[1], normal[0]]) * 1e3, normal * (offset + 1e-8)
        half = [foot - along, foot + along, foot + along - normal * 1e3, foot - along - normal * 1e3]
        region = region.intersection(shapely.Polygon(half))
    return max(shapely.get_parts(region), key=lambda part: part.intersection(shapely.Polygon(hull)).area).area


def some_angles(rng, hull, around):
    angles = rng.uniform(0, 2 * np.pi, rng.integers(1, 6))
    flush = rng.random(len(angles)) < 0.5
    angles[flush] = rng.choice(side_angles(hull), flush.sum())
    angles = np.unique(angles)
    return angles[tracks(around, angles).depth > 0.05]


@pytest.mark.parametrize("kind", ["rectangle", "convex", "beside the hull", "into the hull"])
def test_areas_between_neighbours_add_up_to_what_clipping_leaves(kind):
    rng, checked = np.random.default_rng(5), 0
    while checked < 30:
        hull = convex_hull(shapely.MultiPoint(rng.normal(size=(rng.integers(4, 12), 2)) * 2))
        if kind == "rectangle":
            board = shapely.box(-7, -6, 8, 9)
        elif kind == "convex":
            board = shapely.MultiPoint(np.vstack([hull, rng.normal(size=(12, 2)) * 4])).convex_hull
        else:
            board = notched_board(rng, hull, kind)
        held = board.intersection(shapely.Polygon(hull))
        if len(board.interiors) or held.geom_type != "Polygon":
            continue
        if not board.buffer(1e-9).covers(shapely.MultiPoint(hull)):
            continue
        around = surroundings(hull, ring_of(board))
        angles = some_angles(rng, hull, around)
        if not len(angles):
            continue
        checked += 1
        lines, here = tracks(around, angles), np.arange(len(angles))
        area, _ = between(around, lines, here, lines, np.roll(here, -1))
        left = (area.sum() + around.hull_sums[-1]) / 2
        assert left == pytest.approx(clipped_area(around.ring, around.hull, angles), abs=1e-5)


def test_a_cut_across_a_notch_counts_once_a_piece():
    hull = convex_hull(shapely.box(-1, -1, 1, 1))
    comb = (
        shapely.box(-5, -5, 5, 5)
        .difference(shapely.box(2, 0.5, 3, 9))
        .difference(shapely.box(3.5, 0.5, 4, 9))
    )
    around = surroundings(hull, ring_of(comb))
    top = tracks(around, np.array([np.pi / 2]))
    assert between(around, top, np.array([0]), top, np.array([0]))[1].tolist() == [3.0]


def test_a_cut_that_severs_an_arm_drops_it_without_counting_its_far_pieces():
    hull = convex_hull(shapely.box(-1, -1, 1, 1))
    # an L: a foot to the right below the hull, and from its end an arm that stands up beyond a gap
    board = shapely.box(-2, -4, 2, 4).union(shapely.box(2, -4, 8, -2)).union(shapely.box(6, -2, 8, 4))
    around = surroundings(hull, ring_of(board))
    below = tracks(around, np.array([3 * np.pi / 2]))
    area, cuts = between(around, below, np.array([0]), below, np.array([0]))
    assert cuts.tolist() == [1.0]
    assert (area[0] + around.hull_sums[-1]) / 2 == pytest.approx(4 * 5, abs=1e-6)
