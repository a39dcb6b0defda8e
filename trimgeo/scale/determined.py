"""Whether points determine a map: sets that cannot are refused by name."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import combinations

import numpy as np
import shapely
from numpy.typing import NDArray

from trimgeo.errors import JobError, quoted
from trimgeo.model.board import FaceName
from trimgeo.scale.limits import BROAD, GREATEST_DENSITY, LEAST_APART, LEAST_HEIGHT, LEAST_SLENDER

Floats = NDArray[np.float64]

_ALL_TRIPLES = 12
"""With more points than this their orientation is judged on n spread triples instead of all."""


def refuse_undetermined(pixels: Floats, at: Floats, shows: FaceName | int, where: str) -> None:
    """Raise `trimgeo.JobError` where points cannot determine a map, naming those at fault.

    ``pixels`` and ``at`` have shape (n, 2); ``where`` names the list of points for the message.

    >>> pixels = np.array([[0.0, 0.0], [500.0, 1.0], [1000.0, 0.0]])
    >>> refuse_undetermined(pixels, pixels * [0.1, -0.1], "top", "points")  # doctest: +ELLIPSIS
    Traceback (most recent call last):
        ...
    trimgeo.errors.JobError: points: found points 1, 2 and 3 on one line; choose points near the corners ...
    """
    _refuse_coincident(pixels, at, where)
    _refuse_collinear(pixels, at, where)
    if len(pixels) > 2:
        _refuse_mirrored(pixels, at, shows, where)


def names(indices: Iterable[int]) -> str:
    """Points for a message, counted from 1.

    >>> names([0, 2, 3])
    '1, 3 and 4'
    """
    words = [str(index + 1) for index in sorted(indices)]
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def _refuse_coincident(pixels: Floats, at: Floats, where: str) -> None:
    near = _nearest_pair(pixels, LEAST_APART)
    if near is not None:
        raise JobError(
            where,
            f"found points {names(near)} at one pixel (less than {LEAST_APART:g} pixels apart)",
            "choose points far apart, near the corners of the board",
        )
    extent = float(np.ptp(at, axis=0).max())
    # Positions that two readings could only tell apart in a picture of more pixels per mm than there are.
    near = _nearest_pair(at, max(LEAST_SLENDER * extent / 10, LEAST_APART / GREATEST_DENSITY))
    if near is not None:
        raise JobError(
            where,
            f"found points {names(near)} at one board position but at different pixels",
            "measure both again, or leave one out",
        )


def _nearest_pair(points: Floats, distance: float) -> tuple[int, int] | None:
    """The first pair of points within a distance of each other."""
    geometries = shapely.points(points)
    tree = shapely.STRtree(geometries)
    first, second = tree.query(geometries, predicate="dwithin", distance=distance)
    pairs = sorted((int(a), int(b)) for a, b in zip(first, second, strict=True) if a < b)
    return pairs[0] if pairs else None


def _refuse_collinear(pixels: Floats, at: Floats, where: str) -> None:
    """A perspective map needs four points of which no three lie on a line.

    There are such four unless all points but one lie on a line; an affine map needs three off a line.
    """
    count = len(pixels)
    if count < 3:
        return
    everything = np.arange(count)
    sets = [everything] if count == 3 else [np.delete(everything, left_out) for left_out in range(count)]
    for chosen in _slender_first(pixels, at, sets):
        if _on_a_line(pixels[chosen], LEAST_HEIGHT) or _on_a_line(at[chosen], 0.0):
            rest = "" if count == 3 else " (nearly), which leaves the perspective open"
            raise JobError(
                where,
                f"found points {_told(chosen)} on one line{rest}",
                "choose points near the corners of the board, no three on a line",
            )


def _slender_first(pixels: Floats, at: Floats, sets: list[NDArray[np.intp]]) -> list[NDArray[np.intp]]:
    """The sets that might lie on a line: quick test by moments, so that many points cost n, not n squared."""
    if len(sets) < 100:
        return sets
    suspects = np.zeros(len(sets), dtype=np.bool_)
    for points, least in ((pixels, LEAST_HEIGHT), (at, 0.0)):
        centred, rest = points - points.mean(axis=0), len(points) - 1
        own = np.einsum("ni,nj->nij", centred, centred)
        scatter = (own.sum(axis=0) - own) / rest - own / rest**2
        short, long = np.sqrt(np.maximum(np.linalg.eigvalsh(scatter), 0)).T
        suspects |= short <= np.maximum(least, LEAST_SLENDER * np.sqrt(rest) * long)
    return [sets[index] for index in np.flatnonzero(suspects)]


def _on_a_line(points: Floats, least: float) -> bool:
    """Whether points leave their principal line by less than ``least`` or a small part of its length."""
    centred = points - points.mean(axis=0)
    _, _, axes = np.linalg.svd(centred, full_matrices=False)
    along, across = np.ptp(centred @ axes.T, axis=0)
    return bool(across < max(least, LEAST_SLENDER * along))


def _told(chosen: NDArray[np.intp]) -> str:
    return names(chosen.tolist()) if len(chosen) <= 8 else f"{names(chosen[:6].tolist())} and more"


def _refuse_mirrored(pixels: Floats, at: Floats, shows: FaceName | int, where: str) -> None:
    """Every triangle turns the same way in the picture, and the way that the shown face asks for."""
    triples = _triples(len(pixels))
    area_pixels, area_mm = _areas(pixels, triples), _areas(at, triples)
    clear = _broad(pixels, area_pixels, triples) & _broad(at, area_mm, triples)
    turning = np.sign(area_pixels * area_mm)[clear]
    expected = {"top": -1.0, "bottom": 1.0}.get(str(shows))
    if len(turning) == 0:
        return
    if expected is None:
        expected = 1.0 if (turning > 0).sum() > (turning < 0).sum() else -1.0
    if (turning == -expected).all():
        raise JobError(
            where,
            f"found points that are mirrored against what a picture of the {shows} face shows",
            f"check the positions, or say shows = {quoted('bottom' if shows == 'top' else 'top')}"
            " (positions are those seen from the top, pixels those of the picture)",
        )
    wrong = triples[clear][turning != expected]
    if len(wrong):
        counts = np.bincount(wrong.ravel(), minlength=len(pixels))
        worst = np.flatnonzero(counts == counts.max())[:4]
        raise JobError(
            where,
            f"found {'points' if len(worst) > 1 else 'point'} {names(worst.tolist())} "
            "on the wrong side of the others",
            "look for two that are swapped, and for a mistyped pixel or position",
        )


def _triples(count: int) -> NDArray[np.intp]:
    if count <= _ALL_TRIPLES:
        return np.array(list(combinations(range(count), 3)))
    first = np.arange(count)
    return np.column_stack([first, (first + count // 3) % count, (first + 2 * count // 3) % count])


def _areas(points: Floats, triples: NDArray[np.intp]) -> Floats:
    """Twice the signed areas of triangles, shape (m,)."""
    a, b, c = (points[triples[:, k]] for k in range(3))
    return np.asarray(np.cross(_deep(b - a), _deep(c - a))[:, 2])


def _deep(vectors: Floats) -> Floats:
    return np.column_stack([vectors, np.zeros(len(vectors))])


def _broad(points: Floats, areas: Floats, triples: NDArray[np.intp]) -> NDArray[np.bool_]:
    """Triangles whose least height is beyond what one misread point turns over."""
    corners = points[triples]
    longest = np.hypot(*(corners - np.roll(corners, 1, axis=1)).transpose(2, 0, 1)).max(axis=1)
    return np.asarray(np.abs(areas) > BROAD * longest**2)
