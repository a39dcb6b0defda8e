"""Cutting order: checked by walking the cuts and asking where each may start."""

from __future__ import annotations

from types import ModuleType

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Point, Polygon, box

from trimgeo.cutting.edges import chains, new_edges
from trimgeo.cutting.order import order_cuts
from trimgeo.model.board import Ring
from trimgeo.model.plan import Cut

BOARD = Ring(box(0, 0, 100, 60))


def ordered(finished: Polygon) -> tuple[Cut, ...]:
    part = Ring(finished)
    cuts = new_edges(part, BOARD)
    return order_cuts(cuts, chains(cuts, part), BOARD)


def on_edge(at: tuple[float, float]) -> bool:
    return BOARD.polygon.exterior.distance(Point(at)) < 0.05


def test_cuts_from_edge_to_edge_come_first() -> None:
    # One corner is cut off straight, the other in three cuts.
    part = Polygon([(0, 0), (80, 0), (80, 20), (60, 20), (60, 50), (100, 50), (100, 60), (20, 60), (0, 40)])
    cuts = ordered(part)
    assert [cut.n for cut in cuts] == [1, 2, 3, 4, 5]
    assert (cuts[0].start, cuts[0].end) == ((20, 60), (0, 40))


@given(st.integers(0, 2**32 - 1), st.integers(0, 12))
@settings(max_examples=80, deadline=None)
def test_no_cut_starts_inside_the_board_where_it_need_not(shapes: ModuleType, seed: int, shift: int) -> None:
    finished = shapes.random_part(seed, BOARD.polygon)
    cuts = ordered(finished)
    assert [cut.n for cut in cuts] == list(range(1, len(cuts) + 1))
    made: set[tuple[float, float]] = set()
    inside = []
    for cut in cuts:
        ends = (cut.start, cut.end)
        if not any(on_edge(end) or end in made for end in ends):
            inside.append(cut.n)
        made.update(ends)
    whole_ring_is_new = bool(cuts) and not any(on_edge(end) for cut in cuts for end in (cut.start, cut.end))
    assert inside == ([1] if whole_ring_is_new else [])
    through = [on_edge(cut.start) and on_edge(cut.end) for cut in cuts]
    assert through == sorted(through, reverse=True)
    rolled = np.roll(np.array(finished.exterior.coords)[:-1], shift, axis=0)
    assert ordered(Polygon(rolled)) == cuts


def test_the_cut_that_frees_the_part_is_the_last() -> None:
    cuts = ordered(Polygon([(0, 0), (80, 0), (80, 20), (60, 20), (60, 60), (0, 60)]))
    assert [(cut.start, cut.end) for cut in cuts] == [
        ((80, 0), (80, 20)),
        ((80, 20), (60, 20)),
        ((60, 20), (60, 60)),
    ]


def test_a_part_cut_out_all_round_starts_nearest_to_the_edge() -> None:
    cuts = ordered(box(20, 20, 95, 40))
    assert cuts[0].start == (95, 20)
    assert [cut.start for cut in cuts[1:]] == [cut.end for cut in cuts[:-1]]
