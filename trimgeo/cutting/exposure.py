"""What the outline cuts through: severed traces and nets, and the copper that ends at a new edge.

Lengths are millimetres; shapes are exact, discs and tracks are met by formula and not by chords.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import groupby
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Polygon

from trimgeo.model.board import Keepout
from trimgeo.model.plan import XY, Cut, Exposed, Severed
from trimgeo.plane.distances import Floats, Pieces, capsule_spans, pieces

Span = tuple[float, float]

_ROUNDING: Final = 1e-9
"""A shorter stretch is a touch, and stretches nearer to each other meet."""

_COPPER: Final = frozenset({"trace", "via", "copper", "pad"})


def severed(keepouts: Sequence[Keepout], new_edges: Sequence[LineString]) -> tuple[Severed, ...]:
    """Every trace and every keep-out of a named net that a new edge runs through, may be cut or not.

    ``at`` has the points where the centre line of a path, the outline of an area, crosses new edges,
    sorted, each once.  Where only the side of a path is shaved it has those of the path's own outline,
    and where a new edge begins and ends inside the area (over the board edge) its ends.  In the order
    of ``keepouts``.

    >>> track = Keepout("T", "trace", LineString([(0, 1), (9, 1)]), 0.2, (1,), "5V", 0.5, "")
    >>> severed([track], [LineString([(6, 0), (6, 5)])])
    (Severed(name='T', net='5V', at=((6.0, 1.0),)),)
    """
    lines = _sides(new_edges)
    wanted = [keepout for keepout in keepouts if keepout.kind == "trace" or keepout.net is not None]
    found = []
    for keepout in _near(wanted, new_edges):
        near = lines.take(_reached(keepout, lines))
        spans = [_spans(keepout, near.take(slice(n, n + 1))) for n in range(len(near.owner))]
        middles = [_point(near, n, 0.5 * (low + high)) for n, some in enumerate(spans) for low, high in some]
        if any(_inside(keepout, middle) for middle in middles):
            found.append(Severed(keepout.name, keepout.net, _crossings(keepout, near, spans)))
    return tuple(found)


def exposed(keepouts: Sequence[Keepout], finished: Polygon, cuts: Sequence[Cut]) -> tuple[Exposed, ...]:
    """Copper that ends at a new edge: for each cut, layer and net the stretches, from and to along the cut.

    Trace, pad, via and copper count, may they be cut or not, where they lie on the kept side of the
    cut; what only touches it in a point does not.  Stretches of one layer and net that touch are one.
    Sorted by cut, layer, place and net.

    >>> track = Keepout("T", "trace", LineString([(0, 1), (9, 1)]), 0.2, (1,), "5V", 0.5, "")
    >>> cut = Cut(1, LineString([(6, 0), (6, 5)]))
    >>> found, = exposed([track], shapely.box(0, 0, 6, 5), [cut])
    >>> found.layer, found.net, found.start, found.end, round(found.length, 9)
    (1, '5V', (6.0, 0.8), (6.0, 1.2), 0.4)
    """
    copper = [keepout for keepout in keepouts if keepout.kind in _COPPER]
    copper = _near(copper, [cut.line for cut in cuts])
    shapely.prepare(finished)
    found: list[Exposed] = []
    for cut in cuts:
        sides = _sides([cut.line])
        stretches = []
        for keepout in _near(copper, [cut.line]):
            spans = _along(keepout, finished, sides)
            stretches += [
                (layer, keepout.net or "", keepout.net, span) for layer in keepout.layers for span in spans
            ]
        stretches.sort(key=lambda entry: (entry[:2], entry[2] is not None, entry[3]))
        for (layer, _, net), some in groupby(stretches, key=lambda entry: entry[:3]):
            found += [_exposed(cut, layer, net, span) for span in _merged([entry[3] for entry in some])]
    order = {cut.n: cut for cut in cuts}
    found.sort(key=lambda one: (one.cut, one.layer, _along_cut(order[one.cut], one.start), one.net or ""))
    return tuple(found)


def _along_cut(cut: Cut, point: XY) -> float:
    return float(cut.line.project(shapely.Point(point)))


def _exposed(cut: Cut, layer: int, net: str | None, span: Span) -> Exposed:
    start, end = (cut.line.interpolate(distance) for distance in span)
    return Exposed(cut.n, layer, net, (start.x, start.y), (end.x, end.y), span[1] - span[0])


def _near(keepouts: Sequence[Keepout], lines: Sequence[LineString]) -> list[Keepout]:
    """Those that reach one of the lines."""
    if not keepouts or not lines:
        return []
    target = shapely.MultiLineString(list(lines))
    shapely.prepare(target)
    spines = [keepout.spine for keepout in keepouts]
    reach = np.array([keepout.radius for keepout in keepouts]) + _ROUNDING
    return [
        keepout
        for keepout, near in zip(keepouts, shapely.dwithin(target, spines, reach), strict=True)
        if near
    ]


def _merged(spans: Iterable[Span]) -> list[Span]:
    """Stretches sorted and joined where they touch; those that are only a touch left out."""
    joined: list[Span] = []
    for low, high in sorted(spans):
        if joined and low <= joined[-1][1] + _ROUNDING:
            joined[-1] = (joined[-1][0], max(high, joined[-1][1]))
        else:
            joined.append((low, high))
    return [(low, high) for low, high in joined if high - low > _ROUNDING]


def _sides(lines: Sequence[LineString]) -> Pieces:
    """Straight pieces of the lines; ``owner`` counts the lines."""
    sides = pieces(lines)
    return sides.take((sides.start != sides.end).any(axis=1))


def _reached(keepout: Keepout, sides: Pieces) -> NDArray[np.bool_]:
    """Which sides reach the keep-out, shape (n,)."""
    lines = shapely.linestrings(np.stack([sides.start, sides.end], axis=1))
    return np.asarray(shapely.dwithin(lines, keepout.spine, keepout.radius + _ROUNDING))


def _point(sides: Pieces, n: int, along: float) -> Floats:
    """The point of side n that is ``along`` mm from its start."""
    way = sides.end[n] - sides.start[n]
    return np.asarray(sides.start[n] + along / np.hypot(*way) * way)


def _spans(keepout: Keepout, line: Pieces) -> list[Span]:
    """Where one straight line lies in the keep-out or on its outline, mm from its start.

    Elementary stretches: each as a whole runs inside or along the outline; some overlap.
    """
    length = float(np.hypot(*(line.end - line.start)[0]))
    spans: list[Span] = []
    shape = pieces([keepout.spine])
    if keepout.radius > 0:
        low, high = capsule_spans(shape, np.full(len(shape.owner), keepout.radius), line)
        touch = (8 * keepout.radius * _ROUNDING) ** 0.5  # chord of a circle that is met by rounding alone
        for a, b in zip(low[:, 0] * length, high[:, 0] * length, strict=True):
            if b - a > touch or (b > a and _inside(keepout, _point(line, 0, 0.5 * (a + b)))):
                spans.append((a, b))
    if shapely.get_dimensions(keepout.spine) == 2:
        marks = _marks(shape, line, length)
        middle = line.start + (0.5 * (marks[1:] + marks[:-1]) / length)[:, None] * (line.end - line.start)
        inside = shapely.distance(keepout.spine, shapely.points(middle)) <= _ROUNDING
        spans += [(marks[n], marks[n + 1]) for n in np.flatnonzero(inside)]
    return [(float(low), float(high)) for low, high in spans if high - low > _ROUNDING]


def _marks(outline: Pieces, line: Pieces, length: float) -> Floats:
    """Where the line may enter or leave an area: crossings with its outline, and corners on the line."""
    way = (line.end - line.start)[0] / length
    side = np.array([-way[1], way[0]])
    a, b = (points - line.start[0] for points in (outline.start, outline.end))
    off_a, off_b = a @ side, b @ side
    crossing = off_a * off_b < 0
    share = off_a[crossing] / (off_a[crossing] - off_b[crossing])
    at = (a[crossing] + share[:, None] * (b - a)[crossing]) @ way
    on_line = (a @ way)[np.abs(off_a) <= _ROUNDING]
    marks = np.concatenate([[0.0, length], at, on_line])
    return np.unique(marks[(marks >= 0) & (marks <= length)])


def _inside(keepout: Keepout, point: Floats) -> bool:
    """Whether a point lies deeper than rounding inside the keep-out."""
    place = shapely.Point(point)
    if keepout.spine.distance(place) < keepout.radius - _ROUNDING:
        return True
    solid = shapely.get_dimensions(keepout.spine) == 2 and keepout.spine.contains(place)
    return bool(solid and keepout.spine.boundary.distance(place) > _ROUNDING)


def _crossings(keepout: Keepout, lines: Pieces, spans: list[list[Span]]) -> tuple[XY, ...]:
    """Points of `severed`: sorted, each once."""
    if isinstance(keepout.spine, LineString):
        centre = pieces([keepout.spine])
        points = np.concatenate(
            [_meetings(centre, lines.take(slice(n, n + 1))) for n in range(len(lines.owner))]
        )
        if len(points):
            return _each_once(points)
    ends = [
        _point(lines, n, along) for n, some in enumerate(spans) for span in _merged(some) for along in span
    ]
    on_outline = [point for point in ends if not _inside(keepout, point)]
    return _each_once(np.array(on_outline or ends))


def _meetings(centre: Pieces, line: Pieces) -> Floats:
    """Points where a centre line crosses or meets a straight line, ends of a shared stretch included."""
    length = float(np.hypot(*(line.end - line.start)[0]))
    marks = _marks(centre, line, length)
    points = line.start + (marks / length)[:, None] * (line.end - line.start)
    paths = shapely.linestrings(np.stack([centre.start, centre.end], axis=1))
    apart = shapely.distance(shapely.points(points)[:, None], paths[None, :]).min(axis=1)
    return np.asarray(points[apart <= _ROUNDING])


def _each_once(points: Floats) -> tuple[XY, ...]:
    kept: list[XY] = []
    for x, y in sorted((float(x) + 0.0, float(y) + 0.0) for x, y in points):
        if all(np.hypot(x - a, y - b) > 2 * _ROUNDING for a, b in kept):
            kept.append((x, y))
    return tuple(kept)


def _along(keepout: Keepout, finished: Polygon, sides: Pieces) -> list[Span]:
    """Where a cut meets copper on its kept side, mm along the cut."""
    found: list[Span] = []
    length = np.hypot(*(sides.end - sides.start).T)
    start = np.cumsum(length) - length
    for n in np.flatnonzero(_reached(keepout, sides)).tolist():
        way = (sides.end[n] - sides.start[n]) / length[n]
        for low, high in _spans(keepout, sides.take(slice(n, n + 1))):
            middle = _point(sides, n, 0.5 * (low + high))
            if _inside(keepout, middle) or _on_kept_side(keepout, finished, middle, way):
                found.append((float(start[n] + low), float(start[n] + high)))
    return _merged(found)


def _on_kept_side(keepout: Keepout, finished: Polygon, point: Floats, way: Floats) -> bool:
    """Whether copper whose outline runs along the cut lies inside the finished outline there."""
    beside = shapely.Point(point + 1e-6 * np.array([-way[1], way[0]]))
    if not finished.contains(beside):
        beside = shapely.Point(point - 1e-6 * np.array([-way[1], way[0]]))
    return bool(keepout.spine.distance(beside) <= keepout.radius)
