"""Views registered on another one: by points that both show, then by the holes that both show."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from shapely import Polygon

from trimgeo.model.board import View
from trimgeo.model.capture import LikePlace, LikePoint, LikeScale, ViewTable
from trimgeo.scale.holes_matched import Holes
from trimgeo.scale.holes_shared import refined
from trimgeo.scale.like import Registered, placed_like, scaled_like
from trimgeo.scale.scaled import Floats, Scaled, refuse_outside
from trimgeo.scale.source import Source

HolesOf = Callable[[View, Polygon | None], Floats]
"""Holes within a board edge in a true-scale picture: x, y, standard uncertainty, diameter, mm, (n, 4)."""


def scaled_by_like(
    source: Source, table: ViewTable, scale: LikeScale, other: View, other_source: Source, where: str
) -> Scaled:
    """The map of a picture without a scale of its own, registered on ``other``.

    Raises `trimgeo.JobError` for a pixel off either picture, and for points that fix no map.
    """
    pixels, there = _spots(scale.points, source, other_source, f"{where}, scale.points")
    found = scaled_like(
        pixels,
        there,
        other.to_board,
        shows=table.shows,
        size=source.size,
        like=other.name,
        where=f"{where}, scale.points",
        checked=bool(table.checks),
    )
    middle = found.to_board.to_mm(pixels).mean(axis=0)
    return Scaled(
        found.to_board,
        f"like {other.name}",
        found.note,
        (float(middle[0]), float(middle[1])),
        found.warnings,
        found.residuals,
        in_board_frame=True,
        scale_known=other.scale_known,
        placed=other.placed,
        registered=found,
    )


def placed_by_like(
    scaled: Scaled, source: Source, place: LikePlace, other: View, other_source: Source, where: str
) -> Scaled:
    """The map turned and shifted onto ``other``; errors as in `scaled_by_like`."""
    pixels, there = _spots(place.points, source, other_source, f"{where}, place.points")
    found = placed_like(
        scaled.to_board, pixels, there, other.to_board, like=other.name, where=f"{where}, place.points"
    )
    return replace(
        scaled,
        to_board=found.to_board,
        note=f"{scaled.note}; {found.note}",
        pivot=(0.0, 0.0),
        warnings=(*scaled.warnings, *found.warnings),
        in_board_frame=True,
        placed=other.placed,
        registered=replace(found, note=f"{scaled.note}; {found.note}"),
    )


def refined_on_holes(scaled: Scaled, own: Holes, other: View, there: Holes) -> Scaled:
    """The registration refined on the holes that both pictures show, where these settle it."""
    assert scaled.registered is not None
    points: Registered = scaled.registered
    found = refined(points, own, other.to_board, there, other.name)
    own_warnings = [each for each in scaled.warnings if each not in points.warnings]
    return replace(
        scaled, to_board=found.to_board, note=found.note, warnings=(*own_warnings, *found.warnings)
    )


def holes_in(view: View, edge: Polygon | None, holes_of: HolesOf) -> Holes:
    """The holes that a view's picture shows of a board within ``edge``, in its pixels."""
    found = holes_of(view, edge)
    return Holes.seen(view.to_board, found[:, :2], found[:, 2], found[:, 3])


def _spots(
    points: Sequence[LikePoint], source: Source, other_source: Source, where: str
) -> tuple[Floats, Floats]:
    pixels = np.array([point.pixel for point in points], dtype=np.float64)
    there = np.array([point.there for point in points], dtype=np.float64)
    for n, (pixel, spot) in enumerate(zip(pixels, there, strict=True), start=1):
        refuse_outside(source, pixel, f"{where}, point {n}, pixel")
        refuse_outside(other_source, spot, f"{where}, point {n}, there")
    return pixels, there
