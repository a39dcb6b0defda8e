"""Fewest cuts against programs that share no code with them."""

from __future__ import annotations

import importlib.util
import sys
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import shapely
import shapely.affinity
from shapely import Polygon

from trimgeo.plane.annulus import NoRoomError, annulus
from trimgeo.plane.fewest import fewest_cuts
from trimgeo.plane.taut import eaves, taut_loop

BENCH = Path(__file__).parents[1] / "bench"


def bench(name):
    spec = importlib.util.spec_from_file_location(name, BENCH / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


corridors, boards = bench("corridors"), bench("boards_built")
bench("long_outlines")  # which the next one imports
slotted_rooms = bench("slotted_rooms")


def walled(shape):
    return np.zeros(len(shape.exterior.coords) - 1, dtype=bool)


def faults(found, kept, allowed, free):
    """What shapely alone says against an outline; its cuts are counted anew."""
    ring = shapely.get_coordinates(allowed.exterior)
    own = shapely.union_all(shapely.linestrings(np.stack([ring[:-1], ring[1:]], axis=1)[free])).buffer(1e-4)
    each = boards.Smallest(found.count, found.outline.area, found.outline)
    return boards.faults_of(each, kept, allowed, own)


@pytest.mark.parametrize("seed", range(25))
def test_in_a_thin_random_corridor_the_fewest_cuts_are_proved_and_the_outline_is_sound(seed):
    kept, allowed = corridors.corridor(seed)
    found = fewest_cuts(kept, allowed, walled(allowed))
    assert found.count == found.proved
    assert faults(found, kept, allowed, walled(allowed)) == []


@pytest.mark.parametrize("seed", range(25))
def test_on_a_random_board_the_fewest_cuts_are_proved_and_the_outline_is_sound(seed):
    kept, allowed, free = boards.board(seed)
    found = fewest_cuts(kept, allowed, free)
    assert found.count == found.proved
    assert faults(found, kept, allowed, free) == []


@pytest.mark.parametrize(("seed", "cuts"), [(23, 3), (297, 4), (313, 3), (351, 4)])
def test_a_pocket_of_the_room_beside_the_way_asks_for_no_cut(seed, cuts):
    # the walls' corners behind a slot are no corners that a cut past the slot has to pass
    kept, allowed = slotted_rooms.slotted(seed)
    found = fewest_cuts(kept, allowed, walled(allowed))
    assert (found.count, found.proved) == (cuts, cuts)
    assert faults(found, kept, allowed, walled(allowed)) == []


def fewest_nested_sides(inner, outer):
    """Fewest sides of a polygon between two convex ones, in plain numpy.

    From a point of the outer ring the tangent past the inner one is followed to the outer ring again, until
    once around; from one start that is at most one more than the fewest, so dense starts are tried (Aggarwal,
    Booth, O'Rourke, Suri and Yap 1989).
    """
    sides = np.stack([outer, np.roll(outer, -1, axis=0)], axis=1)

    def onward(point):
        away = inner - point
        chosen = away[0]
        for way in away[1:]:  # the tangent that leaves all of the inner polygon on its left
            if chosen[0] * way[1] - chosen[1] * way[0] < 0:
                chosen = way
        best, there = -1.0, point
        for start, end in sides:
            chord = end - start
            below = chosen[0] * chord[1] - chosen[1] * chord[0]
            if abs(below) < 1e-14:
                continue
            off = start - point
            along = (off[0] * chord[1] - off[1] * chord[0]) / below
            share = (off[0] * chosen[1] - off[1] * chosen[0]) / below
            if along > best and -1e-12 <= share <= 1 + 1e-12:
                best, there = along, point + along * chosen
        return there

    middle = inner.mean(axis=0)

    def links(start):
        at, turned, count = start, 0.0, 0
        while turned < 2 * np.pi - 1e-9:
            there = onward(at)
            (x, y), (u, v) = at - middle, there - middle
            turned += np.arctan2(x * v - y * u, x * u + y * v)
            at, count = there, count + 1
        return count

    return min(
        links(start + share * (end - start)) for start, end in sides for share in np.linspace(0, 1, 12)
    )


def random_hull(draw, count, wide, high):
    angle = np.sort(draw.uniform(0, 2 * np.pi, count))
    return Polygon(np.column_stack([wide * np.cos(angle), high * np.sin(angle)]))


@pytest.mark.parametrize("seed", range(12))
def test_between_convex_polygons_the_fewest_are_those_of_the_published_greedy(seed):
    draw = np.random.RandomState(seed)
    inner = random_hull(draw, draw.randint(6, 15), 30, 20)
    gap = draw.uniform(0.3, 8)
    outer = inner.buffer(gap, join_style="mitre", mitre_limit=draw.uniform(1.01, 1.5))
    found = fewest_cuts(inner, outer, walled(outer))
    rings = (shapely.get_coordinates(shapely.orient_polygons(each).exterior)[:-1] for each in (inner, outer))
    # a dense sample of starts may miss the only good ones: it is never below the fewest
    greedy = fewest_nested_sides(*rings)
    assert found.count <= greedy <= found.count + 1
    assert found.proved == found.count
    assert faults(found, inner, outer, walled(outer)) == []


def test_most_dense_samples_of_starts_find_the_fewest_between_convex_polygons():
    same = 0
    for seed in range(10):
        draw = np.random.RandomState(100 + seed)
        inner = random_hull(draw, 8, 30, 20)
        outer = inner.buffer(draw.uniform(0.5, 6), join_style="mitre")
        rings = (
            shapely.get_coordinates(shapely.orient_polygons(each).exterior)[:-1] for each in (inner, outer)
        )
        same += fewest_nested_sides(*rings) == fewest_cuts(inner, outer, walled(outer)).count
    assert same >= 9


def reached_by_sight(kept, allowed, cell):
    """Fewest links of a loop by breadth-first search over a grid of points, which sees a little less.

    Two points see each other where the segment between them lies in the annulus; a loop of n links through
    grid points is found as a shortest closed walk that goes once around (its angle about the kept middle).
    """
    room = shapely.difference(allowed, kept)
    shapely.prepare(room)
    x, y, right, top = allowed.bounds
    grid = np.stack(np.meshgrid(np.arange(x, right, cell), np.arange(y, top, cell)), axis=-1).reshape(-1, 2)
    grid = grid[shapely.covers(room, shapely.points(grid))]
    count = len(grid)
    i, j = np.triu_indices(count, 1)
    sees = shapely.covers(room, shapely.linestrings(np.stack([grid[i], grid[j]], axis=1)))
    i, j = i[sees], j[sees]
    middle = shapely.get_coordinates(shapely.point_on_surface(kept))[0]
    a, b = grid[i] - middle, grid[j] - middle
    turn = np.arctan2(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0], np.sum(a * b, axis=1))
    source, target, turn = np.append(i, j), np.append(j, i), np.append(turn, -turn)
    start = np.arctan2(*(grid - middle).T[::-1])
    # a walk is lifted to its angle about the middle: sheets 0 and 1 hold the angles below and from 2 pi on
    sheet = np.rint((start[source] + turn - start[target]) / (2 * np.pi)).astype(int)
    best = np.inf
    for first in range(count):
        seen = np.zeros((3, count), dtype=bool)
        front = np.zeros_like(seen)
        front[0, first] = seen[0, first] = True
        for links in range(1, 12):
            onward = np.zeros_like(seen)
            for level in range(3):
                for step in (-1, 0, 1):
                    if 0 <= level + step < 3:
                        move = front[level, source] & (sheet == step)
                        onward[level + step, target[move]] = True
            front = onward & ~seen
            seen |= onward
            if seen[1, first]:
                best = min(best, links)
                break
    return best


@pytest.mark.parametrize("seed", range(6))
def test_no_loop_through_a_grid_of_points_has_fewer_links_than_are_proved(seed):
    draw = np.random.RandomState(seed)
    angle = np.sort(draw.uniform(0, 2 * np.pi, 7))
    radius = draw.uniform(5, 10, 7)
    kept = Polygon(radius[:, None] * np.column_stack([np.cos(angle), np.sin(angle)]))
    allowed = Polygon(kept.buffer(1.6, join_style="mitre", mitre_limit=1.5).exterior)
    found = fewest_cuts(kept, allowed, walled(allowed))
    assert found.proved <= reached_by_sight(kept, allowed, 0.8)


@pytest.mark.parametrize("seed", range(8))
def test_every_eave_of_the_taut_loop_proves_the_same(seed):
    from trimgeo.plane.windows import by_eave

    kept, allowed = corridors.corridor(seed)
    room = annulus(kept, allowed, walled(allowed))
    counts = {len(by_eave(room, eave).windows) for eave in eaves(taut_loop(room))}
    assert len(counts) <= 1


@pytest.mark.parametrize("seed", range(8))
def test_the_taut_loop_is_the_shortest_way_around(seed):
    # a simple loop around what is kept, within what is allowed, that bends left at the one and right at the
    # other: each bend is needed, so it is a locally shortest loop, and in an annulus there is but one
    kept, allowed = corridors.corridor(seed)
    room = annulus(kept, allowed, walled(allowed))
    bends = taut_loop(room)
    loop = Polygon(room.pose.back(np.array([bend.point for bend in bends])))
    assert loop.is_valid
    assert loop.buffer(1e-4).covers(kept)
    assert allowed.buffer(1e-4).covers(loop)
    for before, here, after in zip([bends[-2], *bends[:-2]], bends[:-1], bends[1:], strict=True):
        (a, b), (c, d), (e, f) = before.point, here.point, after.point
        assert ((c - a) * (f - d) - (d - b) * (e - c) > 0) == (here.side == 0)


def test_where_all_of_the_border_is_free_nothing_is_cut():
    board = shapely.box(0, 0, 9, 4)
    found = fewest_cuts(shapely.box(1, 1, 2, 2), board, np.ones(4, dtype=bool))
    assert (found.count, found.proved) == (0, 0)
    assert found.outline.symmetric_difference(board).area < 1e-6


@pytest.mark.parametrize(("free", "cuts"), [("", 3), ("r", 2), ("rt", 1), ("rl", 2), ("rtl", 1)])
def test_a_square_in_a_wide_room_needs_as_many_cuts_as_the_free_sides_leave(free, cuts):
    # by hand: a triangle where nothing is free; a wedge on one free side; one cut where two meet at a corner
    room = shapely.orient_polygons(shapely.box(0, 0, 30, 30))
    corners = shapely.get_coordinates(room)
    names = {(30.0, 15.0): "r", (15.0, 30.0): "t", (0.0, 15.0): "l", (15.0, 0.0): "b"}
    flags = np.array([names[tuple((a + b) / 2)] in free for a, b in pairwise(corners)])
    found = fewest_cuts(shapely.box(20, 20, 22, 22), room, flags)
    assert (found.count, found.proved) == (cuts, cuts)


def test_a_kept_part_over_a_wall_is_named_with_the_overlap():
    with pytest.raises(NoRoomError) as refused:
        fewest_cuts(shapely.box(1, 1, 9.25, 2), shapely.box(0, 0, 9, 4), np.zeros(4, dtype=bool))
    assert refused.value.overlap == pytest.approx(0.25)
    assert refused.value.point[0] == pytest.approx(9.25)
    assert refused.value.wall[0] == pytest.approx(9.0)


def test_a_kept_part_that_touches_two_walls_is_still_solved():
    found = fewest_cuts(shapely.box(0, 1, 9, 2), shapely.box(0, 0, 9, 4), np.zeros(4, dtype=bool))
    assert found.count == found.proved == 4


@pytest.mark.parametrize("seed", range(10))
def test_the_fewest_do_not_depend_on_how_the_job_lies(seed):
    kept, allowed, free = boards.board(seed)
    before = fewest_cuts(kept, allowed, free)
    turned = [shapely.affinity.rotate(each, 33.3, origin=(7, 7)) for each in (kept, allowed)]
    mirrored = [shapely.affinity.scale(each, -1, 1, origin=(0, 0)) for each in (kept, allowed)]
    for one, other in (turned, mirrored):
        after = fewest_cuts(one, other, free)
        assert (after.count, after.proved) == (before.count, before.proved)


@pytest.mark.parametrize("seed", range(12))
def test_a_wall_moved_over_a_kept_part_is_named_and_a_hair_of_room_is_enough(seed):
    # the overlap is known from the construction: a wall stands so far inside the kept part's furthest corner
    draw = np.random.RandomState(seed)
    kept = corridors.corridor(seed)[0]
    x, y, right, top = kept.bounds
    overlap = 10 ** draw.uniform(-3, 0)
    room = shapely.box(x - 5, y - 5, right - overlap, top + 5)
    with pytest.raises(NoRoomError) as refused:
        fewest_cuts(kept, room, walled(room))
    assert refused.value.overlap == pytest.approx(overlap, abs=1e-6)
    assert refused.value.point[0] == pytest.approx(right, abs=1e-6)
    corners = shapely.get_coordinates(room.exterior)
    side = corners[refused.value.side : refused.value.side + 2]
    assert side[:, 0] == pytest.approx([right - overlap] * 2)
    enough = shapely.box(x - 5, y - 5, right + 10 ** draw.uniform(-6, -3), top + 5)
    found = fewest_cuts(kept, enough, walled(enough))
    assert faults(found, kept, enough, walled(enough)) == []
