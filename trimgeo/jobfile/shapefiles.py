"""Closed shapes out of DXF and SVG files, in mm."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import shapely
from shapely import Polygon

from trimgeo.errors import JobError, printable, quoted
from trimgeo.jobfile.pieces import Piece, Source, checked, read_bytes
from trimgeo.jobfile.words import short
from trimgeo.model.board import Circle, Ring
from trimgeo.plane.arcs import Chains, Floats, chain, flatten, whole_circle
from trimgeo.tables import CHAIN_TOLERANCE, LARGEST_BOARD

SMALLEST_AREA = 1e-6
"""mm²: a square of one micrometre is nothing that anyone drew."""

TAKEN_FOR = {
    "no unit": "says no unit, taken for mm",
    "pixels": "gives its page in pixels, taken for 1/96 inch each",
}
"""What is done with files that say no unit of length (CSS pixels: W3C CSS Values 3, 5.2)."""


@dataclass(frozen=True)
class Shape:
    """A closed shape: counter-clockwise, its arcs flattened within `trimgeo.tables.FLATTENING`.

    ``disc`` is the exact circle where the shape is one, else None.  ``label`` is what the file calls
    the shape, else its layer and number; no two shapes of a file share one.  ``unit`` is the file's.
    """

    ring: Ring
    disc: Circle | None
    label: str
    unit: str = "millimetres"


def told_unit(shapes: Sequence[Shape], file: str, what: str) -> tuple[str, ...]:
    """A warning where a file says no unit of length: what it was taken for, and the size of ``what`` in it.

    >>> inches = Shape(Ring(shapely.box(0, 0, 1.8, 1.5)), None, "EDGE", "no unit")
    >>> told_unit([inches], "edge.dxf", "the board edge")
    ('edge.dxf says no unit, taken for mm: the board edge is 1.8 x 1.5 mm, if it is not, save it in mm',)
    """
    if not shapes or shapes[0].unit not in TAKEN_FOR:
        return ()
    left, low, right, high = shapely.total_bounds([shape.ring.polygon for shape in shapes]).tolist()
    return (
        f"{short(file)} {TAKEN_FOR[shapes[0].unit]}: {what} is {right - left:.4g} x {high - low:.4g} mm, "
        "if it is not, save it in mm",
    )


def read_shapes(path: Path, layer: str | None, place: str) -> tuple[Shape, ...]:
    """All closed shapes on a layer of a DXF or SVG file (all layers: None), in file order, in mm.

    Open lines and arcs make a shape where their ends meet within `trimgeo.tables.CHAIN_TOLERANCE`; all of
    them must.  DXF: units as its header says, mm where it says none; layers by name.  SVG: the
    origin is the lower left corner of the page, y up; layers are groups, by id or label.
    ``place`` is where in the job the file is named, for messages.  Raises `JobError` where the
    file cannot be read to the letter, or has no shape there, or one that is no board's.
    """
    source = Source(place, path.name)
    suffix = path.suffix.casefold()
    if suffix not in (".dxf", ".svg"):
        raise source.error("is neither a DXF nor an SVG file by its name", "give a file named .dxf or .svg")
    data = read_bytes(path, source)
    # Numbers beyond all bounds are refused below; numpy need not warn of them as well.
    with np.errstate(all="ignore"):
        if suffix == ".dxf":
            from trimgeo.jobfile.dxf_in import read_dxf

            pieces, unit = read_dxf(data, layer, source)
        else:
            from trimgeo.jobfile.svg_in import read_svg

            pieces, unit = read_svg(data, layer, source)
        closed = _closed([checked(piece, source) for piece in pieces], layer, source)
        if not closed:
            where = f" on {quoted(short(layer))}" if layer is not None else ""
            raise source.nothing(
                f"has no closed shape{where}", "draw one that shows, closed, and save it again"
            )
        labels = zip(closed, _labels(closed, layer), strict=True)
        return tuple(_shape(piece, label, unit, source) for piece, label in labels)


def _closed(pieces: Sequence[Piece], layer: str | None, source: Source) -> list[Piece]:
    """Closed pieces and rings of open ones, each in the place of its first piece in the file."""
    placed = [(n, piece) for n, piece in enumerate(pieces) if piece.closed]
    open_on: dict[str, list[int]] = {}
    for n, piece in enumerate(pieces):
        if not piece.closed:
            open_on.setdefault(piece.layer, []).append(n)
    for numbers in open_on.values():
        found = chain([pieces[n].vertices for n in numbers], CHAIN_TOLERANCE)
        if len(found.loose) or len(found.forks):
            raise _not_closed(found, pieces[numbers[0]].layer, layer, source)
        for first, vertices in found.rings:
            old = pieces[numbers[first]]
            placed.append((numbers[first], Piece(vertices, True, old.layer, old.label)))
    return [piece for _, piece in sorted(placed, key=lambda pair: pair[0])]


def _not_closed(found: Chains, on: str, layer: str | None, source: Source) -> JobError:
    """Where the narrowest gap is and how wide it is, else where too many ends meet."""
    where = f" on layer {quoted(short(on))}" if on else ""
    fix = (
        "close the lines there"
        if layer is not None
        else "close the lines there, or name a layer of closed shapes"
    )
    if not len(found.loose):
        at = _xy(found.forks[0])
        return source.error(
            f"has more than two ends of lines{where} that meet at {at}", "draw one closed line there"
        )
    if len(found.loose) == 1:
        return source.error(f"has a line{where} whose end at {_xy(found.loose[0])} meets no other", fix)
    ends = shapely.points(found.loose)
    pairs, distances = shapely.STRtree(ends).query_nearest(ends, exclusive=True, return_distance=True)
    best = int(np.argmin(distances))
    one, other = (found.loose[pairs[side, best]] for side in (0, 1))
    gap = f"a gap of {distances[best]:.3g} mm between {_xy(one)} and {_xy(other)}"
    return source.error(f"has lines{where} that do not close: {gap}", fix)


def _labels(pieces: Sequence[Piece], layer: str | None) -> list[str]:
    """A label for each shape: what the file calls it, else layer and number; never one twice."""
    counts: dict[str, int] = {}
    taken: set[str] = set()
    labels = []
    for piece in pieces:
        base = printable(" ".join((piece.label or piece.layer or layer or "shape").split()))[:100] or "shape"
        label = base if piece.label else ""
        while not label or label in taken:
            counts[base] = counts.get(base, 0) + 1
            label = f"{base}:{counts[base]}"
        taken.add(label)
        labels.append(label)
    return labels


def _shape(piece: Piece, label: str, unit: str, source: Source) -> Shape:
    points, circles = flatten(piece.vertices, closed=True)
    kept = points[np.hypot(*(points - np.roll(points, 1, axis=0)).T) > 0]
    low, high = (points.min(axis=0), points.max(axis=0))
    size = float((high - low).max())
    if size > LARGEST_BOARD:
        raise _too_large(label, size, unit, source)
    if len(kept) < 3:
        raise source.error(f'"{label}" at {_xy(points[0])} has fewer than three points', "draw it as an area")
    polygon = Polygon(kept)
    if not polygon.is_valid:
        at = re.search(r"\[(\S+) (\S+)\]", shapely.is_valid_reason(polygon))
        where = f" at {_xy(np.array(at.groups(), dtype=float))}" if at else ""
        raise source.error(f'"{label}" crosses or touches itself{where}', "draw an edge that does not")
    if polygon.area < SMALLEST_AREA:
        raise source.error(f'"{label}" at {_xy(points[0])} has no area', "draw it as an area")
    disc = whole_circle(piece.vertices)
    return Shape(
        Ring(shapely.orient_polygons(polygon), tuple(_circle(row) for row in circles)),
        None if disc is None else _circle(disc),
        label,
        unit,
    )


def _too_large(label: str, size: float, unit: str, source: Source) -> JobError:
    found = f'"{label}" is {size:.6g} mm wide or high, over the {LARGEST_BOARD:g} mm of the largest board'
    if unit in ("millimetres", "no unit", "pixels"):
        return source.error(found, "draw it in its true size, in millimetres")
    return source.error(
        f"its header says {unit}, and so {found}",
        "where it was drawn in millimetres, set its $INSUNITS to 4; else draw it in its true size",
    )


def _circle(row: Floats) -> Circle:
    # A picometre off: so a radius of 3.7 that went through half circles is 3.7 again.
    x, y, radius = (np.round(row, 9) + 0.0).tolist()
    return Circle((x, y), radius)


def _xy(point: Floats) -> str:
    return f"({point[0]:.3f}, {point[1]:.3f})"
