"""What the cutter turns to dust, and what it may reach: areas on the board along the new edges."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon

from trimgeo.cutting.edges import Chain
from trimgeo.plane.offsets import SAME, bands, grown_area, mitre
from trimgeo.plane.rings import Floats, right_of

Area: TypeAlias = Polygon | MultiPolygon


@dataclass(frozen=True)
class RunOn:
    """How far the guide line runs on past one end of a chain: ``laid`` mm, and no further than ``limit``."""

    chain: int
    at_end: bool
    laid: float
    limit: float


def kerf_band(
    board: Polygon,
    inner: Area,
    outer: Area,
    chains: Sequence[Chain],
    run_ons: Sequence[RunOn],
    walls: tuple[float, float],
) -> MultiPolygon:
    """The board that becomes dust: between the outline grown to the kerf's near wall and to its far wall.

    ``inner`` and ``outer`` are the grown outlines, ``walls`` the distances of the two, mm; the kerf runs on
    with the guide line to the board's edge.

    >>> board, part = shapely.box(0, 0, 100, 60), shapely.box(0, 0, 40, 60)
    >>> cut = Chain(np.array([(40.0, 0.0), (40.0, 60.0)]), False, (0,), (), part)
    >>> near, far = (grown_area(part, [cut], wall) for wall in (0.5, 1.5))
    >>> kerf_band(board, near, far, [cut], [], (0.5, 1.5)).area  # a kerf of 1 mm, 60 mm long
    60.0
    """
    strips = [strip for on in run_ons for strip in _run_on(board, inner, chains[on.chain], on, *walls)]
    kerf = shapely.difference(shapely.union_all([outer, *strips]), inner)
    return _areas(shapely.intersection(kerf, board))


def swept_band(
    outline: Polygon,
    board: Polygon,
    chains: Sequence[Chain],
    run_ons: Sequence[RunOn],
    walls: tuple[float, float],
    wander: float,
    overrun: float,
) -> MultiPolygon:
    """The board that a hand-held cutter may reach: what stands in it is lifted first, or is lost.

    From the new edges out to the kerf's far wall and ``wander`` more, and into the outline by what the wander
    exceeds the sanding margin (the near one of ``walls``); run-ons and, at outside corners, the cutter's
    ``overrun`` included.  All mm.

    >>> board, part = shapely.box(0, 0, 100, 60), shapely.box(0, 0, 40, 60)
    >>> cut = Chain(np.array([(40.0, 0.0), (40.0, 60.0)]), False, (0,), (), part)
    >>> [round(x, 9) for x in swept_band(part, board, [cut], [], (0.5, 1.5), wander=0.75, overrun=4.0).bounds]
    [39.75, 0.0, 42.25, 60.0]
    """
    sanding, far = walls
    reach = far + wander
    outside = [grown_area(outline, chains, reach)]
    for on in run_ons:
        outside += _run_on(board, outline, chains[on.chain], on, 0.0, reach)
    shapely.prepare(outside[0])
    for chain in chains:
        strips = _past_corners(chain, far, reach, overrun)
        outside += list(strips[~shapely.covers(outside[0], strips)])
    swept = shapely.difference(shapely.union_all(outside), outline)
    if wander > sanding:
        depth = wander - sanding
        within = [shapely.intersection(_inward(chain, depth), outline) for chain in chains]
        beside = [
            area for on in run_ons for area in _run_on(board, Polygon(), chains[on.chain], on, -depth, 0.0)
        ]
        swept = shapely.union_all([swept, *within, *beside])
    return _areas(shapely.intersection(swept, board))


def _end(chain: Chain, at_end: bool) -> tuple[Floats, Floats]:
    """An end of a chain and the direction of its side there."""
    return (chain.points[-1], chain.directions[-1]) if at_end else (chain.points[0], chain.directions[0])


def _run_on(board: Polygon, taken: Area, chain: Chain, on: RunOn, low: float, high: float) -> list[Area]:
    """What a run-on takes of the board: as far as its line is laid, and to the edge over its whole width."""
    x0, y0, x1, y1 = board.bounds
    furthest = min(on.limit, float(np.hypot(x1 - x0, y1 - y0)) + high)
    both = _bands_on(chain, on, [furthest, on.laid], low, high)
    whole, laid = shapely.difference(shapely.intersection(both, board), taken)
    v, d = _end(chain, on.at_end)
    n = right_of(d)
    cap = shapely.linestrings([v + (low + 2 * SAME) * n, v + (high - 2 * SAME) * n])
    parts = shapely.get_parts(whole)
    return [*parts[shapely.dwithin(parts, cap, SAME)], laid]


def _bands_on(
    chain: Chain, on: RunOn, lengths: Sequence[float], low: float, high: float
) -> NDArray[np.object_]:
    """Rectangles past one end of a chain, one a length."""
    v, d = _end(chain, on.at_end)
    starts = [v if on.at_end else v - length * d for length in lengths]
    return bands(starts, [d] * len(lengths), lengths, low, high)


def _past_corners(chain: Chain, far: float, reach: float, overrun: float) -> NDArray[np.object_]:
    """What a cut takes where it runs on at an outside corner until the far face is parted there too."""
    before, after = chain.turns
    strips = []
    for turn, starts, sense in ((after, chain.ends, 1.0), (before, chain.starts, -1.0)):
        out = turn > 0
        lengths = far * np.tan(np.radians(turn[out]) / 2) + overrun
        d = chain.directions[out]
        origin = starts[out] if sense > 0 else starts[out] - lengths[:, None] * d
        strips.append(bands(origin, d, lengths, 0.0, reach))
    return np.concatenate(strips) if overrun > 0 else strips[0][:0]


def _inward(chain: Chain, depth: float) -> Area:
    """The strip of ``depth`` mm on the inside of a chain, mitred at corners that turn inwards."""
    a, b, n = chain.starts, chain.ends, -depth * right_of(chain.directions)
    following = np.roll(n, -1, axis=0)
    quads = shapely.polygons(np.stack([a, b, b + n, a + n], axis=1))
    inside = chain.turns[1] < 0
    v, one, two = b[inside], n[inside], following[inside]
    tips = v + depth * mitre(one / depth, two / depth)
    kites = shapely.polygons(np.stack([v, v + one, tips, v + two], axis=1))
    return shapely.union_all(np.concatenate([quads, kites]))


def _areas(geometry: Area) -> MultiPolygon:
    """The areas of a geometry, without lines, points and slivers that rounding left."""
    parts: NDArray[np.object_] = shapely.get_parts(geometry)
    return MultiPolygon([p for p in parts if p.geom_type == "Polygon" and p.area > SAME * p.length])
