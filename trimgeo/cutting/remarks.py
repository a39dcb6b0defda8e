"""What a person should know before this cut: holes it runs through, a bit that cuts wider than its kerf."""

from __future__ import annotations

from collections.abc import Sequence

import shapely
from shapely import LineString, Point

from trimgeo.model.board import Hole
from trimgeo.model.job import Cutter


def crossed_holes(holes: Sequence[Hole], new_edges: Sequence[LineString]) -> tuple[str, ...]:
    """A warning for each hole that a new edge runs through.

    >>> crossed_holes([Hole("H1", (5.0, 0.4), 3.2, True)], [LineString([(0, 0), (10, 0)])])
    ('a new edge runs through hole H1: it will break out at the edge',)
    """
    edges = shapely.MultiLineString(list(new_edges))
    return tuple(
        f"a new edge runs through hole {hole.name}: it will break out at the edge"
        for hole in holes
        if edges.distance(Point(hole.at)) < hole.diameter / 2
    )


def odd_bit(cutter: Cutter) -> tuple[str, ...]:
    """A warning where a bit's diameter and its kerf differ: a bit cuts as wide as it is.

    >>> odd_bit(Cutter(kind="bit", kerf=1.0, diameter=2.0))
    ('the bit is 2.00 mm thick and its kerf is given as 1.00 mm: a bit cuts at least as wide as it is',)
    """
    if cutter.kind != "bit" or cutter.diameter is None or abs(cutter.diameter - cutter.kerf) < 0.01:
        return ()
    return (
        f"the bit is {cutter.diameter:.2f} mm thick and its kerf is given as {cutter.kerf:.2f} mm: "
        "a bit cuts at least as wide as it is",
    )
