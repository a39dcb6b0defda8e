"""What a face's sheet names, in the board frame: cuts, stops, holes, lifts, windows, keep-outs."""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot
from typing import Final, Literal

import numpy as np
import shapely
from shapely import LineString, Point
from shapely.geometry.base import BaseGeometry

from trimgeo.drawing.lettering import written
from trimgeo.drawing.sheet import XY
from trimgeo.drawing.signs import layers_number
from trimgeo.model.board import FaceName
from trimgeo.model.plan import Corner, Plan, Support
from trimgeo.tables import COVERAGE_FACTOR, FLATTENING

MarkKind = Literal["cut", "stop", "start", "relief", "hole", "lift", "window", "clamp", "keepout"]

WINDOW_GAP: Final = 0.8
"""Paper cut away around a part that stays: room for scissors and for the placing (common practice)."""

BESIDE_CUT: Final = 0.7
"""How far past the kerf band the label of a cut is at home."""


@dataclass(frozen=True)
class Mark:
    """Something with a label: ``key`` is short and its own, ``name`` says it in full.

    ``shape`` is what is drawn; the label belongs at it, or at ``home`` where that is given.
    ``note`` is what the list adds to the name.  ``hit`` says that it is in the cutter's way.
    """

    kind: MarkKind
    key: str
    name: str
    shape: BaseGeometry
    note: str = ""
    layers: tuple[int, ...] = ()
    home: XY | None = None
    hit: bool = False


@dataclass(frozen=True)
class Stop:
    """Where the axle of a wheel stops on the guide line: ``at``, and ``across`` the kerf, unit length.

    ``at`` is None where the cut is too short for the stop.
    """

    at: XY | None
    across: XY


def length_uncertainty(plan: Plan) -> float:
    """Expanded uncertainty of a cut's place and length: printing, taping and finishing, factor 2.

    Root sum of squares, JCGM 100:2008 (GUM) 5.1.2 and 6.2.
    """
    placing = plan.board.job.placing
    return COVERAGE_FACTOR * float(np.sqrt(placing.print**2 + placing.taping**2 + placing.finish**2))


def marks(plan: Plan, face: FaceName) -> tuple[Mark, ...]:
    """All marks of a face, in the board frame: cuts, stops, holes, what to drill, parts and keep-outs.

    Keys are numbers with a sign that names of parts do not begin with, and the same on both faces.
    """
    return (
        *_cuts(plan),
        *_stops(plan),
        *_holding(plan),
        *_holes(plan),
        *_lifts(plan, face),
        *_standing(plan, face),
    )


def keepout_area(keepout_spine: BaseGeometry, radius: float) -> BaseGeometry:
    """The shape of a keep-out: its spine grown by its radius, drawn to within `trimgeo.tables.FLATTENING`.

    A chord over an angle of 2 a leaves its arc by r (1 - cos a), elementary.  Twice as many chords as
    that asks for, since the library makes some half as wide again where a path bends, and 16 in a
    quarter of a circle at least, so that small ones look round on a screen too.

    >>> largest = keepout_area(Point(0, 0), 50.0)
    >>> bool(50.0 - largest.boundary.distance(Point(0, 0)) <= FLATTENING)
    True
    """
    if not radius:
        return keepout_spine
    half_angle = np.arccos(max(1 - FLATTENING / radius, 0.0))
    return keepout_spine.buffer(radius, quad_segs=max(16, int(np.ceil(np.pi / 2 / half_angle))))


def lifted(plan: Plan) -> frozenset[tuple[str, str]]:
    """Name and face of all that comes off before cutting; for looking up only."""
    return frozenset((lift.name, lift.face) for lift in plan.lift)


def stands(plan: Plan, face: FaceName) -> tuple[tuple[str, float | None, BaseGeometry], ...]:
    """Name, height (mm; None: unknown) and shape of what still stands on a face when the sheet is taped on.

    Components among the keep-outs come first, then parts, without those that are lifted.
    """
    gone = lifted(plan)
    kept = [
        (one.name, one.height, keepout_area(one.spine, one.radius))
        for one in plan.board.keepouts
        if one.kind == "component" and one.face == face and (one.name, face) not in gone
    ]
    parts = [
        (part.name, part.height, part.area)
        for part in plan.board.parts
        if part.face == face and (part.name, face) not in gone
    ]
    return (*kept, *parts)


def stops(plan: Plan, corner: Corner) -> tuple[Stop, ...]:
    """The stops of an inside corner: one on each cut of the guide line that ends there.

    None at all where the corner needs none.  On a cut between two inside corners the two stops must
    leave each other room; where they do not, the stop has no place (``at`` is None).
    """
    found = _nearest_vertex(plan.lines.guide, corner.at) if _has_stops(corner) else None
    if found is None or corner.stop_short is None:
        return ()
    vertex, neighbours = found
    others = [(_nearest_vertex(plan.lines.guide, one.at), one.stop_short) for one in inside_stops(plan)]
    far = {near[0]: short for near, short in others if near is not None and short is not None}
    body = shapely.Polygon(plan.finished.polygon.exterior)
    return tuple(_stop(vertex, other, corner.stop_short, far.get(other, 0.0), body) for other in neighbours)


def stop_bars(plan: Plan) -> tuple[LineString, ...]:
    """Bars across the kerf where the axle stops, each with a foot on its far end, in the board frame."""
    kerf = plan.board.job.cutter.kerf if plan.board.job.cutter else 0.0
    bars = []
    for stop in (stop for corner in plan.corners for stop in stops(plan, corner)):
        if stop.at is None:
            continue
        (x, y), (ax, ay) = stop.at, stop.across
        ex, ey = x + ax * (kerf + 2.0), y + ay * (kerf + 2.0)
        bars.append(LineString([(x, y), (ex, ey)]))
        bars.append(LineString([(ex - ay, ey + ax), (ex + ay, ey - ax)]))
    return tuple(bars)


def inside_stops(plan: Plan) -> list[Corner]:
    """The inside corners at which a wheel stops, in the order of their numbers."""
    return [corner for corner in plan.corners if _has_stops(corner)]


def _has_stops(corner: Corner) -> bool:
    return corner.inside and corner.stop_short is not None


def _nearest_vertex(guides: tuple[LineString, ...], at: XY) -> tuple[XY, list[XY]] | None:
    """The vertex of the guide lines nearest to a corner, and the vertices before and after it."""
    best: tuple[float, XY, list[XY]] | None = None
    for guide in guides:
        points = [(x, y) for x, y in shapely.get_coordinates(guide).tolist()]
        closed = points[0] == points[-1]
        count = len(points) - 1 if closed else len(points)
        for i in range(count):
            distance = hypot(points[i][0] - at[0], points[i][1] - at[1])
            if best is None or distance < best[0] - 1e-9:
                near = [points[(i - 1) % count]] if closed or i > 0 else []
                near += [points[(i + 1) % count]] if closed or i + 1 < count else []
                best = distance, points[i], near
    return None if best is None else best[1:]


def _stop(vertex: XY, other: XY, short: float, far_short: float, finished: shapely.Polygon) -> Stop:
    """The stop on the cut from a corner to another vertex, where another stop may stand as well."""
    dx, dy = other[0] - vertex[0], other[1] - vertex[1]
    length = hypot(dx, dy)
    at = (vertex[0] + dx / length * short, vertex[1] + dy / length * short)
    across = (-dy / length, dx / length)
    probe = Point(vertex[0] + dx / 2 + across[0] * 1e-3, vertex[1] + dy / 2 + across[1] * 1e-3)
    behind = Point(vertex[0] + dx / 2 - across[0] * 1e-3, vertex[1] + dy / 2 - across[1] * 1e-3)
    if finished.distance(probe) < finished.distance(behind):
        across = (-across[0], -across[1])
    return Stop(at if short + far_short <= length else None, across)


def _cuts(plan: Plan) -> list[Mark]:
    cutter, finish = plan.board.job.cutter, plan.board.job.finish
    aside = (finish.sanding if finish else 0.0) + (cutter.kerf if cutter else 0.0) + BESIDE_CUT
    bound = length_uncertainty(plan)
    return [
        Mark(
            "cut",
            str(cut.n),
            f"{cut.length:.2f} ± {bound:.2f} mm",
            _beside(cut.line, aside),
        )
        for cut in plan.cuts
    ]


def _beside(line: LineString, aside: float) -> BaseGeometry:
    moved = line.offset_curve(-aside)
    # A hollow curve of less than this radius has no such line beside it.
    return line if moved.is_empty else moved


def _stops(plan: Plan) -> list[Mark]:
    depth = plan.board.job.cutter.breakthrough if plan.board.job.cutter else 0.0
    found = []
    for n, corner in enumerate(inside_stops(plan), start=1):
        bars = [(stop.at, stop.across) for stop in stops(plan, corner) if stop.at is not None]
        if not bars:
            continue
        # In the middle between the bars, and a little further into the waste.
        x, y = (sum(at[i] + 4.0 * across[i] for at, across in bars) / len(bars) for i in (0, 1))
        name = f"stop {n}: the axle stays here, no deeper than {depth:g} mm past the far face"
        found.append(Mark("stop", f"stop {n}", name, Point(bars[0][0]), home=(x, y)))
    return found


def _holding(plan: Plan) -> list[Mark]:
    """Start holes of a blade, relief cuts, and the place for the clamp."""
    found = [
        Mark("start", f"drill {n}", f"drill {hole.diameter:g} mm, start of cut {hole.cut}", Point(hole.at))
        for n, hole in enumerate(plan.holding.start_holes, start=1)
    ]
    support = plan.holding.support
    if not plan.cuts or support is None:
        return found
    found += [
        Mark("relief", key, key, line) for key, line in zip(relief_keys(support), support.relief, strict=True)
    ]
    if support.clamp is not None:
        found.append(Mark("clamp", "clamp", "clamp here", Point(support.clamp[0])))
    return found


def relief_keys(support: Support) -> tuple[str, ...]:
    """What the relief cuts are called: numbered where there are several.

    >>> relief_keys(Support((LineString([(0, 0), (0, 9)]),), None))
    ('relief cut',)
    """
    if len(support.relief) == 1:
        return ("relief cut",)
    return tuple(f"relief {n}" for n in range(1, len(support.relief) + 1))


def _holes(plan: Plan) -> list[Mark]:
    first = len(plan.board.keepouts) + len(plan.board.parts) + 1
    return [
        Mark(
            "hole",
            f"#{n}",
            f"{written(hole.name)} ⌀{hole.diameter:g}",
            Point(hole.at).buffer(hole.diameter / 2),
            note="hole",
        )
        for n, hole in enumerate(plan.board.holes, start=first)
    ]


def _lifts(plan: Plan, face: FaceName) -> list[Mark]:
    known = _components(plan)
    first = len(plan.board.keepouts) + len(plan.board.parts) + len(plan.board.holes) + 1
    found = []
    for n, lift in enumerate(plan.lift, start=first):
        if lift.face != face:
            continue
        number, area = known.get((lift.name, lift.face), (n, Point(lift.at).buffer(1.0)))
        height = f"{lift.height:g} mm high" if lift.height else ""
        note = "; ".join(text for text in (lift.reason, height) if text)
        found.append(Mark("lift", f"#{number}", written(lift.name), area, note))
    return found


def _components(plan: Plan) -> dict[tuple[str, str], tuple[int, BaseGeometry]]:
    """Number and shape of what stands on a face, by name and face; the first of a name counts."""
    found: dict[tuple[str, str], tuple[int, BaseGeometry]] = {}
    for n, one in enumerate(plan.board.keepouts, start=1):
        if one.face is not None:
            found.setdefault((one.name, one.face), (n, keepout_area(one.spine, one.radius)))
    for n, part in enumerate(plan.board.parts, start=len(plan.board.keepouts) + 1):
        found.setdefault((part.name, part.face), (n, part.area))
    return found


def _standing(plan: Plan, face: FaceName) -> list[Mark]:
    """Keep-outs, and the windows for those, and for parts, that stand in the paper's way."""
    gone, hit = lifted(plan), _hit(plan, face)
    found = []
    for n, one in enumerate(plan.board.keepouts, start=1):
        if one.face == face and (one.name, face) in gone:
            continue
        area = keepout_area(one.spine, one.radius)
        name = f"{written(one.name)} {layers_number(one.layers)}"
        if one.kind == "component" and one.face == face and one.height:
            found.append(_window(f"#{n}", name, area, one.height, one.layers, one.name in hit))
        else:
            found.append(Mark("keepout", f"#{n}", name, area, one.kind, one.layers))
    for n, part in enumerate(plan.board.parts, start=len(plan.board.keepouts) + 1):
        if part.face == face and (part.name, face) not in gone and part.height:
            found.append(_window(f"#{n}", written(part.name), part.area, part.height, (), part.name in hit))
    return found


def _hit(plan: Plan, face: FaceName) -> frozenset[str]:
    """Names of what stands on a face in the way of the wheel or of the hand-piece; for looking up only."""
    cutter = plan.board.job.cutter
    return frozenset(hit.name for hit in plan.holding.hits if cutter is not None and cutter.face == face)


def _window(
    key: str, name: str, area: BaseGeometry, height: float, layers: tuple[int, ...], hit: bool
) -> Mark:
    """A part that stays; one in the cutter's way says on the drawing how high it is."""
    if hit:
        return Mark(
            "window",
            key,
            f"{name}, {height:g} mm high",
            area,
            "in the way of wheel or hand-piece: see the warnings",
            layers,
            hit=True,
        )
    return Mark("window", key, name, area, f"{height:g} mm high", layers)
