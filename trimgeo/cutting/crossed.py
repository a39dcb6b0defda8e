"""Holes of the bare board that a new edge runs through."""

from __future__ import annotations

from collections.abc import Sequence

import shapely
from shapely import LineString, Point

from trimgeo.model.board import Hole


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
