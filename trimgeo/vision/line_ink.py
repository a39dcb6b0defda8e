"""Which inks a picture may be drawn with, and where each of them lies: colours, masks, the middle of strokes.

A pen leaves a ridge: narrow, of one colour, on ground of another.  Colours are CIE Lab (CIE 15) with
lightness weighed less, because light falls unevenly on a board.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from trimgeo.model.board import Picture

Floats = NDArray[np.float64]
Floats32 = NDArray[np.float32]
Mask = NDArray[np.uint8]

FINEST = 6.0  # px/mm of the working picture: the thinnest pen, 0.3 mm, is still two pixels wide
MOST_PIXELS = 3.0e6  # of the working picture: a large board is searched more coarsely
WIDEST = 3.4  # mm; wider strips are parts, not strokes: pens end at 3 mm
THINNEST = 0.22  # mm; silk-screen strokes are thinner than a pen's
LIGHTNESS = 0.6  # weight of lightness against colour
_WIDTHS = (0.4, 0.7, 1.1, 1.7, 2.5)  # mm; widths to which the ridge filter is tuned
_MOST_INKS = 20
_BIN = 7.0  # Lab units of a histogram cell


@dataclass(frozen=True, eq=False)
class Ground:
    """The working picture: ``lab`` (rows, columns, 3), ``board`` 255 on the board, ``base`` its colour.

    ``x = (column - origin[0]) / pixels_per_mm``, ``y = (origin[1] - row) / pixels_per_mm``, mm.
    """

    lab: Floats32
    base: Floats32
    board: Mask
    pixels_per_mm: float
    origin: tuple[float, float]


@dataclass(frozen=True, eq=False)
class Ink:
    """One ink: its ``colour`` (weighed Lab), the ``width`` of its strokes, mm, and where it may lie.

    ``mask`` is 255 where the colour fits, parts wider than any pen left out; ``depth`` is the distance to
    the rim of the mask, mm.
    """

    colour: Floats32
    mask: Mask
    depth: Floats32
    width: float


def weighed_lab(pixels: NDArray[np.uint8]) -> Floats32:
    """Blue-green-red pixels (rows, columns, 3) as Lab with weighed lightness, float32.

    >>> weighed_lab(np.full((1, 1, 3), 255, np.uint8)).round(0).ravel().tolist()
    [60.0, 0.0, 0.0]
    """
    lab = cv2.cvtColor(pixels.astype(np.float32) / np.float32(255), cv2.COLOR_BGR2Lab)
    lab[..., 0] *= LIGHTNESS
    return np.asarray(lab, dtype=np.float32)


def to_pixels(points: Floats, origin: tuple[float, float], pixels_per_mm: float) -> Floats:
    """Board points (n, 2), mm, as (column, row).

    >>> to_pixels(np.array([[1.0, 2.0]]), (10.0, 50.0), 5.0).tolist()
    [[15.0, 40.0]]
    """
    points = np.asarray(points, dtype=float)
    return np.column_stack(
        [origin[0] + points[:, 0] * pixels_per_mm, origin[1] - points[:, 1] * pixels_per_mm]
    )


def to_board(pixels: Floats, origin: tuple[float, float], pixels_per_mm: float) -> Floats:
    """The inverse of `to_pixels`.

    >>> to_board(np.array([[15.0, 40.0]]), (10.0, 50.0), 5.0).tolist()
    [[1.0, 2.0]]
    """
    pixels = np.asarray(pixels, dtype=float)
    return np.column_stack([pixels[:, 0] - origin[0], origin[1] - pixels[:, 1]]) / pixels_per_mm


def filled(ground_size: tuple[int, int], shape: Polygon, origin: tuple[float, float], density: float) -> Mask:
    """A mask (rows, columns) of 255 where ``shape``, mm, covers the pixel."""
    mask = np.zeros(ground_size, np.uint8)
    for part in getattr(shape, "geoms", [shape]):
        rings = [
            np.round(to_pixels(shapely.get_coordinates(ring)[:, :2], origin, density)).astype(np.int32)
            for ring in (part.exterior, *part.interiors)
        ]
        cv2.fillPoly(mask, [ring.reshape(-1, 1, 2) for ring in rings], 255)
    return mask


def ground(picture: Picture, edge: Polygon) -> Ground:
    """The board's part of a picture, reduced to what finding needs: at most 6 px/mm and 3 megapixels."""
    left, low, right, high = edge.buffer(2.0).bounds
    corner = to_pixels(np.array([[left, high], [right, low]]), picture.origin, picture.pixels_per_mm)
    first = np.maximum(np.floor(corner[0]).astype(int), 0)
    last = np.minimum(np.ceil(corner[1]).astype(int) + 1, picture.size)
    cut = picture.pixels[first[1] : last[1], first[0] : last[0]]
    rows, columns = cut.shape[:2]
    shrink = min(1.0, FINEST / picture.pixels_per_mm, float(np.sqrt(MOST_PIXELS / (rows * columns))))
    size = (max(1, round(columns * shrink)), max(1, round(rows * shrink)))
    small = cv2.resize(cut, size, interpolation=cv2.INTER_AREA) if shrink < 1 else cut
    factor = size[0] / columns
    origin = (
        (picture.origin[0] - first[0] + 0.5) * factor - 0.5,
        (picture.origin[1] - first[1] + 0.5) * size[1] / rows - 0.5,
    )
    density = picture.pixels_per_mm * factor
    board = filled((size[1], size[0]), edge, origin, density)
    lab = weighed_lab(small)
    return Ground(lab, _base(lab, board), board, density, origin)


def _base(lab: Floats32, board: Mask) -> Floats32:
    """The colour of most of the board."""
    on = lab[board > 0]
    cells, counts = _cells(on)
    middle = cells[np.argmax(counts)] * _BIN
    near = on[np.linalg.norm(on - middle, axis=1) < _BIN]
    return np.asarray(np.median(near if len(near) else on, axis=0), dtype=np.float32)


def _cells(colours: Floats32) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Occupied cells of a coarse histogram of colours (n, 3), and how many lie in each."""
    cells = np.round(colours / _BIN).astype(np.int64) + 64
    codes, counts = np.unique((cells[:, 0] * 128 + cells[:, 1]) * 128 + cells[:, 2], return_counts=True)
    return np.column_stack([codes // 16384, codes // 128 % 128, codes % 128]) - 64, counts


def ridges(place: Ground) -> Mask:
    """255 on the crests of narrow strips that differ from the ground on both sides.

    The largest second derivative across, over three channels and the widths of pens, with the scale
    normalised as for ridges (Lindeberg 1998); crests by comparing with both neighbours across.
    """
    shape = place.lab.shape[:2]
    best, angle = np.zeros(shape, np.float32), np.zeros(shape, np.float32)
    for width in _WIDTHS:
        sigma = max(0.7, 0.29 * width * place.pixels_per_mm)  # a bar's own scale: width / (2 sqrt 3)
        smooth = cv2.GaussianBlur(place.lab, (0, 0), sigma)
        for channel in cv2.split(smooth):
            xx, yy = cv2.Sobel(channel, cv2.CV_32F, 2, 0), cv2.Sobel(channel, cv2.CV_32F, 0, 2)
            xy = cv2.Sobel(channel, cv2.CV_32F, 1, 1)
            half, spread = (xx + yy) / 2, np.hypot((xx - yy) / 2, xy)
            strength = (np.abs(half) + spread) * sigma**1.5 / 4
            across = 0.5 * np.arctan2(2 * xy, xx - yy) + np.where(half < 0, np.float32(np.pi / 2), 0)
            better = strength > best
            best[better], angle[better] = strength[better], across[better]
    crest = _crests(best, angle)
    crest[(best < 2.5) | (place.board == 0)] = 0
    return crest


def _crests(strength: Floats32, across: Floats32) -> Mask:
    """Where ``strength`` is at least that of the pixels one step across either way."""
    rows, columns = strength.shape
    y, x = np.mgrid[0:rows, 0:columns].astype(np.float32)
    dx, dy = np.cos(across), np.sin(across)
    ahead = cv2.remap(strength, x + dx, y + dy, cv2.INTER_LINEAR)
    behind = cv2.remap(strength, x - dx, y - dy, cv2.INTER_LINEAR)
    return np.where((strength >= ahead) & (strength >= behind), 255, 0).astype(np.uint8)


def inks(place: Ground, within: Mask | None = None) -> list[Ink]:
    """The inks that long narrow strips of one colour suggest, those with the longest strips first."""
    crest = ridges(place)
    if within is not None:
        crest[within == 0] = 0
    smooth = cv2.blur(place.lab, (3, 3))
    found: list[tuple[float, Ink]] = []
    for colour in _colours(smooth[crest > 0]):
        far = np.linalg.norm(smooth - colour, axis=2)
        crest_here = ((crest > 0) & (far < 11)).astype(np.uint8)
        length, on_long = _long_strips(crest_here, place.pixels_per_mm)
        if length < 12:
            continue
        middle = np.asarray(np.median(smooth[on_long], axis=0), dtype=np.float32)
        for ink in _inks_of(place, middle, on_long):
            alike = (o for _, o in found if 0.75 < o.width / ink.width < 1.33)
            if not any(np.linalg.norm(middle - other.colour) < 3 for other in alike):
                found.append((length, ink))
    found.sort(key=lambda pair: -pair[0])
    return [ink for _, ink in found[:_MOST_INKS]]


def _colours(colours: Floats32) -> list[Floats32]:
    """Peaks of the histogram of crest colours, commonest first."""
    if not len(colours):
        return []
    cells, counts = _cells(colours)
    order = np.lexsort((*cells.T, -counts))
    peaks: list[Floats32] = []
    for n in order[:400]:
        middle = (cells[n] * _BIN).astype(np.float32)
        if counts[n] >= 25 and all(np.linalg.norm(middle - p) > 1.3 * _BIN for p in peaks):
            peaks.append(middle)
    return peaks[:60]


def _long_strips(crest: Mask, density: float) -> tuple[float, NDArray[np.bool_]]:
    """Length, mm, of the strips of at least 6 mm, and the crest pixels that lie on them."""
    joined = cv2.dilate(crest, np.ones((3, 3), np.uint8))
    _, labels, stats, _ = cv2.connectedComponentsWithStats(joined, connectivity=8)
    reach = np.hypot(stats[:, cv2.CC_STAT_WIDTH], stats[:, cv2.CC_STAT_HEIGHT])
    long = reach > 6 * density
    long[0] = False
    return float(reach[long].sum() / density), (crest > 0) & long[labels]


def _inks_of(place: Ground, colour: Floats32, crest: NDArray[np.bool_]) -> list[Ink]:
    """The inks of a colour, one for each width it is drawn with; none where it is the board's own."""
    from_base = float(np.linalg.norm(colour - place.base))
    if from_base < 9:
        return []
    far = np.linalg.norm(place.lab - colour, axis=2)
    reach = float(np.clip(0.42 * from_base, 8, 28))
    mask = ((far < reach) & (place.board > 0)).astype(np.uint8) * np.uint8(255)
    if (mask > 0).sum() > 0.3 * (place.board > 0).sum():
        return []
    close = 2 * round(0.3 * place.pixels_per_mm) + 1  # streaks and dust in the ink
    mask = cv2.morphologyEx(
        mask, cv2.MORPH_CLOSE, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (close, close))
    )
    mask[place.board == 0] = 0
    widest = round(WIDEST * place.pixels_per_mm) | 1
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (widest, widest))
    wide = cv2.morphologyEx(mask, cv2.MORPH_OPEN, disc)
    mask[cv2.dilate(wide, np.ones((3, 3), np.uint8)) > 0] = 0
    depth = cv2.distanceTransform(mask, cv2.DIST_L2, 5) / np.float32(place.pixels_per_mm)
    on = crest & (depth > 0)
    if on.sum() < 20:
        return []
    # A distance transform counts to the centre of the first pixel outside: half a pixel too much.
    widths = 2 * np.quantile(depth[on], [0.5, 0.8, 0.95]) - 1 / place.pixels_per_mm
    found: list[Ink] = []
    for width in np.maximum(widths, THINNEST):
        if not found or width > 1.33 * found[-1].width:
            found.append(Ink(colour, mask, depth, float(width)))
    return found
