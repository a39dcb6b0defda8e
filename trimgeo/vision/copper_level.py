"""The grey level between copper and the rest, place by place: pictures are never evenly lit.

The picture is sampled into cells.  Where a cell shows both copper and laminate, its two greys are
read off; two smooth surfaces through them give the light and the dark grey anywhere, so that a cell inside
a plane, which shows one grey alone, gets its level from its neighbours and is not split in itself.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from trimgeo.errors import JobError

Floats = NDArray[np.float64]
Grey = NDArray[np.uint8]

_SAMPLES = 3_000_000
"""Pixels looked at: a hundred to a cell are enough, whatever the size of the picture."""

_CELLS = 32
"""Cells along the longer side: lamps and lenses shade a picture smoothly, over a tenth of it or more."""

_LEAST_CELL = 24
"""Pixels along a cell at least: fewer show no histogram."""

_LEAST_CONTRAST = 10.0
"""Grey levels between copper and the rest at least: less is within a JPEG's and a sensor's own spread."""

_LEAST_SHARE = 0.02
"""Share of a cell's samples that the rarer of two greys has at least, to be a second grey."""

_MOST_BETWEEN = 0.08
"""Share of samples half way between the greys at most: an even spread would have over twice that, and
one bell of noise as well: such a picture does not show two materials."""

_ROUNDS = 8
"""Rounds in which cells are sorted into light, dark and both; each reaches further from those with both."""


@dataclass(frozen=True, eq=False)
class Levels:
    """Dark and light grey on a coarse grid, shape (m, n), of cells ``cell`` pixels wide."""

    dark: Floats
    light: Floats
    cell: float

    def at(self, pixels: NDArray[Any], grid: Floats) -> Floats:
        """Values of a grid at pixels, shape (n, 2): linear between the middles of cells."""
        rows, columns = grid.shape
        u = np.clip((pixels[:, 0] + 0.5) / self.cell - 0.5, 0, columns - 1)
        v = np.clip((pixels[:, 1] + 0.5) / self.cell - 0.5, 0, rows - 1)
        i, j = np.minimum(v.astype(int), max(rows - 2, 0)), np.minimum(u.astype(int), max(columns - 2, 0))
        du, dv = u - j, v - i
        i1, j1 = np.minimum(i + 1, rows - 1), np.minimum(j + 1, columns - 1)
        above = grid[i, j] * (1 - du) + grid[i, j1] * du
        below = grid[i1, j] * (1 - du) + grid[i1, j1] * du
        return np.asarray(above * (1 - dv) + below * dv)

    @property
    def middle(self) -> Floats:
        """The level between the two greys, shape (m, n): half way, where blur leaves an edge in place."""
        return (self.dark + self.light) / 2


def flat_level(level: int) -> Levels:
    """One level for the whole picture.

    >>> flat_level(120).middle.tolist()
    [[120.0]]
    """
    return Levels(np.array([[level - 50.0]]), np.array([[level + 50.0]]), 1.0)


def find_levels(grey: Grey, where: str, board: Polygon | None = None) -> Levels:
    """The two greys of a picture, shape (rows, columns), place by place.

    ``board``, in pixels, bounds what is looked at.  Raises `trimgeo.JobError` at ``where`` for a
    picture that does not show two greys.

    >>> picture = np.full((200, 200), 60, np.uint8)
    >>> picture[50:150, 20:90] = 180
    >>> float(find_levels(picture, "job.toml").middle.mean())
    120.0
    """
    cell = max(_LEAST_CELL, max(grey.shape) / _CELLS)
    histograms = _histograms(grey, cell, board)
    spread = _spread(histograms.sum(axis=(0, 1)))
    dark, light, both = _two_greys(histograms)
    if not both.any() or spread < _LEAST_CONTRAST:
        raise _no_two_greys(where)
    contrast = float(np.median((light - dark)[both]))
    both &= light - dark > 0.5 * contrast
    dark_surface, light_surface = _surfaces(histograms, dark, light, both)
    levels = Levels(dark_surface, light_surface, cell)
    between = _share_between(histograms, levels)
    if float((light_surface - dark_surface).min()) < _LEAST_CONTRAST or between > _MOST_BETWEEN:
        raise _no_two_greys(where)
    return levels


def _no_two_greys(where: str) -> JobError:
    return JobError(
        where,
        "its picture does not show two greys, one for copper and one for the rest",
        "take a picture with more contrast, or give `level`, the grey between the two (0 to 255)",
    )


def _histograms(grey: Grey, cell: float, board: Polygon | None) -> Floats:
    """How often each grey is there in each cell, shape (m, n, 256), where the picture is flat.

    Pixels on an edge are a mixture of both greys; they are known by the step between their neighbours.
    """
    rows, columns = grey.shape
    stride = max(1, int((rows * columns / _SAMPLES) ** 0.5))
    v, u = np.arange(1, rows - 1, stride), np.arange(1, columns - 1, stride)
    shape = (int(np.ceil(rows / cell)), int(np.ceil(columns / cell)), 256)
    if not len(v) or not len(u):
        return np.zeros(shape)
    near = [grey[1 + dv : rows - 1 + dv : stride, 1 + du : columns - 1 + du : stride] for dv, du in _CROSS]
    here = near[0]
    step = cv2.max(cv2.absdiff(near[1], near[2]), cv2.absdiff(near[3], near[4]))
    flat = step <= max(4.0, float(np.percentile(step, 60)))
    if board is not None:
        flat &= _inside(board, u, v)
    index = (v / cell).astype(np.int64)[:, None] * shape[1] + (u / cell).astype(np.int64)[None, :]
    index = index[flat] * 256 + here[flat]
    return np.bincount(index, minlength=int(np.prod(shape))).reshape(shape).astype(np.float64)


_CROSS = ((0, 0), (0, -1), (0, 1), (-1, 0), (1, 0))


def _inside(board: Polygon, u: NDArray[np.int64], v: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Which samples lie on the board, shape (len(v), len(u))."""
    shapely.prepare(board)
    return np.asarray(shapely.contains_xy(board, *np.meshgrid(u.astype(float), v.astype(float))))


def _spread(histogram: Floats) -> float:
    """Grey levels between the 1st and the 99th hundredth of the samples."""
    if histogram.sum() == 0:
        return 0.0
    low, high = np.searchsorted(np.cumsum(histogram) / histogram.sum(), (0.01, 0.99))
    return float(high - low)


def _two_greys(histograms: Floats) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Each cell split where the variance between the halves is greatest (Otsu 1979).

    Returns the medians of both halves, shape (m, n), and which cells show two greys.
    """
    greys = np.arange(256.0)
    count, total = np.cumsum(histograms, axis=2), np.cumsum(histograms * greys, axis=2)
    whole, mass = count[..., -1:], total[..., -1:]
    with np.errstate(divide="ignore", invalid="ignore"):
        between = (total * whole - mass * count) ** 2 / (count * (whole - count))
    between = np.nan_to_num(between, nan=0.0, posinf=0.0)
    # Of equal values in an empty valley the middle one.
    best = between >= between.max(axis=2, keepdims=True) * (1 - 1e-9)
    split = (best.argmax(axis=2) + 255 - best[..., ::-1].argmax(axis=2)) // 2
    below = np.take_along_axis(count, split[..., None], axis=2)
    dark = _quantile(count, below / 2)
    light = _quantile(count, (below + whole) / 2)
    share = np.minimum(below, whole - below)[..., 0] / np.maximum(whole[..., 0], 1)
    both = (share >= _LEAST_SHARE) & (whole[..., 0] >= 20) & (light - dark >= _LEAST_CONTRAST)
    return dark, light, both


def _quantile(count: Floats, wanted: Floats) -> Floats:
    """Grey at which the running count reaches what is wanted, to a part of a level, shape (m, n)."""
    at = (count < wanted).sum(axis=2).clip(0, 255)
    upto = np.take_along_axis(count, at[..., None], axis=2)[..., 0]
    before = np.where(
        at > 0, np.take_along_axis(count, np.maximum(at - 1, 0)[..., None], axis=2)[..., 0], 0.0
    )
    part = (wanted[..., 0] - before) / np.maximum(upto - before, 1e-9)
    return np.asarray(at - 0.5 + np.clip(part, 0.0, 1.0))


def _surfaces(
    histograms: Floats, dark: Floats, light: Floats, both: NDArray[np.bool_]
) -> tuple[Floats, Floats]:
    """Smooth dark and light greys through the cells with both, then through those of one grey as well."""
    filled = histograms.sum(axis=2) >= 20
    count = np.cumsum(histograms, axis=2)
    single = _quantile(count, count[..., -1:] / 2)
    of_dark = of_light = both
    dark_values, light_values = dark, light
    for round_ in range(_ROUNDS):
        low, high = _smooth(dark_values, of_dark), _smooth(light_values, of_light)
        if round_ == _ROUNDS - 1:
            break
        share = (single - low) / np.maximum(high - low, 1.0)
        of_dark = both | (filled & ~both & (np.abs(share) < 0.25))
        of_light = both | (filled & ~both & (np.abs(share - 1) < 0.25))
        dark_values, light_values = np.where(both, dark, single), np.where(both, light, single)
    return low, high


def _smooth(values: Floats, known: NDArray[np.bool_]) -> Floats:
    """Values spread from the cells where they are known: by the nearest that are, then evened out."""
    result = np.zeros_like(values)
    weight = np.zeros_like(values)
    # From narrow to wide: what a narrow mean does not reach, a wider one fills.
    for sigma in (1.0, 2.0, 4.0, 8.0, 32.0):
        size = (0, 0)
        mass = cv2.GaussianBlur(known.astype(np.float64), size, sigma, borderType=cv2.BORDER_CONSTANT)
        mean = cv2.GaussianBlur(np.where(known, values, 0.0), size, sigma, borderType=cv2.BORDER_CONSTANT)
        share = (1 - weight) * np.minimum(mass / 0.3, 1.0)
        result += share * mean / np.maximum(mass, 1e-12)
        weight += share
    return np.asarray(result / np.maximum(weight, 1e-12))


def _share_between(histograms: Floats, levels: Levels) -> float:
    """Share of flat samples that are neither copper's grey nor the rest's."""
    share = (np.arange(256.0) - levels.dark[..., None]) / (levels.light - levels.dark)[..., None]
    return float(histograms[(share > 0.35) & (share < 0.65)].sum() / max(histograms.sum(), 1.0))
