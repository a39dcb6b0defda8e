"""Smallest outlines for each number of cuts, against brute force and searches that share no code."""

from __future__ import annotations

import importlib.util
import sys
from itertools import combinations, permutations
from pathlib import Path

import cv2
import numpy as np
import pytest
import shapely
import shapely.affinity
from scipy.optimize import differential_evolution
from shapely import Polygon

from trimgeo.plane.annulus import annulus
from trimgeo.plane.bridges import bridged
from trimgeo.plane.fewest import fewest_in
from trimgeo.plane.hulls import convex_hull
from trimgeo.plane.kgon import smallest_outlines
from trimgeo.plane.tracks import surroundings
from trimgeo.plane.trade import smallest_for_each


def bench(name):
    spec = importlib.util.spec_from_file_location(name, Path(__file__).parents[1] / "bench" / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


boards, long_outlines = bench("boards_built"), bench("long_outlines")  # in the order of their imports
slotted_rooms = bench("slotted_rooms")


def walled(shape):
    return np.zeros(len(shape.exterior.coords) - 1, dtype=bool)


def areas(kept, allowed, free, most=12, **options):
    return {each.cuts: each.area for each in smallest_for_each(annulus(kept, allowed, free), most, **options)}


SEEDS = [3, 9, 51]
"""Boards small enough for a quick test: among them some with free stretches."""


@pytest.mark.parametrize("seed", SEEDS)
def test_on_a_random_board_every_outline_is_sound_and_more_cuts_take_less(seed):
    result = boards.judge(seed)
    assert result["faults"] == []
    assert result["count"] == result["proved"] == min(result["areas"])


def star(draw, corners, low, high):
    angle = (np.arange(corners) + draw.uniform(0.1, 0.9, corners)) * 2 * np.pi / corners
    radius = draw.uniform(low, high, corners)
    return Polygon(radius[:, None] * np.column_stack([np.cos(angle), np.sin(angle)]))


def tiny(seed):
    draw = np.random.RandomState(seed)
    kept = star(draw, 6, 4, 10)
    return kept, Polygon(kept.buffer(draw.uniform(2, 6), join_style="mitre", mitre_limit=2).exterior)


@pytest.mark.parametrize(
    "kept",
    [
        shapely.box(0, 0, 30, 20) - shapely.box(10, 5, 20, 20),
        shapely.box(0, 0, 40, 20) - shapely.box(5, 5, 15, 20) - shapely.box(22, 8, 35, 20),
        Polygon([(0, 0), (30, 0), (30, 20), (22, 20), (18, 6), (13, 6.5), (9, 20), (0, 20)]),
    ],
)
def test_with_a_cut_for_each_side_a_shape_with_pockets_is_its_own_outline(kept):
    allowed = shapely.box(-8, -9, 50, 31)
    sides = len(kept.exterior.coords) - 1
    found = areas(kept, allowed, walled(allowed), sides)
    # cuts may take in the 2e-5 mm by which what is kept is relaxed
    assert found[sides] == pytest.approx(kept.area, abs=2e-5 * kept.length)
    assert min(area for cuts, area in found.items() if cuts < sides) > kept.area * 1.01


def deep_slot():
    """Two parts on either side of a slot, joined around its tip."""
    room = shapely.box(1, 1, 99, 79) - shapely.box(48, 0, 52, 70)
    return bridged(
        shapely.union_all([shapely.box(20, 20, 40, 40), shapely.box(60, 50, 70, 60)]), room, 5.0
    ), room


def test_around_a_deep_slot_no_outline_pared_down_from_what_is_kept_is_smaller():
    kept, room = deep_slot()
    found = areas(kept, room, walled(room))
    judge = slotted_rooms.pared(kept, room, 8)
    assert len(found) > 4
    for cuts in range(8, 13):
        assert min(area for k, area in found.items() if k <= cuts) <= judge[cuts] * (1 + 1e-3)
    assert min(found.values()) < 0.6 * found[min(found)]


@pytest.mark.parametrize("seed", [3, 23])
def test_in_a_room_with_slots_every_outline_is_sound_and_more_cuts_take_less(seed):
    kept, allowed = slotted_rooms.slotted(seed)
    found = list(smallest_for_each(annulus(kept, allowed, walled(allowed)), 9))
    assert [fault for each in found for fault in boards.faults_of(each, kept, allowed, Polygon())] == []
    assert [each.cuts for each in found] == list(range(found[0].cuts, 10))


def corners_of(angle, distance):
    """Where lines, in order, meet the next one: arrays of shape (..., n)."""
    x, y = np.sin(angle), -np.cos(angle)
    u, v, far = np.roll(x, -1, axis=-1), np.roll(y, -1, axis=-1), np.roll(distance, -1, axis=-1)
    with np.errstate(divide="ignore", invalid="ignore"):
        return (
            np.stack([distance * v - y * far, x * far - distance * u], axis=-1) / (x * v - y * u)[..., None]
        )


def smallest_by_trying(kept, allowed, cuts):
    """All polygons whose sides lie on lines through two corners of either ring, by shapely."""
    points = np.vstack([shapely.get_coordinates(each.exterior)[:-1] for each in (kept, allowed)])
    i, j = np.array(list(permutations(range(len(points)), 2))).T
    side = points[j] - points[i]
    angle = np.arctan2(side[:, 1], side[:, 0])
    distance = np.sin(angle) * points[i, 0] - np.cos(angle) * points[i, 1]
    # a cut that helps touches what is kept, on its left
    ring = shapely.get_coordinates(kept.exterior)[:-1]
    right = np.sin(angle)[:, None] * ring[:, 0] - np.cos(angle)[:, None] * ring[:, 1] - distance[:, None]
    useful = np.abs(right).min(axis=1) < 1e-9
    angle, distance = angle[useful], distance[useful]
    _, first = np.unique(
        np.round(np.column_stack([np.cos(angle), np.sin(angle), distance]), 7), axis=0, return_index=True
    )
    angle, distance = angle[first], distance[first]
    best = np.inf
    for chosen in np.array_split(np.array(list(combinations(range(len(angle)), cuts))), 50):
        for order in ((0, *rest) for rest in permutations(range(1, cuts))):
            corners = corners_of(angle[chosen[:, order]], distance[chosen[:, order]])
            x, y = corners[..., 0], corners[..., 1]
            with np.errstate(invalid="ignore"):
                area = np.sum(x * np.roll(y, -1, axis=1) - np.roll(x, -1, axis=1) * y, axis=1) / 2
            likely = (
                np.isfinite(corners).all(axis=(1, 2)) & (area >= kept.area) & (area < min(best, allowed.area))
            )
            shapes = shapely.polygons(corners[likely])
            good = shapely.is_valid(shapes)
            good[good] = shapely.covers(shapely.buffer(shapes[good], 1e-6), kept)
            good[good] = shapely.covers(allowed.buffer(1e-6), shapes[good])
            best = min([best, *shapely.area(shapes[good])])
    return best


@pytest.mark.parametrize("seed", range(3))
def test_no_triangle_along_lines_through_two_corners_is_smaller(seed):
    kept, allowed = tiny(seed)
    allowed = shapely.box(-14, -13, 15, 16)
    assert areas(kept, allowed, walled(allowed), 3)[3] <= smallest_by_trying(kept, allowed, 3) * (1 + 1e-6)


def test_no_quadrangle_along_lines_through_two_corners_is_smaller():
    kept = star(np.random.RandomState(5), 5, 3, 10)
    allowed = shapely.box(-12, -12, 12, 12)
    assert areas(kept, allowed, walled(allowed), 4)[4] <= smallest_by_trying(kept, allowed, 4) * (1 + 1e-6)


def smallest_by_chance(kept, allowed, cuts, seed):
    """Differential evolution over the directions and distances of the sides (Storn and Price 1997, scipy)."""

    def cost(values):
        angle, distance = values.reshape(2, -1)
        corners = corners_of(angle, distance)
        if not np.isfinite(corners).all() or np.abs(corners).max() > 1e3:
            return 1e4
        shape = Polygon(corners)
        if not shape.is_valid or not shape.exterior.is_ccw:
            return 5e3
        wrong = kept.difference(shape).area + shape.difference(allowed).area
        return shape.area + (20 * wrong + 5 if wrong > 1e-9 else 0.0)

    turns = np.arange(cuts) * 2 * np.pi / cuts
    bounds = [(turn - 1.5, turn + 1.5) for turn in turns] + [(-2.0, 16.0)] * cuts
    found = differential_evolution(cost, bounds, maxiter=60, popsize=5, seed=seed, tol=1e-8, polish=False)
    return found.fun


@pytest.mark.parametrize(("seed", "cuts"), [(0, 4), (1, 4)])
def test_no_search_by_chance_finds_a_smaller_outline_around_a_tiny_shape(seed, cuts):
    kept, allowed = tiny(seed)
    found = areas(kept, allowed, walled(allowed), 5)
    assert found[max(k for k in found if k <= cuts)] <= smallest_by_chance(kept, allowed, cuts, seed) * (
        1 + 1e-6
    )


@pytest.mark.parametrize("seed", range(2))
def test_around_a_convex_shape_the_exact_program_is_met_and_no_library_is_better(seed):
    draw = np.random.RandomState(seed)
    angle = np.sort(draw.uniform(0, 2 * np.pi, draw.randint(5, 40)))
    kept = Polygon(np.column_stack([30 * np.cos(angle), 18 * np.sin(angle)]))
    allowed = shapely.box(-300, -300, 310, 320)
    found = areas(kept, allowed, walled(allowed))
    hull = convex_hull(kept)
    ring = shapely.get_coordinates(shapely.orient_polygons(allowed).exterior)[:-1]
    exact = [each for each in smallest_outlines(surroundings(hull, ring), 12, 1e-3) if np.isfinite(each.area)]
    for each in exact:
        if len(each.angles) >= 3:
            assert found[len(each.angles)] == pytest.approx(each.area, rel=1e-9)
    points = hull.astype(np.float32)
    (wide, high) = cv2.minAreaRect(points)[1]
    assert found[4] <= wide * high * (1 + 1e-6)
    assert found[3] <= cv2.minEnclosingTriangle(points[:, None])[0] * (1 + 1e-6)


def inside_corners(outline, own):
    ring = shapely.get_coordinates(shapely.orient_polygons(outline).exterior)[:-1]
    before, after = ring - np.roll(ring, 1, axis=0), np.roll(ring, -1, axis=0) - ring
    reflex = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0] < -1e-9
    return int(np.sum(reflex & ~shapely.covers(own, shapely.points(ring))))


@pytest.mark.parametrize("seed", SEEDS[:2])
def test_without_inside_corners_there_are_none_and_it_costs_area_at_most(seed):
    kept, allowed, free = boards.board(seed)
    ring = shapely.get_coordinates(allowed.exterior)
    own = shapely.union_all(shapely.linestrings(np.stack([ring[:-1], ring[1:]], axis=1)[free])).buffer(1e-4)
    room = annulus(kept, allowed, free)
    plain = list(smallest_for_each(room, 8, inside_corners=False))
    assert all(inside_corners(each.outline, own) == 0 for each in plain)
    every = {each.cuts: each.area for each in smallest_for_each(room, 8)}
    for each in plain:
        assert each.area >= min(area for cuts, area in every.items() if cuts <= each.cuts) * (1 - 1e-9)


def with_collinear_points(shape, flags, draw):
    corners = shapely.get_coordinates(shape.exterior)
    points, own = [], []
    for start, end, flag in zip(corners[:-1], corners[1:], flags, strict=True):
        points.append(start)
        own.append(flag)
        if draw.uniform() < 0.4:
            points.append(start + draw.uniform(0.2, 0.8) * (end - start))
            own.append(flag)
    return Polygon(points), np.array(own)


@pytest.mark.parametrize("seed", SEEDS[1:2])
def test_the_trade_does_not_depend_on_how_the_job_lies(seed):
    kept, allowed, free = boards.board(seed)
    draw = np.random.RandomState(seed)
    before = areas(kept, allowed, free, 6)
    moved = [
        (
            shapely.affinity.rotate(kept, 33.3, origin=(7, 7)),
            shapely.affinity.rotate(allowed, 33.3, origin=(7, 7)),
        ),
        (
            shapely.affinity.scale(kept, -1, 1, origin=(0, 0)),
            shapely.affinity.scale(allowed, -1, 1, origin=(0, 0)),
        ),
        (
            shapely.affinity.translate(kept, 1234.5, -777.7),
            shapely.affinity.translate(allowed, 1234.5, -777.7),
        ),
    ]
    jobs = [(*pair, free) for pair in moved]
    more, flags = with_collinear_points(allowed, free, draw)
    jobs.append((with_collinear_points(kept, walled(kept), draw)[0], more, flags))
    ring, by = shapely.get_coordinates(allowed.exterior)[:-1], len(free) // 2
    jobs.append((kept, Polygon(np.roll(ring, -by, axis=0)), np.roll(free, -by)))
    for job in jobs:
        assert areas(*job, 6) == pytest.approx(before, rel=1e-6)


def test_the_first_outline_has_the_fewest_cuts_and_comes_before_the_rest():
    kept, allowed, free = boards.board(SEEDS[0])
    room = annulus(kept, allowed, free)
    few = fewest_in(room)
    first = next(smallest_for_each(room))
    assert first.cuts == few.count
    assert first.area <= few.outline.area * (1 + 1e-9)


@pytest.mark.parametrize("seed", SEEDS)
def test_an_outline_is_the_same_whatever_number_of_cuts_is_searched_up_to(seed):
    job = boards.board(seed)
    every = areas(*job, 10)
    for most in range(min(every), 10):
        assert areas(*job, most) == {cuts: area for cuts, area in every.items() if cuts <= most}


def test_a_square_on_a_free_board_is_cut_off_as_by_hand():
    # strips of 1 and 2 mm right and above are left where they are not cut; then one beside it and one below
    found = areas(shapely.box(1, 1, 2, 2), shapely.box(0, 0, 9, 4), np.ones(4, dtype=bool), 6)
    assert found == pytest.approx({0: 36.0, 1: 8.0, 2: 4.0, 3: 2.0, 4: 1.0})
