"""What may join the strokes of an ink: gaps run straight over, corners, and ways to the board edge."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Polygon

from trimgeo.vision.line_ink import Floats, Ground, Ink, to_pixels
from trimgeo.vision.line_strokes import Stroke

GAP = 16.0  # mm; a part or glare may hide so much of a line
CORNER = 0.6  # of the longest gap: how far two strokes may be run on to meet at a corner
TO_EDGE = 2.5  # mm; how far a stroke may be run on to meet the board edge
SWERVE = np.radians(38.0)  # a bridge bends no more than this at either end
_SAMPLES = 15  # places along a bridge where ink is looked for
_FAINT = 0.35  # of the ink's contrast against both sides: ink that the mask has missed


@dataclass(frozen=True, eq=False)
class Link:
    """A joint of the ends ``a`` and ``b``: its ``line`` (n, 2), mm, from a to b, and its cost to believe.

    End 2n is the first point of stroke n and end 2n + 1 its last.
    """

    a: int
    b: int
    line: Floats
    cost: float


@dataclass(frozen=True, eq=False)
class Landing:
    """Where an end, run on, meets the board edge: ``at`` mm along it, over ``line`` (2, 2)."""

    end: int
    at: float
    line: Floats
    cost: float


@dataclass(frozen=True, eq=False)
class Ends:
    """The ends of all strokes: ``at`` (2n, 2), mm, and ``onward`` (2n, 2), unit vectors out of the stroke."""

    at: Floats
    onward: Floats


def ends_of(strokes: list[Stroke], width: float) -> Ends:
    """The ends of strokes and where they lead.

    >>> line = Stroke(np.column_stack([np.arange(0, 9, 0.2), np.zeros(45)]), 8.8)
    >>> ends_of([line], 0.5).onward[:, 0].round(3).tolist()
    [-1.0, 1.0]
    """
    at, onward = np.empty((2 * len(strokes), 2)), np.empty((2 * len(strokes), 2))
    for n, stroke in enumerate(strokes):
        for end, points in ((2 * n, stroke.points[::-1]), (2 * n + 1, stroke.points)):
            at[end], onward[end] = points[-1], _onward(points, width)
    return Ends(at, onward)


def _onward(points: Floats, width: float) -> Floats:
    """The direction at the end of a stroke, its very end (rounded by thinning) left out."""
    back = np.hypot(*(points - points[-1]).T)
    use = (back >= min(0.6 * width, back.max() / 3)) & (back <= max(4.0, 3 * width))
    near = points[use] if use.sum() >= 3 else points
    _, _, axes = np.linalg.svd(near - near.mean(axis=0), full_matrices=False)
    return np.asarray(axes[0] if axes[0] @ (near[-1] - near[0]) > 0 else -axes[0])


def links(place: Ground, ink: Ink, strokes: list[Stroke], most_gap: float) -> list[Link]:
    """Every joint of two ends that a person could take for the way the pen went."""
    ends = ends_of(strokes, ink.width)
    between = ends.at[None] - ends.at[:, None]
    gap = np.hypot(between[..., 0], between[..., 1])
    a, b = np.nonzero(np.triu(gap <= 1.2 * most_gap, 1))
    found = _bridges(place, ink, ends, a, b, most_gap) + _corners(ends, a, b, ink.width, CORNER * most_gap)
    loop = [n for n, link in enumerate(found) if link.a // 2 == link.b // 2]
    short = {n for n in loop if strokes[found[n].a // 2].length < 30}  # no stroke closes on itself so soon
    return [link for n, link in enumerate(found) if n not in short]


def _bridges(
    place: Ground, ink: Ink, ends: Ends, a: NDArray[np.int64], b: NDArray[np.int64], most: float
) -> list[Link]:
    """Gaps that are run over straight; ink that shows faintly there speaks for them."""
    between = ends.at[b] - ends.at[a]
    gap = np.hypot(*between.T)
    out, back = _angle(ends.onward[a], between), _angle(ends.onward[b], -between)
    turn = _angle(ends.onward[a], -ends.onward[b])
    aside = np.maximum(gap * np.sin(np.minimum(out, np.pi / 2)), gap * np.sin(np.minimum(back, np.pi / 2)))
    touching = gap < 0.9 * ink.width + 0.6
    smooth = (np.maximum(out, back) < SWERVE) & (turn < SWERVE) & (aside < 0.4 + 0.22 * gap + 0.1 * ink.width)
    use = np.flatnonzero((smooth & (gap <= most)) | touching)
    seen = _evidence(place, ink, ends.at[a[use]], ends.at[b[use]])
    cost = gap[use] * (1 - seen) + np.where(smooth[use], 1.5 * aside[use] * (1 - seen), 0.6 + gap[use])
    return [
        Link(int(a[n]), int(b[n]), np.array([ends.at[a[n]], ends.at[b[n]]]), float(c))
        for n, c in zip(use, cost, strict=True)
    ]


def _angle(u: Floats, v: Floats) -> Floats:
    return np.asarray(np.abs(np.arctan2(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0], np.einsum("ij,ij->i", u, v))))


def _evidence(place: Ground, ink: Ink, a: Floats, b: Floats) -> Floats:
    """The share of each straight way from ``a`` to ``b`` that differs from both its sides as the ink does."""
    if not len(a):
        return np.zeros(0)
    along = np.linspace(0, 1, _SAMPLES)[:, None, None]
    way = b - a
    unit = way / np.maximum(np.hypot(*way.T), 1e-9)[:, None]
    normal = np.column_stack([-unit[:, 1], unit[:, 0]]) * (0.5 * ink.width + 0.5)
    middle = a + along * way
    seen = [_sampled(place, middle + side * normal) for side in (-1, 0, 1)]
    axis = ink.colour - place.base
    contrast = float(axis @ axis)
    left, right = ((seen[1] - seen[n]) @ axis / contrast for n in (0, 2))
    return np.asarray((np.minimum(left, right) > _FAINT).mean(axis=0))


def _sampled(place: Ground, points: Floats) -> Floats:
    at = np.round(to_pixels(points.reshape(-1, 2), place.origin, place.pixels_per_mm)).astype(int)
    rows, columns = place.lab.shape[:2]
    values = place.lab[np.clip(at[:, 1], 0, rows - 1), np.clip(at[:, 0], 0, columns - 1)]
    return np.asarray(values.reshape(*points.shape[:-1], 3), dtype=np.float64)


def _corners(
    ends: Ends, a: NDArray[np.int64], b: NDArray[np.int64], width: float, reach: float
) -> list[Link]:
    """Corners: both ends run on, or cut back where the pen overshot, to where they meet."""
    u, v, between = ends.onward[a], ends.onward[b], ends.at[b] - ends.at[a]
    across = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    safe = np.where(np.abs(across) < 0.2, np.nan, across)
    s = (between[:, 0] * v[:, 1] - between[:, 1] * v[:, 0]) / safe
    t = (between[:, 0] * u[:, 1] - between[:, 1] * u[:, 0]) / safe
    past = 1.5 * width + 1.5
    with np.errstate(invalid="ignore"):
        use = np.flatnonzero((s > -past) & (s < reach) & (t > -past) & (t < reach))
    beyond = np.maximum(np.abs(s) - 0.5 * width, 0) + np.maximum(np.abs(t) - 0.5 * width, 0)
    return [
        Link(
            int(a[n]),
            int(b[n]),
            np.array([ends.at[a[n]], ends.at[a[n]] + s[n] * u[n], ends.at[b[n]]]),
            float(1.0 + beyond[n]),
        )
        for n in use
    ]


def landings(strokes: list[Stroke], width: float, edge: Polygon) -> list[Landing]:
    """Where ends meet the board edge, at most one for each end."""
    ends = ends_of(strokes, width)
    reach = TO_EDGE + 0.5 * width
    rim = LineString(edge.exterior)
    found = []
    for n in np.flatnonzero(shapely.distance(shapely.points(ends.at), rim) < reach):
        onward = ends.onward[n]
        ray = LineString([ends.at[n] - 0.5 * width * onward, ends.at[n] + 1.5 * reach * onward])
        hit = shapely.get_coordinates(ray.intersection(rim))
        if len(hit):
            far = np.hypot(*(hit - ends.at[n]).T)
            k = int(np.argmin(far))
            cost = 0.4 + 1.5 * max(0.0, far[k] - 0.5 * width - 0.3)
            at = float(rim.project(shapely.Point(hit[k])))
            found.append(Landing(int(n), at, np.array([ends.at[n], hit[k]]), float(cost)))
    return found
