"""What runs into tall parts: the wheel and its holder, put down point by point along the cut, as judge."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely import LineString, Point, Polygon, box

from trimgeo.cutting.axle import Pass, passes
from trimgeo.cutting.edges import chains, new_edges
from trimgeo.cutting.holder import Standing, hit_sentences, hits
from trimgeo.cutting.lines import lines
from trimgeo.cutting.order import order_cuts
from trimgeo.model.board import Ring
from trimgeo.model.job import Cutter, Finish, Holder
from trimgeo.model.plan import Cut
from trimgeo.plane.rings import Floats

BOARD = Ring(box(0, 0, 120, 80))
ELL = Ring(Polygon([(0, 0), (120, 0), (120, 30), (60, 30), (60, 80), (0, 80)]))
THICKNESS = 1.6
WHEEL = Cutter(
    kind="wheel", kerf=1.0, diameter=38.0, breakthrough=0.5, wander=0.0, holder=Holder(radius=11.0, reach=7.0)
)


def axles(finished: Ring, cutter: Cutter) -> tuple[Pass, ...]:
    cuts = new_edges(finished, BOARD)
    cuts = order_cuts(cuts, chains(cuts, finished), BOARD)
    laid = lines(finished, BOARD, cuts, cutter, Finish(sanding=0.3), THICKNESS)
    return passes(laid.tool_centre, cuts, BOARD.polygon, cutter, THICKNESS)


def solid_points(one: Pass, cutter: Cutter, height: float) -> dict[tuple[str, str | None], Floats]:
    """Points, in the plan, of wheel and holder up to ``height`` over the board, all along a pass."""
    assert cutter.diameter is not None and cutter.holder is not None
    axle = cutter.diameter / 2 - THICKNESS - cutter.breakthrough
    out = np.array([one.along[1], -one.along[0]])
    turn = np.linspace(0, 2 * np.pi, 2000)
    found = {}
    for key, radius, across in (
        (("wheel", None), cutter.diameter / 2, np.linspace(-0.5, 0.5, 5)),
        (("holder", "waste"), cutter.holder.radius, np.arange(7.5, 150, 1.0)),
        (("holder", "kept"), cutter.holder.radius, -np.arange(7.5, 150, 1.0)),
    ):
        rim = radius * np.column_stack([np.sin(turn), np.cos(turn)])
        low = rim[(rim[:, 1] + axle <= height) & (rim[:, 1] + axle > -1e-9)]
        if len(low) == 0:
            found[key] = np.empty((0, 2))
            continue
        reach = np.linspace(low[:, 0].min(), low[:, 0].max(), 40)
        spots = one.start + np.linspace(0, 1, 25)[:, None] * (one.end - one.start)
        points = spots[:, None] + reach[:, None] * one.along
        found[key] = (points[:, :, None] + across[:, None] * out).reshape(-1, 2)
    return found


@pytest.mark.parametrize("seed", range(3))
def test_the_parts_in_the_way_are_those_that_a_point_of_the_solid_meets(seed: int) -> None:
    rng = np.random.default_rng(seed)
    along = axles(ELL, WHEEL)
    parts = []
    for n in range(12):
        x, y, a, b = *rng.uniform((5, 5), (110, 70)), *rng.uniform(3, 12, 2)
        parts.append(Standing(f"U{n}", float(rng.uniform(1, 25)), box(x, y, x + a, y + b)))
    found = {(hit.name, hit.cut, hit.by, hit.side) for hit in hits(along, parts, WHEEL, THICKNESS)}
    for part in parts:
        inner, outer = part.spine.buffer(-1.0), part.spine.buffer(1.0)
        for one in along:
            for (by, side), points in solid_points(one, WHEEL, part.height).items():
                key = (part.name, one.cut, by, side)
                if shapely.contains_xy(inner, points[:, 0], points[:, 1]).any():
                    assert key in found
                elif not shapely.contains_xy(outer, points[:, 0], points[:, 1]).any():
                    assert key not in found


def test_a_wheel_reaches_further_over_a_tall_part_than_into_the_board() -> None:
    # Along y = 30 towards the inside corner at (60, 30) and 12 mm beyond it: the wheel cuts 8.68 mm ahead of
    # its axle in the board's face, and at 15 mm height √(19² - 1.9²) = 18.9 mm: 10.2 mm further.
    beyond = [Standing("J1", 15.0, box(45, 28, 51, 33)), Standing("J2", 15.0, box(40, 28, 49, 33))]
    low = Standing("J3", 0.5, box(45, 28, 51, 33))
    found = hits(axles(ELL, WHEEL), [*beyond, low], WHEEL, THICKNESS)
    assert {hit.name for hit in found if hit.by == "wheel"} == {"J1"}
    (said,) = [text for text in hit_sentences(found) if "the wheel runs into" in text]
    assert "the wheel runs into J1 (15.0 mm high)" in said


def test_a_holder_hits_what_is_higher_than_its_underside_and_on_its_side() -> None:
    # Axle 19 - 1.6 - 0.5 = 16.9 mm up, holder of radius 11: its underside is 5.9 mm above the board.
    half = Ring(box(0, 0, 60, 80))
    tall, low = Standing("C1", 6.4, box(30, 30, 40, 40)), Standing("C2", 5.8, box(30, 50, 40, 60))
    found = hits(axles(half, WHEEL), [tall, low], WHEEL, THICKNESS)
    assert [(hit.name, hit.by, hit.side) for hit in found] == [("C1", "holder", "kept")]
    assert hit_sentences(found) == (
        "Along cut 1 hold the hand-piece over the waste: over the kept board it runs into C1 (6.4 mm high).",
    )


def test_a_bit_s_holder_stands_upright_around_it() -> None:
    # Its end is 12 - 1.6 - 0.5 = 9.9 mm above the board, 8 mm around the middle of the kerf at x = 61.3.
    bit = Cutter(kind="bit", kerf=2.0, diameter=2.0, wander=0.0, holder=Holder(radius=8.0, reach=12.0))
    half = Ring(box(0, 0, 60, 80))
    parts = [
        Standing("A", 10.0, Point(50, 40), 3.5),
        Standing("B", 9.8, Point(50, 50), 3.5),
        Standing("C", 10.0, Point(50, 60), 3.2),
    ]
    assert [hit.name for hit in hits(axles(half, bit), parts, bit, THICKNESS)] == ["A"]


def test_the_axle_goes_until_the_far_face_is_parted_and_no_further() -> None:
    # A wheel's far half chord is √(19² - 18.5²) = 4.33 mm: there the board's edge or the corner of the kerf
    # is.
    (one,) = axles(Ring(box(0, 0, 60, 80)), WHEEL)
    assert (one.start[1], one.end[1]) == (pytest.approx(4.33, abs=0.005), pytest.approx(80 - 4.33, abs=0.005))
    inward, outward = axles(ELL, WHEEL)
    assert LineString([inward.start, inward.end]).length > 0
    ends = sorted([tuple(inward.end), tuple(outward.start)], key=lambda at: at[1])
    # The guide line's inside corner is at (60.3, 30.3): both axles stop 8.68 mm before it.
    assert ends[0] == pytest.approx((60.3 + 8.68, 30.8), abs=0.01)
    assert ends[1] == pytest.approx((60.8, 30.3 + 8.68), abs=0.01)


def test_a_bit_s_holder_strays_by_the_wander() -> None:
    """Radius 8 mm around the kerf's middle at x = 61.3, wander 1 mm: as far as x = 52.3."""
    bit = Cutter(kind="bit", kerf=2.0, diameter=2.0, wander=1.0, holder=Holder(radius=8.0, reach=12.0))
    half = Ring(box(0, 0, 60, 80))
    parts = [
        Standing("A", 10.0, box(40, 30, 61.3 - 8.5, 35)),
        Standing("B", 10.0, box(40, 40, 61.3 - 10.0, 45)),
        Standing("C", 10.0, box(61.3 + 8.5, 50, 80, 55)),
    ]
    assert [hit.name for hit in hits(axles(half, bit), parts, bit, THICKNESS)] == ["A", "C"]


def test_at_an_outside_corner_the_far_face_is_cut_to_the_kerf_s_own_corner() -> None:
    """Kerf 2, round a rectangle: the far half chord √(19² - 18.5²) = 4.330 mm reaches back to 1 mm behind."""
    wheel = Cutter(kind="wheel", kerf=2.0, diameter=38.0, breakthrough=0.5)
    square = [(20, 20), (90, 20), (90, 60), (20, 60), (20, 20)]
    cuts = [Cut(n + 1, LineString(square[n : n + 2])) for n in range(4)]
    way = passes([LineString(square)], cuts, BOARD.polygon, wheel, THICKNESS)
    assert way[0].start == pytest.approx((20 + 4.330 - 1, 20), abs=1e-3)
    assert way[0].end == pytest.approx((90 - 4.330 + 1, 20), abs=1e-3)
    assert way[1].start == pytest.approx((90, 20 + 4.330 - 1), abs=1e-3)
