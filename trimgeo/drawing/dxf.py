"""The DXF to design an enclosure around: written from the Plan, because parts have heights there.

Frame: mm, x right, y up, looking at the top face; z = 0 is the top face, the board lies below it
down to z = -thickness.  A component on the top face extrudes upwards from 0; one on the bottom face
lies at z = -thickness and extrudes downwards: its DXF thickness is negative.  Where a height is
not known the thickness is 0.  Everything else lies flat at z = 0.
"""

from __future__ import annotations

import io
import logging
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

import numpy as np
import shapely
from shapely import LineString, MultiPolygon, Point, Polygon

from trimgeo.errors import JobError, quoted
from trimgeo.model.board import Area, Circle, Hole, Keepout
from trimgeo.model.plan import Plan
from trimgeo.plane.arcs import Floats, bulged, circle_piece
from trimgeo.tables import EDGE_TOLERANCE, FLATTENING, OKABE_ITO

if TYPE_CHECKING:
    from ezdxf.document import Drawing
    from ezdxf.layouts.layout import Modelspace

RELEASES: Final = ("R2018", "R12")

_NEUTRAL_INDEX: Final = 7
"""The colour index that every program shows black on white and white on black."""

LINETYPES: Final[dict[str, tuple[str, list[float]]]] = {
    "LONG_DASHES": ("long dashes", [6.4, 5.0, -1.4]),
    "DASH_AND_DOT": ("dash and dot", [7.0, 4.0, -1.5, 0.0, -1.5]),
    "DOTS": ("dots", [1.0, 0.0, -1.0]),
    "SHORT_DASHES": ("short dashes", [2.5, 1.6, -0.9]),
}
"""Names, words and patterns: whole length, then dashes (positive), gaps (negative), dots (0)."""

LAYERS: Final[dict[str, tuple[str | None, str]]] = {
    "FINISHED": (None, "Continuous"),
    "GUIDE": (OKABE_ITO["bluish green"], "LONG_DASHES"),
    "TOOL_CENTRE": (OKABE_ITO["blue"], "DASH_AND_DOT"),
    "KERF": ("#808080", "DOTS"),
    "BOARD": (OKABE_ITO["sky blue"], "SHORT_DASHES"),
    "HOLES": (OKABE_ITO["reddish purple"], "Continuous"),
    "KEEPOUT_COMPONENT": (OKABE_ITO["vermilion"], "Continuous"),
    "KEEPOUT_COPPER": (OKABE_ITO["orange"], "SHORT_DASHES"),
    "PROBES": (OKABE_ITO["yellow"], "Continuous"),
    "NOTES": (None, "Continuous"),
}
"""Each layer's colour (None: the neutral one alone) and line; no meaning hangs on colour alone."""

CASE_LAYERS: Final[dict[str, tuple[str | None, str]]] = {
    "CASE": (None, "LONG_DASHES"),
    "POSTS": (None, "SHORT_DASHES"),
}
"""The same where the job has a case."""

LINE_SPACING: Final = 4.0
NOTE_HEIGHT: Final = 2.5
LABEL_HEIGHT: Final = 1.2
LONGEST_TEXT: Final = 120
"""Letters: one as six characters (R12) stays well under the 2049 and the 255 that readers allow."""

Layer = Literal[
    "FINISHED",
    "GUIDE",
    "TOOL_CENTRE",
    "KERF",
    "BOARD",
    "HOLES",
    "KEEPOUT_COMPONENT",
    "KEEPOUT_COPPER",
    "PROBES",
    "NOTES",
    "CASE",
    "POSTS",
]


@dataclass(frozen=True, eq=False)
class _Line:
    """A polyline with arcs: vertices as in `trimgeo.plane.arcs`, elevation, extrusion."""

    layer: Layer
    vertices: Floats
    closed: bool = True
    z: float = 0.0
    height: float = 0.0


@dataclass(frozen=True)
class _Round:
    """A circle."""

    layer: Layer
    at: tuple[float, float]
    radius: float


@dataclass(frozen=True)
class _Mark:
    """A point."""

    layer: Layer
    at: tuple[float, float]
    z: float


@dataclass(frozen=True)
class _Text:
    """A line of text, its lower left corner at ``at``."""

    layer: Layer
    words: str
    at: tuple[float, float]
    size: float
    z: float = 0.0


_Figure = _Line | _Round | _Mark | _Text


def to_dxf(plan: Plan, release: str = "R2018") -> bytes:
    """The DXF file of a plan: the layers of `LAYERS`, mm; the same plan gives the same bytes.

    ``FINISHED``, ``BOARD`` and ``KERF`` are closed light-weight polylines whose arcs are arcs; open
    ``GUIDE`` and ``TOOL_CENTRE`` lines are open ones.  ``HOLES`` has circles: the board's, and keep-outs of
    kind hole (a slot is a polyline).  ``KEEPOUT_COMPONENT`` has components, as polylines with
    thickness, and flat whatever is kept clear for no part or copper: keep-outs of kind other, and the
    room around a board hole.  ``KEEPOUT_COPPER`` has traces, vias, pads and copper, round ones as circles.
    Parts that may be lost are not in it.  ``R12`` has old-style polylines, for old programs.
    Raises `trimgeo.JobError` for another release.
    """
    if release not in RELEASES:
        raise JobError("release", f"found {quoted(release)}", f"use {' or '.join(RELEASES)}")
    with _steady():
        document = _document(plan, release)
        for figure in _each_once(_figures(plan)):
            _draw(document.modelspace(), figure, old=release == "R12")
        return _bytes(document, release)


@contextmanager
def _steady() -> Iterator[None]:
    """Fixed dates and identifiers instead of the hour and random ones, and no chatter."""
    from ezdxf import options  # type: ignore[attr-defined]  # its package says so, its stubs do not

    logger = logging.getLogger("ezdxf")
    before = options.write_fixed_meta_data_for_testing, logger.disabled
    options.write_fixed_meta_data_for_testing = True
    logger.disabled = True
    try:
        yield
    finally:
        options.write_fixed_meta_data_for_testing, logger.disabled = before


def _document(plan: Plan, release: str) -> Drawing:
    from ezdxf.filemanagement import new

    document = new(release, units=4)
    document.header["$MEASUREMENT"] = 1
    for name, (words, pattern) in LINETYPES.items():
        document.linetypes.add(name, pattern, description=words)
    document.layers.remove("Defpoints")
    named = LAYERS if plan.board.case is None else {**LAYERS, **CASE_LAYERS}
    for name, (colour, linetype) in named.items():
        true_colour = None if colour is None else int(colour[1:], 16)
        document.layers.add(name, color=_NEUTRAL_INDEX, true_color=true_colour, linetype=linetype)
    left, low, right, high = plan.board.edge.polygon.bounds
    document.modelspace().reset_extents((left, low, 0.0), (right, high, 0.0))
    document.set_modelspace_vport(1.2 * max(right - left, high - low), ((left + right) / 2, (low + high) / 2))
    return document


def _bytes(document: Drawing, release: str) -> bytes:
    # The library lists the kinds in use in the order of a set, which changes with the hash seed.
    document.classes.add_required_classes(document.dxfversion)
    ordered = sorted(document.classes.classes.items())
    document.classes.classes.clear()
    document.classes.classes.update(ordered)
    stream = io.StringIO()
    document.write(stream)
    text = stream.getvalue()
    if release == "R12":
        # The library leaves the units out of R12, which had none; readers since then look for them.
        version = "  9\n$ACADVER\n  1\nAC1009\n"
        units = "  9\n$INSUNITS\n 70\n4\n  9\n$MEASUREMENT\n 70\n1\n"
        text = text.replace(version, version + units, 1)
    return document.encode(text)


def _figures(plan: Plan) -> Iterator[_Figure]:
    board, job = plan.board, plan.board.job
    curves = _rows([*plan.finished.circles, *board.edge.circles, *(c.circle for c in plan.cuts if c.circle)])
    # Lines beside a curved cut follow its circle at a distance: the mitre adds a little to it.
    sanding = job.finish.sanding if job.finish else 0.0
    reach = 1.1 * (sanding + (job.cutter.kerf if job.cutter else 0.0)) + FLATTENING
    yield from _area("FINISHED", plan.finished.polygon, curves)
    for guide in plan.lines.guide:
        yield _track("GUIDE", guide, curves, reach)
    for centre in plan.lines.tool_centre:
        yield _track("TOOL_CENTRE", centre, curves, reach)
    yield from _area("KERF", plan.lines.kerf_band, curves, reach)
    yield from _area("BOARD", board.edge.polygon, _rows(board.edge.circles))
    for hole in board.holes:
        yield _Round("HOLES", hole.at, hole.diameter / 2)
    for keepout in board.keepouts:
        yield from _keepout(keepout, board.holes, job.board.thickness)
    yield from _probes(plan)
    yield from _case(plan)
    yield from _notes(plan)


def _area(
    layer: Layer, area: Area, circles: Floats, reach: float = 0.0, z: float = 0.0, height: float = 0.0
) -> Iterator[_Line]:
    """Closed lines around an area and its holes, counter-clockwise around material."""
    for polygon in area.geoms if isinstance(area, MultiPolygon) else (area,):
        if polygon.is_empty:
            continue
        whole = shapely.orient_polygons(polygon)
        for ring in (whole.exterior, *whole.interiors):
            points = np.asarray(ring.coords, dtype=np.float64)[:-1, :2]
            yield _Line(layer, bulged(points, True, circles, reach), True, z, height)


def _track(layer: Layer, line: LineString, circles: Floats, reach: float) -> _Line:
    """An open line, or a closed one where it ends at its first point."""
    points = np.asarray(line.coords, dtype=np.float64)[:, :2]
    closed = bool(line.is_closed)
    return _Line(layer, bulged(points[:-1] if closed else points, closed, circles, reach), closed)


def _keepout(keepout: Keepout, holes: Iterable[Hole], thickness: float) -> Iterator[_Figure]:
    inside = _hole_inside(keepout, holes)
    if inside is not None and abs(inside.diameter / 2 - keepout.radius) <= EDGE_TOLERANCE:
        return  # the board's own hole, which is drawn already
    layer = _layer_of(keepout, inside)
    standing = keepout.kind == "component"
    below = standing and keepout.face == "bottom"
    height = (keepout.height or 0.0) if standing else 0.0
    z, height = (-thickness, -height) if below else (0.0, height)
    spine, radius = keepout.spine, keepout.radius
    if isinstance(spine, Point):
        if standing:
            yield _Line(layer, circle_piece(spine.x, spine.y, radius), True, z, height)
        else:
            yield _Round(layer, (spine.x, spine.y), radius)
    elif radius > 0:
        # Round ends and joins are arcs about the corners of the spine.
        corners = shapely.get_coordinates(spine)
        circles = np.unique(np.column_stack([corners, np.full(len(corners), radius)]), axis=0)
        yield from _area(layer, _grown(spine, radius), circles, 0.0, z, height)
    elif isinstance(spine, Polygon | MultiPolygon):
        yield from _area(layer, spine, np.empty((0, 3)), 0.0, z, height)


def _hole_inside(keepout: Keepout, holes: Iterable[Hole]) -> Hole | None:
    """The board hole that a round keep-out of kind hole is, or is the room around."""
    if keepout.kind != "hole" or not isinstance(keepout.spine, Point):
        return None
    x, y = keepout.spine.x, keepout.spine.y
    return next((h for h in holes if np.hypot(x - h.at[0], y - h.at[1]) <= EDGE_TOLERANCE), None)


def _layer_of(keepout: Keepout, inside: Hole | None) -> Layer:
    if keepout.kind in ("trace", "via", "pad", "copper"):
        return "KEEPOUT_COPPER"
    # The room around a hole is no hole: nobody shall drill it.
    return "HOLES" if keepout.kind == "hole" and inside is None else "KEEPOUT_COMPONENT"


def _grown(spine: LineString | Polygon | MultiPolygon, radius: float) -> Area:
    """The spine grown with round ends and joins, its arcs within FLATTENING (sagitta).

    Twice as many sides as that asks for: where a join does not turn by a whole number of sides
    the library rounds, and makes them up to half as wide again.
    """
    widest = np.arccos(1 - min(FLATTENING / radius, 1.0))
    grown = shapely.buffer(spine, radius, quad_segs=max(4, int(np.ceil(np.pi / 2 / widest))))
    assert isinstance(grown, Polygon | MultiPolygon)
    return grown


def _probes(plan: Plan) -> Iterator[_Figure]:
    for probe in plan.board.probes:
        z = -plan.board.job.board.thickness if probe.face == "bottom" else 0.0
        yield _Mark("PROBES", probe.at, z)
        beside = (probe.at[0] + LABEL_HEIGHT / 2, probe.at[1] + LABEL_HEIGHT / 2)
        yield _Text("PROBES", f"{probe.name}: {probe.rail}, {probe.face} face", beside, LABEL_HEIGHT, z)


def _case(plan: Plan) -> Iterator[_Figure]:
    """Cavity and posts, in the board frame, round posts as circles."""
    case = plan.board.case
    if case is None:
        return
    yield from _area("CASE", case.cavity.polygon, _rows(case.cavity.circles))
    for post in case.posts:
        if len(post.circles) == 1 and abs(np.pi * post.circles[0].radius ** 2 / post.area - 1) < 1e-2:
            yield _Round("POSTS", post.circles[0].centre, post.circles[0].radius)
        else:
            yield from _area("POSTS", post.polygon, _rows(post.circles))


def _notes(plan: Plan) -> Iterator[_Text]:
    """What a stranger to the file must know, one line of text under the other below the board."""
    about, job = plan.board.job.job, plan.board.job
    thickness = job.board.thickness
    lines = [
        about.title,
        f"revision: {about.revision}" if about.revision else "",
        f"variant: {job.variant}" if job.variant else "",
        "units: millimetres; x right, y up, looking at the top face",
        f"z = 0 is the top face; the board reaches down to z = -{thickness:g}",
        "parts on the bottom face start there and extrude downwards; thickness 0: height not known",
        "FINISHED: the edge when all is done; it lies at z = 0 like everything that is no part",
        "GUIDE: stay outside of it; TOOL_CENTRE: middle of the cutter; KERF: what turns to dust",
        "CASE and POSTS: the enclosure's cavity and posts in the same frame" if plan.board.case else "",
        "KEEPOUT_COMPONENT also has, flat, areas that are kept clear for no part",
        "glass-fibre dust harms lungs and eyes: wet or extracted work, mask, glasses",
        "no power and no lithium cell on the board; mains only by licensed hands; local rules first",
    ]
    left, low, _, _ = plan.board.edge.polygon.bounds
    for n, words in enumerate([line for line in lines if line]):
        yield _Text("NOTES", words, (left, low - 10.0 - n * LINE_SPACING), NOTE_HEIGHT)


def _rows(circles: Iterable[Circle]) -> Floats:
    rows = [(*circle.centre, circle.radius) for circle in dict.fromkeys(circles)]
    return np.array(rows, dtype=np.float64).reshape(-1, 3)


def _each_once(figures: Iterable[_Figure]) -> Iterator[_Figure]:
    """The figures in order, without those that would lie on the same one of their layer."""
    seen: set[tuple[object, ...]] = set()
    for figure in figures:
        key: tuple[object, ...] = (figure,)
        if isinstance(figure, _Line):
            key = (figure.layer, figure.z, figure.height, _sides(figure))
        if key not in seen:
            seen.add(key)
            yield figure


def _sides(line: _Line) -> tuple[object, ...]:
    """The sides of a line, whatever its first point and its direction."""
    starts = [(round(x, 6), round(y, 6)) for x, y, _ in line.vertices.tolist()]
    ends = [*starts[1:], starts[0]]
    bulges = [round(abs(b), 9) for b in line.vertices[:, 2].tolist()]
    sides = [(*sorted(pair), bulge) for *pair, bulge in zip(starts, ends, bulges, strict=True)]
    return tuple(sorted(sides if line.closed else sides[:-1]))


def _draw(space: Modelspace, figure: _Figure, old: bool) -> None:
    layer = {"layer": figure.layer}
    if isinstance(figure, _Round):
        space.add_circle(figure.at, figure.radius, layer)
    elif isinstance(figure, _Mark):
        space.add_point((*figure.at, figure.z), layer)
    elif isinstance(figure, _Text):
        text = space.add_text(_plain(figure.words, old), height=figure.size, dxfattribs=layer)
        text.set_placement((*figure.at, figure.z))
    elif old:
        extruded = {**layer, "elevation": (0.0, 0.0, figure.z), "thickness": figure.height}
        line = space.add_polyline2d(
            figure.vertices.tolist(), format="xyb", close=figure.closed, dxfattribs=extruded
        )
        # Readers differ on whether the line's elevation counts or its vertices': say it in both.
        for vertex in line.vertices:
            vertex.dxf.location = (vertex.dxf.location.x, vertex.dxf.location.y, figure.z)
            vertex.dxf.layer = figure.layer
    else:
        space.add_lwpolyline(
            figure.vertices.tolist(),
            format="xyb",
            close=figure.closed,
            dxfattribs={**layer, "elevation": figure.z, "thickness": figure.height},
        )


def _plain(words: str, old: bool) -> str:
    """Words without what a reader takes for a code: control characters, %%, ^ and backslash codes."""
    line = " ".join("".join(c if c.isprintable() else " " for c in words).split())
    if len(line) > LONGEST_TEXT:
        line = line[: LONGEST_TEXT - 1] + "…"
    for code, safe in (("%%", "% % "), ("^", "^ "), ("\\U+", "\\ U+"), ("\\M+", "\\ M+")):
        line = line.replace(code, safe)
    # R12 writes what its code page lacks as four digits of Unicode: no room for more.
    return "".join(c if not old or ord(c) <= 0xFFFF else "?" for c in line)
