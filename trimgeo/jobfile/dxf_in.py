"""Pieces of line out of a DXF file.

Read are LINE, ARC, CIRCLE, ELLIPSE, SPLINE, LWPOLYLINE and POLYLINE in model space, and the same
within blocks (INSERT), seen from above: z and line widths are left out.  Text, dimensions and
points are passed over.  Whatever else encloses an area (hatches, solids, meshes) is refused
rather than lost, because a keep-out that is lost would be a false "clear".
"""

from __future__ import annotations

import io
import logging
import re
import warnings
from collections.abc import Iterator
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from typing import TYPE_CHECKING, Any, cast

import numpy as np

from trimgeo.errors import JobError, quoted
from trimgeo.jobfile.pieces import DEEPEST, FURTHEST, MOST_PIECES, MOST_POINTS, Piece, Source, unknown_layer
from trimgeo.jobfile.words import short
from trimgeo.plane.arcs import Floats, circle_piece, ellipse_arc
from trimgeo.tables import FLATTENING, MM_PER_INCH

if TYPE_CHECKING:
    from ezdxf.document import Drawing

UNITS: dict[int, tuple[str, float]] = {
    0: ("no unit", 1.0),
    1: ("inches", MM_PER_INCH),
    2: ("feet", 12 * MM_PER_INCH),
    4: ("millimetres", 1.0),
    5: ("centimetres", 10.0),
    6: ("metres", 1000.0),
    8: ("microinches", MM_PER_INCH * 1e-6),
    9: ("mils", MM_PER_INCH * 1e-3),
    10: ("yards", 36 * MM_PER_INCH),
    11: ("angstroms", 1e-7),
    12: ("nanometres", 1e-6),
    13: ("micrometres", 1e-3),
    14: ("decimetres", 100.0),
}
"""$INSUNITS and mm in each, DXF reference, header section, from memory; no unit counts as mm."""

PASSED_OVER = frozenset(
    [
        *("TEXT", "MTEXT", "ATTRIB", "ATTDEF", "POINT", "SEQEND", "VIEWPORT", "IMAGE", "LIGHT", "SUN"),
        *("DIMENSION", "ARC_DIMENSION", "LARGE_RADIAL_DIMENSION", "LEADER", "MULTILEADER", "MLEADER"),
        *("TOLERANCE", "ACAD_TABLE", "OLE2FRAME", "OLEFRAME"),
    ]
)
"""Entities that describe shapes but are none."""

NEEDED = {
    "LINE": ("start", "end"),
    "CIRCLE": ("center", "radius"),
    "ARC": ("center", "radius", "start_angle", "end_angle"),
    "ELLIPSE": ("center", "major_axis", "ratio"),
    "INSERT": ("name", "insert"),
}
"""What an entity cannot do without: the library would put a default in its place."""


def read_dxf(data: bytes, layer: str | None, source: Source) -> tuple[list[Piece], str]:
    r"""The pieces on a layer (all layers: None) in file order, in mm, and the unit's name.

    Layer names are compared without regard to case, as the format does.  Raises `JobError`
    where the file is no DXF, is cut off or has no such layer.

    >>> entity = "LINE 8 EDGE 10 0 20 0 11 2 21 1"  # from (0, 0) to (2, 1) inches
    >>> text = f"0 SECTION 2 HEADER 9 $INSUNITS 70 1 0 ENDSEC 0 SECTION 2 ENTITIES 0 {entity} 0 ENDSEC 0 EOF"
    >>> (piece,), unit = read_dxf(text.replace(" ", "\n").encode(), "edge", Source("x.dxf", "x.dxf"))
    >>> unit, piece.vertices.tolist(), piece.closed
    ('inches', [[0.0, 0.0, 0.0], [50.8, 25.4, 0.0]], False)
    """
    with _quiet():
        document = _document(data, source)
        # Where a file has no header, the library makes one up, in metres.
        headed = re.search(rb"SECTION\s+2\s+HEADER\s", data) is not None
        unit, factor = _unit(document, headed, source)
        try:
            pieces = list(_limited(_pieces(document, layer, factor, source), source))
            if not pieces and layer is not None:
                _need_layer(document, layer, source)
        except JobError:
            raise
        except Exception as error:  # the library meets damaged entities with exceptions of many kinds
            raise _damaged(source, error) from error
    return pieces, unit


@contextmanager
def _quiet() -> Iterator[None]:
    """What the library says on the way is not for the person: it goes nowhere."""
    logger = logging.getLogger("ezdxf")
    before = logger.disabled
    logger.disabled = True
    try:
        with warnings.catch_warnings(), redirect_stdout(io.StringIO()), redirect_stderr(io.StringIO()):
            warnings.simplefilter("ignore")
            yield
    finally:
        logger.disabled = before


def _document(data: bytes, source: Source) -> Drawing:
    from ezdxf.filemanagement import dxf_stream_info, read

    if b"\0" in data[:4096]:
        raise source.error("is not a text file", "save the drawing as a text (ASCII) DXF file")
    if data.lstrip()[:1] == b"<":
        raise source.error("is not a DXF file", "give a DXF file, or name an SVG file .svg")
    if not re.search(rb"(?:^|\s)0[ \t]*\r?\nEOF\s*$", data[-200:]):
        raise source.error("is no DXF file, or it is cut off: its end is missing", "save the drawing again")
    try:
        info = dxf_stream_info(io.StringIO(data.decode("utf-8", "replace")))
        text = data.decode(info.encoding, "surrogateescape").replace("\r\n", "\n")
        return read(io.StringIO(text))
    except Exception as error:  # the library meets damaged files with exceptions of many kinds
        raise _damaged(source, error) from error


def _damaged(source: Source, error: Exception) -> JobError:
    return source.error(
        f"is no DXF file, or it is damaged ({type(error).__name__})", "save the drawing again as a DXF file"
    )


def _unit(document: Drawing, headed: bool, source: Source) -> tuple[str, float]:
    code = document.header.get("$INSUNITS", 0) if headed else 0
    if code not in UNITS:
        raise source.error(f"its header has the unit {code!s:.20}", "save it in millimetres ($INSUNITS 4)")
    return UNITS[code]


def _need_layer(document: Drawing, layer: str, source: Source) -> None:
    drawn = [e.dxf.layer for e in document.modelspace()]
    names = [_plain(name) for name in (*drawn, *(table.dxf.name for table in document.layers))]
    if layer.casefold() not in {name.casefold() for name in names}:
        raise unknown_layer(source, layer, names, "layer")


def _plain(name: object) -> str:
    """A name with its characters beyond the code page, which stand as U+ and four digits."""
    return re.sub(r"\\U\+([0-9A-Fa-f]{4})", lambda found: chr(int(found[1], 16)), str(name))


def _limited(pieces: Iterator[Piece], source: Source) -> Iterator[Piece]:
    points = 0
    for number, piece in enumerate(pieces):
        points += len(piece.vertices)
        if number >= MOST_PIECES or points > MOST_POINTS:
            raise source.error(
                f"has more than {MOST_PIECES} pieces of line", "name the layer that holds the shapes"
            )
        yield piece


def _pieces(document: Drawing, layer: str | None, factor: float, source: Source) -> Iterator[Piece]:
    for entity, name in _entities(document.modelspace(), None, 0, [0], source):
        if layer is not None and name.casefold() != layer.casefold():
            continue
        kind = entity.dxftype()
        if kind in PASSED_OVER:
            continue
        for key in NEEDED.get(kind, ()):
            if not entity.dxf.hasattr(key):
                raise source.error(f"has a damaged {kind} without {key}", "save the drawing again")
        for vertices, closed in _vertices(entity, factor, source):
            yield Piece(vertices, closed, name)


def _entities(
    container: Any, inherited: str | None, depth: int, count: list[int], source: Source
) -> Iterator[tuple[Any, str]]:
    """Entities with blocks taken apart, and their layers: "0" in a block is the insert's layer."""
    if depth > DEEPEST:
        raise source.error(f"has blocks nested over {DEEPEST} deep", "explode the blocks before saving")
    for entity in container:
        count[0] += 1
        if count[0] > 4 * MOST_PIECES:
            raise source.error("has too many copies of its blocks", "save the shapes alone")
        if not entity.dxf.hasattr("layer"):
            raise source.error(f"has a damaged {entity.dxftype()} without layer", "save the drawing again")
        own = _plain(entity.dxf.layer)
        name = inherited if own == "0" and inherited is not None else own
        if entity.dxftype() != "INSERT":
            yield entity, name
            continue
        if entity.block() is None:
            raise source.error("inserts a block that it does not have", "save the drawing again")
        for single in entity.multi_insert() if entity.mcount > 1 else (entity,):
            inside = single.virtual_entities(skipped_entity_callback=_skipped(source))
            yield from _entities(inside, name, depth + 1, count, source)


def _skipped(source: Source) -> Any:
    def refuse(entity: Any, reason: str) -> None:
        if entity.dxftype() not in PASSED_OVER:
            raise source.error(
                f"has a {entity.dxftype()} in a block that cannot be placed", "explode the blocks first"
            )

    return refuse


def _vertices(entity: Any, factor: float, source: Source) -> Iterator[tuple[Floats, bool]]:
    """Vertices in mm, shape (n, 3), and whether they close."""
    kind = entity.dxftype()
    if kind == "LINE":
        ends = np.array([entity.dxf.start, entity.dxf.end])[:, :2] * factor
        yield np.column_stack([ends, [0.0, 0.0]]), False
    elif kind in ("CIRCLE", "ARC"):
        yield _round(entity, factor, source)
    elif kind == "ELLIPSE":
        yield _ellipse(entity, factor)
    elif kind == "SPLINE":
        yield _spline(entity, factor, source)
    elif kind == "LWPOLYLINE":
        if entity.dxf.hasattr("count") and entity.dxf.count != len(entity):
            raise source.error("has a damaged LWPOLYLINE", "save the drawing again")
        local = np.array(entity.get_points("xyb"), dtype=np.float64).reshape(-1, 3)
        yield from _polyline(local, bool(entity.closed), _mirrored(entity, source), factor)
    elif kind == "POLYLINE" and not (entity.is_poly_face_mesh or entity.is_polygon_mesh):
        # Frame points of a fitted curve lie beside the curve, and are not part of it.
        shown = [v for v in entity.vertices if not v.dxf.flags & 16]
        rows = [(v.dxf.location.x, v.dxf.location.y, v.dxf.get("bulge", 0.0)) for v in shown]
        local = np.array(rows, dtype=np.float64).reshape(-1, 3)
        mirrored = entity.is_2d_polyline and _mirrored(entity, source)
        yield from _polyline(local, bool(entity.is_closed), mirrored, factor)
    else:
        raise source.error(
            f"has a {kind} on layer {quoted(short(str(entity.dxf.layer)))}, which has no outline to read",
            "draw its outline as a closed polyline, or name a layer that holds outlines alone",
        )


def _mirrored(entity: Any, source: Source) -> bool:
    """Whether its plane faces down; raises `JobError` where it is tilted (DXF object coordinates)."""
    x, y, z = entity.dxf.extrusion
    if abs(x) > 1e-9 or abs(y) > 1e-9 or not abs(z) > 0:
        raise source.error(f"has a tilted {entity.dxftype()}", "draw flat, seen from above")
    return bool(z < 0)


def _polyline(local: Floats, closed: bool, mirrored: bool, factor: float) -> Iterator[tuple[Floats, bool]]:
    if len(local) > 1:
        yield local * (np.array([-factor, factor, -1.0]) if mirrored else (factor, factor, 1.0)), closed


def _round(entity: Any, factor: float, source: Source) -> tuple[Floats, bool]:
    x, y, _ = entity.dxf.center
    radius = entity.dxf.radius * factor
    if not radius > 0:
        raise source.error(f"has a {entity.dxftype()} of radius {radius:g}", "draw it again or delete it")
    sign = -1.0 if _mirrored(entity, source) else 1.0
    x, y = sign * x * factor, y * factor
    if entity.dxftype() == "CIRCLE":
        return circle_piece(x, y, radius), True
    start, end = np.radians([entity.dxf.start_angle, entity.dxf.end_angle])
    sweep = (end - start) % (2 * np.pi) or 2 * np.pi
    return ellipse_arc((x, y), (sign * radius, 0), (0, radius), start, sweep), False


def _ellipse(entity: Any, factor: float) -> tuple[Floats, bool]:
    centre = np.array(entity.dxf.center)[:2] * factor
    major, minor = (np.array(axis)[:2] * factor for axis in (entity.dxf.major_axis, entity.minor_axis))
    start, end = entity.dxf.get("start_param", 0.0), entity.dxf.get("end_param", 2 * np.pi)
    sweep = (end - start) % (2 * np.pi)
    if not np.isfinite([*centre, *major, *minor, sweep]).all() or np.abs([major, minor]).max() > FURTHEST:
        return np.full((2, 3), np.inf), False
    whole = sweep < 1e-9 or 2 * np.pi - sweep < 1e-9
    vertices = ellipse_arc(centre, major, minor, start, 2 * np.pi if whole else sweep)
    return (vertices[:-1], True) if whole else (vertices, False)


def _spline(entity: Any, factor: float, source: Source) -> tuple[Floats, bool]:
    curve = entity.construction_tool()
    control = np.array([tuple(p) for p in curve.control_points], dtype=np.float64) * factor
    numbers = np.concatenate([control.ravel(), np.array(curve.knots()), np.array(curve.weights())])
    # The flattening below halves until it is close enough: what is not finite would never be.
    if not np.isfinite(numbers).all() or np.abs(control).max() > FURTHEST:
        return np.full((2, 3), np.inf), False
    if np.any(np.diff(curve.knots()) < 0):
        raise source.error("has a damaged SPLINE", "save the drawing again")
    limit = MOST_POINTS // 10
    points: list[tuple[float, float]] = []
    for point in curve.flattening(FLATTENING / factor, segments=8):
        points.append((point.x * factor, point.y * factor))
        if len(points) > limit:
            raise source.error("has a SPLINE of too many points", "draw it with fewer")
    return cast("Floats", np.column_stack([points, np.zeros(len(points))])), False
