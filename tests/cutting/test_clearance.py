import math
from itertools import pairwise

import numpy as np
import pytest
import shapely
from shapely import LineString, MultiPolygon, Point, Polygon, box

from trimgeo.cutting.clearance import minima, rows
from trimgeo.model.board import Keepout
from trimgeo.model.job import Placing

BOARD = box(0, 0, 60, 40)
KEPT = box(0, 0, 30, 40)
CUT = [LineString([(30, 0), (30, 40)])]
EXACT = Placing(print=0, taping=0, finish=0)


def keepout(spine, radius=0.0, **changes):
    values = {"name": "K", "kind": "component", "layers": (1,), "net": None, "required": 0.5, "reason": ""}
    return Keepout(spine=spine, radius=radius, **(values | changes))


def row(one, kept=KEPT, cut=CUT, board=BOARD, wander=0.0, sanding=0.0, placing=EXACT):
    return rows([one], kept, cut, board, wander, sanding, placing)[0]


@pytest.mark.parametrize("seed", range(50))
def test_a_random_job_agrees_with_the_brute_force(judged, seed):
    compared, wrong = judged(seed)
    assert compared == 8
    assert wrong == []


@pytest.mark.parametrize(
    ("spine", "radius", "expected", "at"),
    [
        (Point(20, 20), 4.0, 6.0, (24, 20)),  # elementary: centre to line less radius
        (LineString([(5, 5), (20, 5)]), 1.5, 8.5, (21.5, 5)),
        (box(10, 10, 12, 12), 0.0, 18.0, None),
        (Point(29, 20), 4.0, -3.0, (33, 20)),
        (box(20, 10, 37, 12), 0.0, -7.0, None),
        (box(-5, -5, 65, 45), 0.0, -30.0, None),  # all over the board: only as far as the board goes
        (Point(60, 20), 5.0, -30.0, None),
    ],
)
def test_clearance_is_the_distance_inside_and_the_depth_outside(spine, radius, expected, at):
    found = row(keepout(spine, radius, on_board=BOARD.contains(spine.buffer(radius))))
    assert found.nominal == pytest.approx(expected, abs=1e-12)
    assert at is None or found.at == pytest.approx(at, abs=1e-9)


def test_only_what_lies_on_the_board_counts():
    over_the_edge = keepout(Point(29, -1), 2.0, on_board=False)
    # the disc meets y = 0 at x = 29 + sqrt(4 - 1): 0.732 past the cut, while off the board it reaches 1
    assert row(over_the_edge).nominal == pytest.approx(-(math.sqrt(3) - 1), abs=1e-12)
    near = keepout(Point(27, -1), 2.0, on_board=False)
    assert row(near).nominal == pytest.approx(3 - math.sqrt(3), abs=1e-12)
    assert row(near).at == pytest.approx((27 + math.sqrt(3), 0), abs=1e-9)


@pytest.mark.parametrize("spine", [Point(70, 20), box(60, 10, 65, 20), Point(61, 20)])
def test_what_has_nothing_on_the_board_has_no_clearance_and_is_clear(spine):
    found = row(keepout(spine, 1.0 if spine.geom_type == "Point" else 0.0, on_board=False))
    assert (found.nominal, found.worst, found.at, found.state) == (None, None, None, "clear")


def test_without_a_new_edge_there_is_no_clearance():
    found = row(keepout(Point(5, 5), 1.0), kept=BOARD, cut=[])
    assert (found.nominal, found.worst, found.at, found.state) == (None, None, None, "clear")


def test_an_existing_edge_does_not_count():
    assert row(keepout(box(0, 0, 1, 1))).nominal == 29.0


@pytest.mark.parametrize("x", [28.0, 32.0])
def test_what_touches_from_within_is_at_nought_and_from_without_is_outside(x):
    assert row(keepout(Point(x, 20), 2.0)).nominal == pytest.approx(0.0 if x < 30 else -4.0, abs=1e-12)


def test_a_sliver_along_an_existing_edge_is_not_outside():
    kept = Polygon([(0, 0.03), (30, 0.04), (30, 40), (0, 40)])  # snapped to within the edge tolerance only
    cut = [LineString([(30, 0.04), (30, 40)])]
    assert row(keepout(box(5, 0, 10, 5)), kept=kept, cut=cut).nominal == pytest.approx(20.0, abs=1e-9)


def test_depth_in_a_pocket_is_half_its_width_and_a_corridor_of_it_ends_the_search():
    kept = BOARD.difference(box(20, 10, 40, 40))
    cut = [
        LineString(points) for points in ([(20, 40), (20, 10)], [(20, 10), (40, 10)], [(40, 10), (40, 40)])
    ]
    found = row(keepout(box(15, 5, 45, 20.5)), kept=kept, cut=cut)
    assert found.nominal == pytest.approx(-10.0, abs=1e-9)  # inscribed circle of the pocket's end
    found = row(keepout(box(15, 15, 45, 19)), kept=kept, cut=cut)
    assert found.nominal == pytest.approx(-9.0, abs=1e-9)  # above y = 20 the walls are nearer than the floor


def test_depth_at_an_inner_peak_is_found_although_it_lies_on_no_boundary():
    rest = box(20, 10, 40, 30).union(box(29, 30, 31, 40))  # a chamber behind a narrow neck
    kept = BOARD.difference(rest)
    ring = shapely.get_coordinates(kept.exterior)
    sides = [LineString(side) for side in pairwise(ring)]
    cut = [side for side in sides if not BOARD.boundary.buffer(1e-9).contains(side)]
    found = row(keepout(box(10, 5, 50, 35)), kept=kept, cut=cut)
    # as far from the floor as from the two ends of the neck: (30, y), y - 10 = sqrt(1 + (30 - y)^2)
    y = (1 + 900 - 100) / 40
    assert found.nominal == pytest.approx(-min(y - 10, 10.0), abs=1e-9)


def test_parts_of_one_keepout_count_together():
    both = MultiPolygon([box(1, 1, 2, 2), box(31, 1, 33, 2)])
    assert row(keepout(both)).nominal == pytest.approx(-3.0, abs=1e-12)
    assert row(keepout(MultiPolygon([box(1, 1, 2, 2), box(20, 1, 22, 2)]))).nominal == 8.0


def test_a_hole_in_a_plane_does_not_hide_its_rim():
    plane = box(1, 1, 29.5, 39).difference(box(5, 5, 25, 35))
    assert row(keepout(plane, kind="copper")).nominal == 0.5


def test_worst_takes_off_what_strays_past_the_sanding_margin_and_the_uncertainty():
    # JCGM 100:2008 5.1.2 and 6.2: root sum of squares, coverage factor 2
    placing = Placing(print=0.10, taping=0.15, finish=0.10)
    found = row(keepout(Point(20, 20), 4.0, uncertainty=0.2), wander=0.8, sanding=0.5, placing=placing)
    assert found.uncertainty == pytest.approx(2 * math.sqrt(0.01 + 0.0225 + 0.01 + 0.04))
    assert found.worst == pytest.approx(6.0 - 0.3 - found.uncertainty)
    found = row(keepout(Point(20, 20), 4.0), wander=0.2, sanding=0.5)
    assert found.worst == found.nominal


@pytest.mark.parametrize(
    ("required", "state"), [(5.7, "clear"), (5.700001, "tight"), (6.0, "tight"), (6.000001, "breached")]
)
def test_state_is_clear_only_where_the_worst_still_keeps_the_limit(required, state):
    # ISO 14253-1, from memory; at the limit itself rounding decides nothing
    assert row(keepout(Point(20, 20), 4.0, required=required), wander=0.3).state == state


@pytest.mark.parametrize("angle", np.linspace(0.1, 6.1, 13))
def test_an_outline_built_at_the_limit_is_clear_at_every_angle(angle):
    limit = 0.1 + 0.2
    turn = [math.cos(angle), -math.sin(angle), math.sin(angle), math.cos(angle), 11.3, 7.7]
    board, kept, cut, disc = (
        shapely.affinity.affine_transform(shape, turn)
        for shape in (BOARD, KEPT, CUT[0], Point(30 - limit - 2.7, 20))
    )
    assert row(keepout(disc, 2.7, required=limit), kept=kept, cut=[cut], board=board).state == "clear"


def test_what_may_be_cut_is_clear_and_still_measured():
    found = row(keepout(box(20, 10, 37, 12), may_cut=True))
    assert (found.state, found.nominal) == ("clear", -7.0)


def test_minima_leave_out_what_is_cut_because_it_may_be():
    plane = keepout(box(20, 10, 37, 12), name="GND", kind="copper", layers=(2,), may_cut=True)
    touching = keepout(box(20, 20, 30, 22), name="GND2", kind="copper", layers=(2,), may_cut=True)
    kept_plane = keepout(box(20, 30, 28, 32), name="VCC", kind="copper", layers=(2, 3), may_cut=True)
    outer = keepout(box(20, 34, 29, 36), name="A", kind="trace", layers=(1, 4))
    twin = keepout(box(20, 34, 29, 36), name="B", kind="trace", layers=(1, 4))
    part = keepout(box(0, 0, 25, 5), name="U1", layers=(2,))
    found = rows([plane, touching, kept_plane, twin, outer, part], KEPT, CUT, BOARD, 0, 0, EXACT)
    least, inner = minima(found, 4)
    assert (least.name, inner.name) == ("A", "VCC")
    assert minima(found[:2], 4) == (None, None)


def test_many_keepouts_are_measured_as_each_alone():
    rng = np.random.default_rng(7)
    centre = rng.uniform((2, 2), (58, 38), (60, 2))
    kept = Polygon([(0, 0), (45, 0), (38, 15), (25, 20), (20, 40), (0, 40)])
    cut = [
        LineString([(45, 0), (38, 15)]),
        LineString([(38, 15), (25, 20)]),
        LineString([(25, 20), (20, 40)]),
    ]
    some = [keepout(Point(at), rng.uniform(0.1, 2.0), name=str(n)) for n, at in enumerate(centre)]
    together = rows(some, kept, cut, BOARD, 0.3, 0.5, Placing())
    assert together == tuple(row(one, kept, cut, BOARD, 0.3, 0.5, Placing()) for one in some)
