"""Corners: a wheel's disc moved along the cut as judge, and the words of CONTRACT."""

from __future__ import annotations

import math

import numpy as np
import pytest
from shapely import Polygon, affinity, box

from trimgeo.cutting.corners import corners, impossible
from trimgeo.cutting.edges import chains, new_edges
from trimgeo.model.board import Circle, Ring
from trimgeo.model.job import Cutter, Finish
from trimgeo.model.plan import Corner

BOARD = box(0, 0, 100, 60)
WHEEL = Cutter(kind="wheel", kerf=1.0, diameter=38.0, breakthrough=0.5)
BIT = Cutter(kind="bit", kerf=2.0, diameter=2.0)
BLADE = Cutter(kind="blade", kerf=0.5)
THICKNESS = 1.6


def found(
    finished: Polygon | Ring, board: Polygon = BOARD, cutter: Cutter = WHEEL, s: float = 0.5
) -> tuple[Corner, ...]:
    part, edge = finished if isinstance(finished, Ring) else Ring(finished), Ring(board)
    cuts = new_edges(part, edge)
    return corners(cuts, chains(cuts, part), cutter, Finish(sanding=s), THICKNESS, edge)


def wedge(waste: float) -> Polygon:
    """A part that fills the board but for a wedge of ``waste`` degrees, its corner at (50, 30)."""
    a = math.radians(waste)
    up, along = (50 + 30 / math.tan(a), 60), (100, 30)
    far = [up] if 50 <= up[0] <= 100 else [(100, 60), up] if up[0] > 100 else [up]
    corner = [along, (50, 30), *far]
    return Polygon([(0, 0), (100, 0), *corner, (0, 60)])


def test_a_corner_is_inside_where_the_part_is_reflex() -> None:
    part = Polygon([(0, 0), (80, 0), (80, 20), (40, 20), (40, 60), (0, 60)])
    assert [(c.at, c.inside) for c in found(part)] == [((80, 20), False), ((40, 20), True)]


def test_only_a_wheel_stops_short_and_only_a_bit_leaves_a_fillet() -> None:
    part = Polygon([(0, 0), (80, 0), (80, 20), (40, 20), (40, 60), (0, 60)])
    assert [(c.stop_short is None, c.fillet) for c in found(part)] == [(True, None), (False, None)]
    # CONTRACT and DESIGN: d/2 on the guide line, d/2 + s on the finished edge.
    assert [(c.stop_short, c.fillet) for c in found(part, cutter=BIT)] == [(None, None), (None, 1.5)]
    assert [(c.stop_short, c.fillet) for c in found(part, cutter=BLADE)] == [(None, None), (None, None)]


@pytest.mark.parametrize("waste", [40.0, 60.0, 80.0, 90.0, 120.0, 140.0])
def test_a_wheel_that_stops_there_touches_the_other_guide_line_and_goes_no_further(waste: float) -> None:
    # Points of the wheel's rim and of both its sides, as it stands at the stop.
    (corner,) = [c for c in found(wedge(waste)) if c.inside]
    assert corner.stop_short is not None
    # The guide line's corner at the origin, the cut along -x towards it, the waste above it.
    a, radius = math.radians(waste), 19.0
    depth = np.linspace(0, THICKNESS, 400)
    half = np.sqrt(radius**2 - (radius - THICKNESS - 0.5 + depth) ** 2)
    front = corner.stop_short - half
    rim = np.concatenate(
        [np.column_stack([front, np.full_like(front, y)]) for y in np.linspace(0, WHEEL.kerf, 50)]
    )
    # The waste lies between the cut, along +x, and the other side's line, at angle a.
    beyond = rim[:, 0] * math.sin(a) - rim[:, 1] * math.cos(a)
    assert beyond.min() == pytest.approx(0, abs=0.02)


def test_an_l_shaped_board_makes_an_inside_corner_at_its_own_edge() -> None:
    board = Polygon([(0, 0), (100, 0), (100, 50), (50, 50), (50, 100), (0, 100)])
    part = Polygon([(0, 0), (100, 0), (100, 50), (50, 50), (0, 90)])
    assert [(c.at, c.inside) for c in found(part, board)] == [((50, 50), True)]
    straight = box(0, 0, 100, 50)
    assert found(straight, board) == ()


def test_a_reflex_corner_on_the_edge_is_inside_only_where_the_run_out_does_not_fit() -> None:
    # The tip of a notch touches the corner between the two cuts.
    notch = Polygon([(50, 30), (75, 60), (25, 60)])
    board = BOARD.difference(notch)
    part = Polygon([(0, 0), (100, 0), (100, 31), (50, 30), (0, 31)])
    (wheel,), (bit,) = found(part, board, WHEEL, 8.0), found(part, board, BIT, 8.0)
    assert (wheel.at, wheel.inside) == ((50, 30), True)
    assert (bit.at, bit.inside) == ((50, 30), False)


def test_a_corner_of_the_part_on_the_edge_is_an_outside_corner() -> None:
    part = Polygon([(0, 0), (100, 0), (100, 20), (60, 60), (0, 20)])
    assert [(c.at, c.inside) for c in found(part)] == [((60, 60), False)]


def test_a_line_that_runs_smoothly_into_an_arc_has_no_corner() -> None:
    angle = np.linspace(0, math.pi / 2, 60)
    arc = np.column_stack([40 + 20 * np.cos(angle), 20 + 20 * np.sin(angle)])
    part = Ring(Polygon([(0, 0), (60, 0), *arc, (0, 40)]), (Circle((40.0, 20.0), 20.0),))
    assert found(part) == ()
    kinked = Ring(Polygon([(0, 0), (60, 0), *arc, (0, 45)]), (Circle((40.0, 20.0), 20.0),))
    assert [c.inside for c in found(kinked)] == [True]


def test_a_cut_shorter_than_its_two_stops_is_called_impossible() -> None:
    part = Polygon([(0, 0), (100, 0), (100, 60), (60, 60), (60, 30), (45, 30), (45, 60), (0, 60)])
    cuts = new_edges(Ring(part), Ring(BOARD))
    ends = found(part)
    (said,) = impossible(cuts, ends, Finish(sanding=0.5))
    assert said.startswith("Cut 2 is 14.0 mm long on the guide line, its two stops take 17.4 mm")
    wide, board = affinity.scale(part, 2, 1, origin=(0, 0)), box(0, 0, 200, 60)
    assert impossible(new_edges(Ring(wide), Ring(board)), found(wide, board), Finish(sanding=0.5)) == ()
