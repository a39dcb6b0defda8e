"""Arcs in the plane: from bulges to points and back, and chains of pieces that close.

A piece of line is an array of vertices, shape (n, 3): x, y and the bulge of the side that starts
there.  The bulge is the tangent of a quarter of the angle that the side sweeps, positive
counter-clockwise, 0 for a straight side (DXF reference, LWPOLYLINE, from memory).  In an open piece
the last bulge means nothing.  Circles are arrays of shape (m, 3): centre x, y and radius.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

from trimgeo.tables import FLATTENING

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

STRAIGHT = 1e-4
"""An arc that rises less than this (mm) above its chord is a straight side: a tenth of a micrometre
is no arc that anyone drew, and its circle would be too far away for its centre to mean anything."""

SAME = 1e-6
"""Points this near to a circle (mm) lie on it: rounding at a radius of a kilometre is smaller."""

COARSEST = np.pi / 4
"""Widest angle of one side of a flattened circle, so that the smallest circle is still round."""


def bulge_circles(starts: Floats, ends: Floats, bulges: Floats) -> Floats:
    """Circles, shape (n, 3), of sides that sweep ``4 * arctan(bulge)``; no bulge may be 0.

    The centre lies on the chord's bisector, ``chord * (1 - b²) / (4 b)`` left of the chord;
    the radius is ``chord * (1 + b²) / (4 |b|)``: tangents of half angles, elementary.

    >>> bulge_circles(np.array([[0.0, 0.0]]), np.array([[2.0, 0.0]]), np.array([1.0])).tolist()
    [[1.0, 0.0, 1.0]]
    """
    chord = ends - starts
    left = np.column_stack([-chord[:, 1], chord[:, 0]])
    centres = (starts + ends) / 2 + left * ((1 - bulges**2) / (4 * bulges))[:, None]
    radii = np.hypot(*chord.T) * (1 + bulges**2) / (4 * np.abs(bulges))
    return np.column_stack([centres, radii])


def flatten(vertices: Floats, closed: bool) -> tuple[Floats, Floats]:
    """Points, shape (k, 2), along a piece, and the circles, shape (m, 3), that its arcs follow.

    Points on arcs lie on the circle, and chords stay within `FLATTENING` of it.  A closed piece
    does not repeat its first point; an open one ends with its last.  Circles come in the order
    of their first arc, each once.

    >>> points, circles = flatten(np.array([[0.0, 0.0, 1.0], [2.0, 0.0, 1.0]]), closed=True)
    >>> bool(np.allclose(np.hypot(points[:, 0] - 1, points[:, 1]), 1)), circles.tolist()
    (True, [[1.0, 0.0, 1.0]])
    """
    if not vertices[:, 2].any():
        return vertices[:, :2].copy(), np.empty((0, 3))
    starts, ends, bulges = _sides(vertices, closed)
    chords = np.hypot(*(ends - starts).T)
    curved = np.flatnonzero(np.abs(bulges) * chords / 2 > STRAIGHT)
    circles = bulge_circles(starts[curved], ends[curved], bulges[curved])
    sweeps = 4 * np.arctan(bulges[curved])
    counts = np.ones(len(starts), dtype=np.int64)
    counts[curved] = _side_count(circles[:, 2], sweeps)
    side = np.repeat(np.arange(len(starts)), counts)
    step = np.arange(len(side)) - np.repeat(np.cumsum(counts) - counts, counts)
    points = starts[side]
    arc_of_side = np.full(len(starts), -1)
    arc_of_side[curved] = np.arange(len(curved))
    inner = np.flatnonzero(step > 0)
    arc = arc_of_side[side[inner]]
    begin = np.arctan2(*(starts[curved] - circles[:, :2]).T[::-1])
    angle = begin[arc] + sweeps[arc] * step[inner] / counts[side[inner]]
    points[inner] = circles[arc, :2] + circles[arc, 2:] * np.column_stack([np.cos(angle), np.sin(angle)])
    if not closed:
        points = np.vstack([points, vertices[-1:, :2]])
    return points, _each_once(circles)


def ellipse_arc(centre: ArrayLike, u: ArrayLike, v: ArrayLike, start: float, sweep: float) -> Floats:
    """Vertices, shape (n, 3), of the open arc ``centre + u cos t + v sin t`` from ``start`` over ``sweep``.

    Where u and v are as long as each other and square, it is a circle's arc: two sides with a
    bulge.  Otherwise points: the chords of a circle under the same linear map are no further from
    the curve than the map's largest stretch times the circle's own distance.

    >>> ellipse_arc((0, 0), (1, 0), (0, 1), 0.0, np.pi).round(4).tolist()
    [[1.0, 0.0, 0.4142], [0.0, 1.0, 0.4142], [-1.0, 0.0, 0.0]]
    """
    c, axes = np.asarray(centre, dtype=np.float64), np.array([u, v], dtype=np.float64)
    lengths = np.hypot(*axes.T)
    round_arc = abs(lengths[0] - lengths[1]) <= SAME and abs(axes[0] @ axes[1]) <= SAME * lengths.max()
    if round_arc:
        count = 2
    else:
        stretch = float(np.linalg.norm(axes, 2))
        count = int(_side_count(np.array([stretch]), np.array([sweep]))[0])
    t = start + sweep * np.arange(count + 1) / count
    points = c + np.cos(t)[:, None] * axes[0] + np.sin(t)[:, None] * axes[1]
    turn = np.sign(axes[0, 0] * axes[1, 1] - axes[0, 1] * axes[1, 0])
    bulges = np.zeros(count + 1)
    if round_arc:
        bulges[:-1] = turn * np.tan(sweep / count / 4)
    return np.column_stack([points, bulges])


def circle_piece(x: float, y: float, radius: float) -> Floats:
    """Vertices, shape (2, 3), of a closed piece that is a whole circle, counter-clockwise; all mm.

    >>> circle_piece(10.0, 20.0, 1.5).tolist()
    [[8.5, 20.0, 1.0], [11.5, 20.0, 1.0]]
    """
    return np.array([[x - radius, y, 1.0], [x + radius, y, 1.0]])


def whole_circle(vertices: Floats) -> Floats | None:
    """The circle, shape (3,), that a closed piece, shape (n, 3), is as a whole; None for another shape.

    >>> whole_circle(circle_piece(10.0, 20.0, 1.5)).tolist()
    [10.0, 20.0, 1.5]
    >>> whole_circle(np.array([[0, 0, 1.0], [4, 0, 0], [4, 4, 0]])) is None  # one arc, then straight sides
    True
    """
    if not vertices[:, 2].any():
        return None
    starts, ends, bulges = _sides(vertices, True)
    real = np.hypot(*(ends - starts).T) > SAME
    starts, ends, bulges = starts[real], ends[real], bulges[real]
    if len(bulges) < 2 or np.any(bulges == 0) or np.any(np.sign(bulges) != np.sign(bulges[0])):
        return None
    if abs(np.abs(4 * np.arctan(bulges)).sum() - 2 * np.pi) > 1e-9:
        return None
    circles = bulge_circles(starts, ends, bulges)
    return circles[0] if np.all(np.abs(circles - circles[0]) <= SAME) else None


def bulged(points: Floats, closed: bool, circles: Floats, reach: float = 0.0) -> Floats:
    """Vertices, shape (k, 3), of points, shape (n, 2), whose flattened arcs become arcs again.

    A side runs along a circle where both its ends are equally far from the centre and it rises no
    more than a flattened side does; sides in a row along one circle become one arc, or two where
    they sweep more than half of it.  ``reach`` (mm) lets arcs run that far inside or outside the
    circles, as the lines beside a curved cut do; then a single side is not enough to make an arc,
    and a fifth of `FLATTENING` may lie between the radii: mitres are shorter where an arc ends.

    >>> ring, circles = flatten(np.array([[0, 0, 0], [4, 0, 1.0], [4, 2, 0], [0, 2, 0]]), closed=True)
    >>> bulged(ring, True, circles).round(9).tolist()
    [[0.0, 0.0, 0.0], [4.0, 0.0, 1.0], [4.0, 2.0, 0.0], [0.0, 2.0, 0.0]]
    """
    starts, ends, _ = _sides(np.column_stack([points, np.zeros(len(points))]), closed)
    which, radii, sweeps = _circle_of_sides(starts, ends, circles, reach)
    joined = (
        (which >= 0)
        & (which == np.roll(which, 1))
        & (np.sign(sweeps) == np.sign(np.roll(sweeps, 1)))
        & (np.abs(radii - np.roll(radii, 1)) <= (FLATTENING / 5 if reach else SAME))
    )
    if not closed:
        joined[0] = False
    first = 0 if joined.all() else int(np.argmin(joined))
    joined[first] = False
    order = (np.arange(len(starts)) + first) % len(starts)
    heads = np.flatnonzero(~joined[order])
    heads = _halved(heads, sweeps[order])
    sums = np.add.reduceat(sweeps[order], heads)
    lengths = np.diff(np.append(heads, len(starts)))
    arcs = (which[order][heads] >= 0) & ((lengths > 1) | (reach == 0))
    corners = np.column_stack([starts[order][heads], np.where(arcs, np.tan(sums / 4), 0.0)])
    return corners if closed else np.vstack([corners, [*points[-1], 0.0]])


def enclosed_area(vertices: Floats) -> float:
    """Area, mm², inside closed vertices, shape (k, 3), counter-clockwise: polygon and circular segments.

    A segment over a chord has r²/2 (θ - sin θ) with θ = 4 arctan(bulge) (elementary).

    >>> enclosed_area(np.array([[1.0, 0.0, 1.0], [-1.0, 0.0, 1.0]])) == np.pi
    True
    """
    starts, ends, bulges = _sides(vertices, True)
    polygon = float(np.sum(starts[:, 0] * ends[:, 1] - starts[:, 1] * ends[:, 0])) / 2
    curved = bulges != 0
    sweeps = 4 * np.arctan(bulges[curved])
    radii = np.hypot(*(ends - starts)[curved].T) / (2 * np.sin(np.abs(sweeps) / 2))
    return polygon + float(np.sum(radii**2 / 2 * (sweeps - np.sin(sweeps))))


@dataclass(frozen=True)
class Chains:
    """What open pieces make when their ends are joined.

    ``rings`` are closed, each with the number of its first piece; ``loose`` has the ends that meet
    nothing and ``forks`` the places where more than two ends meet, both of shape (k, 2).
    """

    rings: tuple[tuple[int, Floats], ...]
    loose: Floats
    forks: Floats


def chain(pieces: Sequence[Floats], tolerance: float) -> Chains:
    """Join open pieces whose ends lie within ``tolerance`` (mm) of each other into closed ones.

    A piece shorter than the tolerance is part of the gap, and one that lies on another is left
    out.  Ends that do not coincide meet half way.  Rings keep the direction of their first piece.
    With loose ends or forks no rings are given.

    >>> vee = np.array([[0.0, 0, 0], [2, 0, 0], [2, 1, 0]]), np.array([[2.0, 1, 0], [0, 0, 0]])
    >>> [ring.tolist() for _, ring in chain(vee, 0.01).rings]
    [[[0.0, 0.0, 0.0], [2.0, 0.0, 0.0], [2.0, 1.0, 0.0]]]
    """
    numbers = [n for n, piece in enumerate(pieces) if _length(piece) > tolerance]
    if not numbers:
        return Chains((), np.empty((0, 2)), np.empty((0, 2)))
    ends = np.array([pieces[n][[0, -1], :2] for n in numbers])
    nodes = _clusters(ends.reshape(-1, 2), tolerance).reshape(-1, 2)
    single = _unstacked([pieces[n] for n in numbers], nodes, tolerance)
    numbers, nodes, ends = [numbers[n] for n in single], nodes[single], ends[single]
    _, first, counts = np.unique(nodes.ravel(), return_index=True, return_counts=True)
    places = ends.reshape(-1, 2)[first]
    loose, forks = places[counts == 1], places[counts > 2]
    rings = () if len(loose) or len(forks) else _walk([pieces[n] for n in numbers], numbers, nodes)
    return Chains(rings, loose, forks)


def reverse(piece: Floats) -> Floats:
    """An open piece run through backwards.

    >>> reverse(np.array([[0.0, 0.0, 1.0], [2.0, 0.0, 0.0]])).tolist()
    [[2.0, 0.0, -1.0], [0.0, 0.0, 0.0]]
    """
    turned = piece[::-1].copy()
    turned[:-1, 2] = -piece[-2::-1, 2]
    turned[-1, 2] = 0.0
    return turned


def _sides(vertices: Floats, closed: bool) -> tuple[Floats, Floats, Floats]:
    ends = np.roll(vertices, -1, axis=0)
    count = len(vertices) if closed else len(vertices) - 1
    return vertices[:count, :2], ends[:count, :2], vertices[:count, 2]


def _side_count(radii: Floats, sweeps: Floats) -> Ints:
    """Sides that keep chords within FLATTENING: sagitta r (1 - cos(a/2)), elementary."""
    rise = np.minimum(FLATTENING / np.maximum(radii, FLATTENING), 1.0)
    widest = np.minimum(2 * np.arccos(1 - rise), COARSEST)
    # Rounding must not add a side to an arc that is cut and put together again.
    counts = np.maximum(np.ceil(np.abs(sweeps) / widest - 1e-9), 1)
    return np.asarray(counts, dtype=np.int64)


def _each_once(circles: Floats) -> Floats:
    _, first = np.unique(np.round(circles / (10 * SAME)), axis=0, return_index=True)
    return np.asarray(circles[np.sort(first)])


def _circle_of_sides(
    starts: Floats, ends: Floats, circles: Floats, reach: float
) -> tuple[Ints, Floats, Floats]:
    """For each side the circle it runs along (-1: none), its distance from the centre, its sweep."""
    which = np.full(len(starts), -1)
    radii, sweeps = np.zeros(len(starts)), np.zeros(len(starts))
    nearest = np.full(len(starts), np.inf)
    for number, (x, y, radius) in enumerate(circles):
        p, q = starts - (x, y), ends - (x, y)
        near, far = np.hypot(*p.T), np.hypot(*q.T)
        sweep = np.arctan2(p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0], (p * q).sum(axis=1))
        off = np.abs((near + far) / 2 - radius)
        rise = near * (1 - np.cos(sweep / 2))
        allowed = 1.01 * FLATTENING * np.maximum(1.0, near / radius)
        same = (FLATTENING / 5 if reach else SAME) + 1e-12 * radius
        along = (np.abs(near - far) <= same) & (off <= reach + same) & (rise <= allowed) & (sweep != 0)
        # Of circles that are the same but for rounding, the first has all sides.
        along &= off < nearest - SAME
        which[along], radii[along] = number, near[along]
        sweeps[along], nearest[along] = sweep[along], off[along]
    return which, radii, sweeps


def _halved(heads: Ints, sweeps: Floats) -> Ints:
    """Heads of runs, with one more in the middle of each run that sweeps more than half a circle."""
    sums = np.add.reduceat(sweeps, heads)
    lengths = np.diff(np.append(heads, len(sweeps)))
    middles = (heads + lengths // 2)[np.abs(sums) > np.pi * (1 + 1e-9)]
    return np.sort(np.concatenate([heads, middles]))


def _length(piece: Floats) -> float:
    starts, ends, bulges = _sides(piece, False)
    return float((np.hypot(*(ends - starts).T) * (1 + np.abs(bulges))).sum())


def _clusters(ends: Floats, tolerance: float) -> Ints:
    """A number for each end, the same for ends that touch, directly or by way of others."""
    geometry = shapely.points(ends)
    pairs = shapely.STRtree(geometry).query(geometry, predicate="dwithin", distance=tolerance)
    parent = list(range(len(ends)))

    def root(n: int) -> int:
        while parent[n] != n:
            parent[n] = parent[parent[n]]
            n = parent[n]
        return n

    for a, b in pairs.T.tolist():
        low, high = sorted((root(a), root(b)))
        parent[high] = low
    return np.array([root(n) for n in range(len(ends))], dtype=np.int64)


def _unstacked(pieces: Sequence[Floats], nodes: Ints, tolerance: float) -> list[int]:
    """Numbers of the pieces, those left out that lie on an earlier one."""
    between: dict[tuple[int, ...], list[int]] = {}
    for n, pair in enumerate(nodes.tolist()):
        rivals = between.setdefault(tuple(sorted(pair)), [])
        if not any(_alike(pieces[n], pieces[m], tolerance) for m in rivals):
            rivals.append(n)
    return sorted(n for rivals in between.values() for n in rivals)


def _alike(a: Floats, b: Floats, tolerance: float) -> bool:
    if a.shape != b.shape:
        return False
    return any(
        np.allclose(a[:, :2], c[:, :2], 0, tolerance) and np.allclose(a[:-1, 2], c[:-1, 2], 0, 1e-6)
        for c in (b, reverse(b))
    )


def _walk(pieces: Sequence[Floats], numbers: Sequence[int], nodes: Ints) -> tuple[tuple[int, Floats], ...]:
    """Rings through nodes where exactly two ends meet; end ``2 n`` starts piece n, ``2 n + 1`` ends it."""
    at_node: dict[int, list[int]] = {}
    for end, node in enumerate(nodes.ravel().tolist()):
        at_node.setdefault(node, []).append(end)
    rings: list[tuple[int, Floats]] = []
    done = [False] * len(pieces)
    for first in range(len(pieces)):
        if done[first]:
            continue
        run: list[Floats] = []
        end = 2 * first
        while not done[end // 2]:
            done[end // 2] = True
            piece = pieces[end // 2]
            run.append(reverse(piece) if end % 2 else piece)
            leaving = end ^ 1
            pair = at_node[int(nodes[leaving // 2, leaving % 2])]
            end = pair[0] if pair[1] == leaving else pair[1]
        rings.append((numbers[first], _ring_of(run)))
    return tuple(rings)


def _ring_of(run: Sequence[Floats]) -> Floats:
    """One closed piece from open ones in a row; ends that do not coincide meet half way."""
    parts = []
    for previous, piece in zip([run[-1], *run[:-1]], run, strict=True):
        part = piece[:-1].copy()
        part[0, :2] = (previous[-1, :2] + piece[0, :2]) / 2
        parts.append(part)
    return np.vstack(parts)
