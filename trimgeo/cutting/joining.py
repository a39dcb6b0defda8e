"""What outlines are searched around: all that is kept as one shape, by its hull or by bridges."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from shapely import Polygon

from trimgeo.cutting.kept import MARGIN
from trimgeo.cutting.refusals import too_narrow
from trimgeo.cutting.room import HAIR, POLYGON, Ground, free_sides
from trimgeo.model.board import Case
from trimgeo.plane.annulus import Annulus, NoRoomError, annulus
from trimgeo.plane.bridges import NoBridgeError, bridged, bridges
from trimgeo.plane.coarser import coarser
from trimgeo.plane.fewest import Fewest, fewest_in

FEW_CORNERS: Final = 30
"""A shape with more is searched around with fewer."""

STANDS_OUT: Final = 0.01
"""mm: the shape with fewer corners stands out by so much, a tenth of what a hand can mark."""

POCKET: Final = 2.0
"""mm: no cutter makes a pocket that is narrower, so none is searched."""

_HALVINGS: Final = 10
"""Steps in which the widest neck that passes is found, for a refusal."""


@dataclass(frozen=True, eq=False)
class Field:
    """One shape to be led around, the ``room`` that holds the outline, and the fewest cuts there.

    Small outlines are searched in a ``coarse`` room, around a shape with fewer corners.
    """

    kept: Polygon
    room: Annulus
    few: Fewest
    coarse: Annulus


def fields(base: Ground, case: Case | None, neck: float, inside_corners: bool) -> list[Field]:
    """The shapes that may stand for what is kept, each with its room; the first needs the fewest cuts.

    Where the hull is allowed, it needs no more cuts than any other; outlines with inside corners are
    searched around what is kept itself, with bridges from piece to piece.  Raises `trimgeo.NoOutlineError`
    where no bridge as wide as ``neck`` passes.
    """
    shapes: list[Polygon] = []
    if base.hull_fits:
        shapes.append(base.hull)
    if inside_corners or not base.hull_fits:
        shapes.append(_bridged(base, case, neck))
    if not base.hull_fits and len(base.pieces) > 1:
        shapes += _hull_within(base)
    found: list[Field] = []
    for shape in shapes:
        if not any(shapely.equals_exact(shape.normalize(), each.kept.normalize(), MARGIN) for each in found):
            found += field(base, shape)
    return sorted(found, key=lambda each: each.few.count)


def field(base: Ground, shape: Polygon) -> list[Field]:
    """The field around one shape; none where its room is too narrow to be told."""
    allowed = base.allowed
    free = free_sides(allowed, base.kept.edge)
    try:
        room = annulus(shape, allowed, free)
    except NoRoomError:
        return []
    coarse = room
    if len(room.kept) > FEW_CORNERS:
        with suppress(NoRoomError):  # what is kept all but touches a wall
            coarse = annulus(coarser(shape, allowed, STANDS_OUT, POCKET), allowed, free)
    return [Field(shape, room, fewest_in(room), coarse)]


def _bridged(base: Ground, case: Case | None, neck: float) -> Polygon:
    if len(base.pieces) == 1:
        return Polygon(base.pieces[0])
    pieces = shapely.multipolygons(base.pieces)
    wide = shapely.union_all([coarser(each, base.allowed, STANDS_OUT, POCKET) for each in base.pieces])
    try:
        with suppress(NoBridgeError):  # quicker among few corners; what these close may stay open
            pieces = shapely.union_all([pieces, *bridges(wide, base.allowed, neck - 3 * HAIR)])
        return bridged(pieces, base.allowed, neck - 3 * HAIR)
    except NoBridgeError as error:
        passes, fails, point = 0.0, neck, error.point
        for _ in range(_HALVINGS):
            width = (passes + fails) / 2
            try:
                bridged(pieces, base.allowed, width)
                passes = width
            except NoBridgeError as closer:
                fails, point = width, closer.point
        apart = shapely.distance(base.pieces, shapely.Point(point))
        one, other = np.argsort(apart, kind="stable")[:2]
        pair = (base.pieces[one], base.pieces[other])
        raise too_narrow(base.kept, case, base.kept.grown(HAIR), pair, (point, passes, neck)) from error


def _hull_within(base: Ground) -> list[Polygon]:
    """The hull as far as it is allowed, where that holds all pieces."""
    parts = shapely.get_parts(shapely.intersection(base.hull, base.allowed))
    parts = parts[shapely.get_type_id(parts) == POLYGON]
    wide = shapely.buffer(parts, MARGIN)
    holding = parts[[bool(shapely.covers(each, base.pieces).all()) for each in wide]]
    return [Polygon(each.exterior) for each in holding]


def proving(base: Ground, found: list[Field]) -> Field:
    """The field whose fewest cuts bound those of any outline.

    That of the hull where it is allowed, or of the only piece; else of the piece that needs the most alone,
    for an outline around all of them holds each.
    """
    if base.hull_fits or len(base.pieces) == 1:
        return found[0]
    alone = [each for piece in base.pieces for each in field(base, piece)]
    return max(alone, key=lambda each: each.few.proved)
