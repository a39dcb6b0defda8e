"""Ground with a known print on it: what it should look like, and how far each pixel is off that."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from trimgeo.model.board import Picture, Pixels

Floats = NDArray[np.float64]
Shares = NDArray[np.float32]

_FINER = 2
"""Pixels of the drawn print along one of the picture."""
_CELL = 4.0
"""Side, mm, of the fields in which paper and ink are looked at together."""
_FLAT = 0.02
"""Share of ink up to which a pixel is paper, and ink from as near to one."""
_LEAST = 8
"""Pixels each of paper and ink in a field that tells their colours."""
_INK, _EVEN, _SPREAD = 0.85, 0.08, 12.0
"""Ink is darker than this share of the paper, in glare too; what paper varies by in its field as a share, and
ink in grey levels: where a board covers part of a field both are more."""
_GLARED = 0.1
"""Share of its brightness by which ink in glare may vary besides."""
_GAMMA = 2.2
"""Exponent that takes grey levels to light, near enough (sRGB, IEC 61966-2-1, is within 0.01 of it)."""
_WHITE, _FAINT = 0.6, 0.01
"""Share of its brightest channel that the faintest of glare has at least; light too little to tell."""
_BLACKEST = 20.0
"""Per cent of the fields, the darkest, whose ink is seen without glare."""
_FIELDS = 6
"""Fields that tell light and colours at least."""
_AWAY = 0.2
"""How far, mm, the print may lie off the place where it is known to be."""
_WIDTHS, _ENOUGH = (1.5, 4.0, 12.0, 40.0), 0.1
"""Fields over which colours are smoothed, the widest where none is near, and the weight that is enough."""
_BESIDE, _PLANE = 3, 8
"""Fields to each side of one that it is compared with, and how many tell a plane through them."""
_SHADES = (0.5, 1.08)
"""How dark and how bright ground gets in shadow and light, against the ground round it."""
_MIXED = 7
"""Mixtures of ink and paper that are tried where a print's edge is near."""
_BLUR = 1.2
"""Standard deviation, pixels, of the picture's blur."""
_NONE = 1e4
"""Grey levels off that stand for nothing known."""
_BAND = 256
"""Rows at a time: a large photo would not fit as floats."""


SHEET, KNOWN = 1, 2
"""Where there is paper on which anything may be printed, and where it is known."""


@dataclass(frozen=True, eq=False)
class Print:
    """What is printed below a board, in the mm of its true-scale picture.

    ``black`` (n, 4, 2) are the black areas; ``known`` (k, 2) is the rim of what is blank elsewhere, ``sheet``
    (k, 2) that of the paper: between them anything may be printed.
    """

    black: Floats
    known: Floats
    sheet: Floats


@dataclass(frozen=True, eq=False)
class Bed:
    """The printed ground as it should be seen.

    ``ink`` (rows, columns) is the share of ink, 0 to 255, blurred; ``within`` is `KNOWN` where the print is
    known, `SHEET` elsewhere on the paper, 0 beyond it; ``paper`` and ``black`` (n, m, 3) are their colours in
    the light that falls there, coarsely, ``dark_paper`` and ``dark_black`` in the deepest shadow there, and
    ``bare`` the paper's without glare.
    """

    ink: Pixels
    within: Pixels
    paper: Shares
    black: Shares
    dark_paper: Shares
    dark_black: Shares
    bare: Shares


@dataclass(frozen=True, eq=False)
class Under:
    """A picture's printed ground, each (rows, columns) of it.

    ``ink`` is the share of ink and ``tone`` how bright that is against paper, 0 to 255; ``off`` how far, grey
    levels, the picture is off it.
    """

    ink: Pixels
    tone: Pixels
    off: Pixels


def under(bed: Bed, pixels: Pixels, per_mm: float) -> Under:
    """The printed ground of a picture of so many pixels per mm, pixel by pixel."""
    tone = tones(bed, bed.ink)
    off = np.clip(np.round(off_print(bed, pixels, per_mm)), 0, 255).astype(np.uint8)
    return Under(bed.ink, tone, off)


def tones(bed: Bed, ink: Pixels) -> Pixels:
    """How bright the printed ground is against its paper, 0 to 255, from its share of ink at any scale."""
    tone = np.empty_like(ink)
    size = (ink.shape[1], ink.shape[0])
    for first in range(0, size[1], _BAND):
        rows = np.arange(first, min(first + _BAND, size[1]))
        black, paper = (colours_in(each, rows, size).mean(axis=2) for each in (bed.black, bed.paper))
        tone[rows] = np.round(255 - (1 - black / np.maximum(paper, 1.0)) * ink[rows])
    return tone


def print_shares(size: tuple[int, int], corners: Floats, blur: float) -> Pixels:
    """Share of ink, 0 to 255, of each pixel, (rows, columns), from black areas, (n, 4, 2) in pixels.

    >>> square = np.array([[[9.5, 4.5], [19.5, 4.5], [19.5, 14.5], [9.5, 14.5]]])
    >>> drawn = print_shares((30, 20), square, 0.0)
    >>> round(float(drawn.sum()) / 255), int(drawn[10, 12]), int(drawn[10, 25])
    (100, 255, 0)
    """
    columns, rows = size
    fine = np.zeros((rows * _FINER, columns * _FINER), np.uint8)
    at = (corners + 0.5) * _FINER - 0.5
    # cv2.fillPoly covers the pixels on its outline as well: half a pixel more on each side.
    middle = at.mean(axis=1, keepdims=True)
    along = np.roll(at, -1, axis=1) - at
    along /= np.maximum(np.linalg.norm(along, axis=2, keepdims=True), 1e-9)
    inward = at + 0.5 * (along - np.roll(along, 1, axis=1))
    inward = np.where(np.abs(middle - at) > 0.5, inward, middle)
    for ring in np.round(inward * 16).astype(np.int32):
        cv2.fillPoly(fine, [ring], 255, cv2.LINE_8, 4)
    drawn = cv2.resize(fine, (columns, rows), interpolation=cv2.INTER_AREA)
    return np.asarray(cv2.GaussianBlur(drawn, (0, 0), blur) if blur else drawn, np.uint8)


def bed_of(picture: Picture, pixels: Pixels, printed: Print) -> Bed | None:
    """The printed ground of a picture; None where too little of it shows to tell its light and colours."""
    scale = np.array([1.0, -1.0]) * picture.pixels_per_mm
    size = (pixels.shape[1], pixels.shape[0])
    ink = print_shares(size, printed.black * scale + picture.origin, _BLUR)
    within = np.zeros(pixels.shape[:2], np.uint8)
    for rim, value in ((printed.sheet, SHEET), (printed.known, KNOWN)):
        at = np.round((rim * scale + picture.origin) * 16)
        cv2.fillPoly(within, [at.astype(np.int32)], value, cv2.LINE_8, 4)
    fields, blank = _fields(pixels, ink, within, picture.pixels_per_mm)
    # The board passes for ink: it differs from that round it, or is of a colour, which glare is not.
    odd = _coloured(_glare(fields)) | ~(_off_neighbours(fields[..., 3:]) < _SPREAD)
    fields[odd] = np.nan
    if (~odd).sum() < _FIELDS:
        return None
    added = _glare(fields)
    # A board's shadow makes fields beside it darker; nothing makes them brighter than light and glare do.
    bare = _spread_out(_levels(_around(_light(fields[..., :3]) - added, np.nanmax)))
    glare = _spread_out(np.where(np.isnan(added), _glare_of_paper(blank, bare), added))
    paper, black = _light(bare) + glare, _light(_spread_out(fields[..., 3:]))
    # No shadow takes glare away that comes from elsewhere.
    dark_paper, dark_black = (
        _SHADES[0] ** _GAMMA * (each - glare) + glare for each in (paper, np.maximum(black, glare))
    )
    return Bed(ink, within, _levels(paper), _levels(black), _levels(dark_paper), _levels(dark_black), bare)


def _light(levels: Floats | Shares) -> Shares:
    return np.asarray((np.asarray(levels, np.float64) / 255) ** _GAMMA, np.float32)


def _levels(light: Floats | Shares) -> Shares:
    part: Floats = np.clip(np.asarray(light, np.float64), 0.0, 1.0)
    return np.asarray(255 * part ** (1 / _GAMMA), np.float32)


def _glare(fields: Floats) -> Shares:
    """Light, (n, m, 3), that is added to paper and ink alike; see `_fields`.

    Of paper p and ink k that throw back light g it makes p g + s and k g + s: s follows from both and k / p.
    """
    paper, black = _light(fields[..., :3]), _light(fields[..., 3:])
    share = np.nanpercentile(black / paper, _BLACKEST, axis=(0, 1))
    return np.asarray(np.maximum((black - share * paper) / (1 - share), 0.0), np.float32)


def _coloured(glare: Shares) -> NDArray[np.bool_]:
    """Where glare, (n, m, 3), would be of a colour, (n, m)."""
    return np.asarray(glare.min(axis=2) < _WHITE * glare.max(axis=2) - _FAINT)


def _glare_of_paper(blank: Floats, bare: Shares) -> Shares:
    """Glare, (n, m, 3), on fields of blank paper, (n, m, 3), no darker than `bare`; NaN elsewhere."""
    each = blank.reshape(-1, 3).astype(np.float32)
    off = _off_glared(each, bare.reshape(-1, 3)).reshape(blank.shape[:2])
    even = (off < _SPREAD) & (blank.mean(axis=2) > (1 - _EVEN) * bare.mean(axis=2))
    return np.where(
        even[..., None], np.maximum(_light(blank) - _light(bare), np.float32(0)), np.float32(np.nan)
    )


def _off_neighbours(fields: Floats) -> Floats:
    """How far, grey levels, (n, m), fields, (n, m, 3), are off those round them; NaN where there are none.

    In glare they differ from place to place: a plane is fitted through them.
    """
    found = np.full(fields.shape[:2], np.nan)
    known = np.argwhere(np.isfinite(fields[..., 0]))
    for n, m in known:
        near = known[(np.abs(known - (n, m)) <= _BESIDE).all(axis=1)]
        colours = fields[near[:, 0], near[:, 1]]
        off = np.abs(fields[n, m] - np.median(colours, axis=0)).max()
        if off >= _SPREAD and len(near) >= _PLANE:
            terms = np.column_stack([np.ones(len(near)), near - (n, m)])
            weights = np.ones(len(near))
            for _ in range(5):
                weighed = terms * weights[:, None]
                plane = np.linalg.lstsq(weighed.T @ terms, weighed.T @ colours, rcond=None)[0]
                left = np.abs(colours - terms @ plane).max(axis=1)
                weights = 1 / (1 + (left / (0.5 * _SPREAD)) ** 2)
            off = np.abs(fields[n, m] - plane[0]).max()
        found[n, m] = off
    return found


def _around(fields: Shares, take: Callable[..., Shares]) -> Shares:
    """What ``take`` takes of the fields, (n, m, 3), within `_BESIDE` of each that is known; NaN elsewhere."""
    wide = np.pad(fields, ((_BESIDE, _BESIDE), (_BESIDE, _BESIDE), (0, 0)), constant_values=np.nan)
    found = np.full_like(fields, np.nan)
    for n, m in np.argwhere(np.isfinite(fields[..., 0])):
        found[n, m] = take(wide[n : n + 2 * _BESIDE + 1, m : m + 2 * _BESIDE + 1], axis=(0, 1))
    return found


def _fields(pixels: Pixels, ink: Pixels, within: Pixels, per_mm: float) -> tuple[Floats, Floats]:
    """Colours of paper and ink, (n, m, 6), in fields `_CELL` wide, NaN where they do not show both; of paper.

    What passes for paper alone, (n, m, 3), may be the board.
    """
    side = max(8, round(_CELL * per_mm))
    low, high = 255 * _FLAT, 255 * (1 - _FLAT)
    rows, columns = pixels.shape[:2]
    found = np.full((-(-rows // side), -(-columns // side), 6), np.nan)
    alone = found[..., :3].copy()
    for n, m in np.ndindex(found.shape[:2]):
        part = (slice(n * side, (n + 1) * side), slice(m * side, (m + 1) * side))
        share, inside = ink[part], within[part] == KNOWN
        blank, black = (
            pixels[part][each & inside].astype(np.float32) for each in (share < low, share > high)
        )
        if len(blank) < _LEAST:
            continue
        a = np.median(blank, axis=0)
        if np.percentile(np.abs(blank - a).mean(axis=1), 90) >= _EVEN * a.mean() + 4:
            continue
        alone[n, m] = a
        if len(black) < _LEAST:
            continue
        b = np.median(black, axis=0)
        apart = np.percentile(np.abs(black - b).mean(axis=1), 90)
        if (b < _INK * a).all() and apart < _SPREAD + _GLARED * b.mean():
            found[n, m] = [*a, *b]
    return found, alone


def _spread_out(fields: Floats | Shares) -> Shares:
    """Colours, (n, m, 3), smoothed, and from the nearest fields where there are none."""
    known = np.isfinite(fields[..., 0]).astype(np.float64)
    colours = np.nan_to_num(fields).astype(np.float64)
    found = np.zeros_like(colours)
    left = np.ones_like(known)
    for width in _WIDTHS:
        weight = cv2.GaussianBlur(known, (0, 0), width, None, width, cv2.BORDER_CONSTANT)
        summed = cv2.GaussianBlur(colours * known[..., None], (0, 0), width, None, width, cv2.BORDER_CONSTANT)
        share = left * np.minimum(weight / _ENOUGH, 1.0)
        found += share[..., None] * summed / np.maximum(weight, 1e-12)[..., None]
        left = left - share
    return np.asarray(found / np.maximum(1 - left, 1e-12)[..., None], np.float32)


def colours_in(fields: Shares, rows: NDArray[np.int64], size: tuple[int, int]) -> Shares:
    """Colours, (len(rows), columns, 3), of a picture of ``size`` in some of its rows, from fields."""
    tall, wide = fields.shape[:2]
    x = ((np.arange(size[0]) + 0.5) * wide / size[0] - 0.5).astype(np.float32)
    y = ((rows + 0.5) * tall / size[1] - 0.5).astype(np.float32)
    across, down = np.meshgrid(x, y)
    return np.asarray(cv2.remap(fields, across, down, cv2.INTER_LINEAR, None, cv2.BORDER_REPLICATE))


def off_print(bed: Bed, pixels: Pixels, per_mm: float) -> Shares:
    """How far, grey levels, each pixel is off the printed ground and its shades, (rows, columns).

    ``pixels`` is the bed's picture at any scale, of ``per_mm``; beyond the sheet the result means nothing.
    Near an edge of the print every mixture of ink and paper counts that lies within `_AWAY`.
    """
    shape = (pixels.shape[1], pixels.shape[0])
    ink, within = bed.ink, bed.within
    if ink.shape != pixels.shape[:2]:
        ink = np.asarray(cv2.resize(ink, shape, None, 0, 0, cv2.INTER_AREA), np.uint8)
        within = np.asarray(cv2.resize(within, shape, None, 0, 0, cv2.INTER_NEAREST), np.uint8)
    reach = 2 * max(1, round(_AWAY * per_mm)) + 1
    around = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (reach, reach))
    least, most = cv2.erode(ink, around), cv2.dilate(ink, around)
    least[within == SHEET], most[within == SHEET] = 0, 255
    size = (pixels.shape[1], pixels.shape[0])
    off = np.empty(pixels.shape[:2], np.float32)
    for first in range(0, size[1], _BAND):
        rows = np.arange(first, min(first + _BAND, size[1]))
        kinds = (bed.paper, bed.black, bed.dark_paper, bed.dark_black, bed.bare)
        paper, black, *dark, bare = (colours_in(each, rows, size) for each in kinds)
        seen = pixels[rows].astype(np.float32)
        here = np.full(seen.shape[:2], _NONE, np.float32)
        for share in np.linspace(0, 1, _MIXED):
            near = (least[rows] <= 255 * share + 22) & (most[rows] >= 255 * share - 22)
            high, low = (
                np.float32(1 - share) * a[near] + np.float32(share) * b[near]
                for a, b in ((paper, black), dark)
            )
            off_it = _off_way(seen[near], low, np.float32(_SHADES[1]) * high)
            here[near] = np.minimum(here[near], off_it)
        blank = least[rows] <= 22
        here[blank] = np.minimum(here[blank], _off_glared(seen[blank], bare[blank]))
        off[rows] = here
    # A grey part is a mixture of ink and paper as well: where the print is mixed, it is ground if what is
    # plain beside it is.
    plain = np.where((most < 22) | (least > 233), off, np.float32(_NONE))
    beside = cv2.erode(plain, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (reach + 4, reach + 4)))
    return np.asarray(np.where((plain < _NONE) | (beside >= _NONE), off, np.maximum(off, beside)))


def _off_glared(seen: Shares, bare: Shares) -> Shares:
    """Distance in colour, (n,), of colours from what paper, (n, 3), gets in glare: whiter, no darker."""
    return _off_way(seen, bare, np.full_like(bare, 255))


def _off_way(seen: Shares, begin: Shares, end: Shares) -> Shares:
    """Distance in colour, (n,), of colours from the way between two others, each (n, 3)."""
    way = end - begin
    share = ((seen - begin) * way).sum(axis=1) / np.maximum((way * way).sum(axis=1), 1.0)
    off = seen - begin - np.clip(share, 0, 1)[:, None] * way
    return np.asarray(np.sqrt((off * off).sum(axis=1)), np.float32)
