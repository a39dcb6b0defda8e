"""What a person should know before this cut: holes in its way, waste too thin to cut, a bit too thick."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from shapely import LineString, Point, Polygon

from trimgeo.model.board import Hole
from trimgeo.model.job import Cutter
from trimgeo.model.plan import Cut


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


def thin_waste(cuts: Sequence[Cut], edge: Polygon, reach: float) -> tuple[str, ...]:
    """A warning for each straight cut beside which most of the waste is narrower than ``reach``, mm.

    ``reach`` is how far the kerf's outer wall lies from the finished edge, s + k: where that is off the
    board, a cutter has air on one side and wanders.

    >>> thin_waste([Cut(2, LineString([(0, 9), (0, 0)]))], shapely.box(-1, 0, 20, 9), 1.5)
    ('cut 2 takes off a strip that is mostly narrower than 1.5 mm: grind it off, or leave the edge as it is',)
    """
    said = []
    for cut in cuts:
        if cut.circle is not None:
            continue
        start, end = np.asarray(cut.start), np.asarray(cut.end)
        along = (end - start) / np.hypot(*(end - start))
        wall = np.array([start, end]) + reach * np.array([along[1], -along[0]])
        if shapely.intersection(LineString(wall), edge).length < cut.length / 2:
            said.append(
                f"cut {cut.n} takes off a strip that is mostly narrower than {reach:.1f} mm: grind it off, "
                "or leave the edge as it is"
            )
    return tuple(said)


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
