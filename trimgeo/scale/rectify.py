"""True-scale pictures in the board frame, drawn when first looked at."""

from __future__ import annotations

from functools import partial
from types import ModuleType
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from trimgeo.model.board import Picture, Pixels
from trimgeo.model.lens import Lens
from trimgeo.model.planemap import PlaneMap
from trimgeo.scale.decode import decode, shown_turned
from trimgeo.scale.limits import MARGIN
from trimgeo.scale.shot import opencv
from trimgeo.scale.source import Source, undecodable

Floats = NDArray[np.float64]

_TILE: Final = 4096
"""Side of the tiles in which a picture is drawn: OpenCV refuses sides over 32767 pixels."""
_GROWTH: Final = 2.0
"""A true-scale picture has at most this many times the pixels of its source."""
_WHITE: Final = (255, 255, 255)
_STEP: Final = 16
"""Pixels between the places of a tile whose way through the lens is computed; those between are
interpolated: a lens bends a stretch of 16 pixels by less than a hundredth of a pixel."""
_SIDES: Final = 24
"""Points a side that follow the rim of a picture taken through a lens."""

_TO_STORED: Final = {
    1: ((1, 0, 0), (0, 1, 0)),
    2: ((-1, 0, 1), (0, 1, 0)),
    3: ((-1, 0, 1), (0, -1, 1)),
    4: ((1, 0, 0), (0, -1, 1)),
    5: ((0, 1, 0), (1, 0, 0)),
    6: ((0, 1, 0), (-1, 0, 1)),
    7: ((0, -1, 1), (-1, 0, 1)),
    8: ((0, -1, 1), (1, 0, 0)),
}
"""Stored column and row from shown column and row, by EXIF orientation (CIPA DC-008): factors of the
shown column and row, and whether to add the last stored column or row."""


def shown_area(to_board: PlaneMap, size: tuple[int, int]) -> Polygon:
    """What a picture of size (columns, rows) shows of the board plane, mm: from pixel centre to centre.

    >>> scan = PlaneMap(np.diag([0.1, -0.1, 1.0]), np.zeros((9, 9)))
    >>> shown_area(scan, (101, 51)).bounds
    (0.0, -5.0, 10.0, 0.0)
    """
    right, low = size[0] - 1, size[1] - 1
    rim = np.array([[0, 0], [right, 0], [right, low], [0, low]], dtype=np.float64)
    if to_board.lens is not None:
        share = np.linspace(0, 1, _SIDES, endpoint=False)[:, None]
        rim = np.vstack([a + share * (b - a) for a, b in zip(rim, np.roll(rim, -1, axis=0), strict=True)])
    places = to_board.to_mm(rim)
    return Polygon(places) if np.isfinite(places).all() else Polygon()


def picture(source: Source, to_board: PlaneMap, board: Polygon | None) -> Picture:
    """The source at true scale: the board and 10 mm round it, as far as the source shows it.

    Pixels per mm are the median, over what is shown, of the source's own density in its thinner
    direction, rounded down to whole pixels per metre (what a PNG can state): no detail is invented.
    The grid is that of the whole source, so a straight scan is moved by whole pixels.

    >>> from pathlib import Path
    >>> scan = Source(Path("a.png"), "top", "a.png", "PNG", (2000, 1500), 1, (254.0, 254.0), camera=False)
    >>> to_board = PlaneMap(np.diag([0.1, -0.1, 1.0]), np.zeros((9, 9)))
    >>> drawn = picture(scan, to_board, shapely.box(30, -60, 100, -20))
    >>> drawn.pixels_per_mm, drawn.size, drawn.origin  # the board and 10 mm round it, from (20, -10)
    (10.0, (901, 601), (-200.0, -100.0))
    """
    shown = shown_area(to_board, source.size)
    left, low, right, high = shown.bounds
    start, top = left, high
    if board is not None:
        x0, y0, x1, y1 = board.bounds
        left, low = max(left, x0 - MARGIN), max(low, y0 - MARGIN)
        right, high = min(right, x1 + MARGIN), min(high, y1 + MARGIN)
    per_mm = _pixels_per_mm(to_board, shown, (left, low, right, high))
    most = _GROWTH * source.size[0] * source.size[1] + 4
    pixels = ((right - left) * per_mm + 1) * ((high - low) * per_mm + 1)
    per_mm = np.floor(1000 * per_mm * min(1.0, np.sqrt(most / pixels)) + 1e-6) / 1000
    first_column = np.floor((left - start) * per_mm + 1e-6)
    first_row = np.floor((top - high) * per_mm + 1e-6)
    origin = (-(start * per_mm + first_column), top * per_mm - first_row)
    size = (
        int(np.floor(right * per_mm + origin[0] + 1e-6)) + 1,
        int(np.floor(origin[1] - low * per_mm + 1e-6)) + 1,
    )
    frame = np.array([[1 / per_mm, 0, -origin[0] / per_mm], [0, -1 / per_mm, origin[1] / per_mm], [0, 0, 1]])
    return Picture(
        float(per_mm),
        (float(origin[0]), float(origin[1])),
        size,
        partial(_drawn, source, to_board, frame, size),
    )


def _pixels_per_mm(to_board: PlaneMap, shown: Polygon, bounds: tuple[float, float, float, float]) -> float:
    left, low, right, high = bounds
    x, y = np.meshgrid(np.linspace(left, right, 11), np.linspace(low, high, 11))
    grid = shapely.points(x.ravel(), y.ravel())
    inside = shapely.get_coordinates(grid[shapely.intersects(shown, grid)])
    if len(inside) == 0:
        inside = shapely.get_coordinates(shapely.centroid(shown))
    widest = np.linalg.svd(to_board.slopes(to_board.to_pixels(inside)), compute_uv=False)[:, 0]
    return float(np.median(1 / widest))


def _drawn(source: Source, to_board: PlaneMap, frame: Floats, size: tuple[int, int]) -> Pixels:
    """The true-scale picture, shape (rows, columns, 3), white where the source shows nothing.

    ``frame``, shape (3, 3), takes a pixel of the true-scale picture to mm.
    """
    cv2 = opencv(source.where)
    stored = decode(source)
    turn = stored_from_shown(shown_turned(source), (stored.shape[1], stored.shape[0]))
    from_frame = np.linalg.inv(to_board.matrix) @ frame
    columns, rows = size
    try:
        drawn = np.full((rows, columns, 3), 255, np.uint8)
        for top in range(0, rows, _TILE):
            for left in range(0, columns, _TILE):
                tile = drawn[top : top + _TILE, left : left + _TILE]
                if to_board.lens is None:
                    _draw_tile(cv2, stored, turn @ from_frame, (left, top), tile)
                else:
                    _draw_bent_tile(cv2, stored, from_frame, to_board.lens, turn, (left, top), tile)
    except (MemoryError, cv2.error) as fault:
        raise undecodable(source.where, source.label, MemoryError()) from fault
    return drawn


def _draw_tile(cv2: ModuleType, stored: Pixels, to_stored: Floats, at: tuple[int, int], tile: Pixels) -> None:
    """Draw one tile, whose first pixel is ``at`` (column, row), from the part of the source that it shows."""
    rows, columns = tile.shape[:2]
    shift = np.array([[1, 0, at[0]], [0, 1, at[1]], [0, 0, 1.0]])
    to_source = to_stored @ shift
    corners = PlaneMap(to_source, np.zeros((9, 9))).to_mm(
        [[0, 0], [columns - 1, 0], [0, rows - 1], [columns - 1, rows - 1]]
    )
    limits = np.array([stored.shape[1], stored.shape[0]])
    first = np.clip(np.floor(corners.min(axis=0)) - 2, 0, limits).astype(int)
    last = np.clip(np.ceil(corners.max(axis=0)) + 3, 0, limits).astype(int)
    if (last <= first).any():
        return
    part = stored[first[1] : last[1], first[0] : last[0]]
    back = np.array([[1, 0, -first[0]], [0, 1, -first[1]], [0, 0, 1.0]])
    tile[:] = cv2.warpPerspective(
        part,
        back @ to_source,
        (columns, rows),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_CONSTANT,
        borderValue=_WHITE,
    )


def _draw_bent_tile(
    cv2: ModuleType,
    stored: Pixels,
    from_frame: Floats,
    lens: Lens,
    turn: Floats,
    at: tuple[int, int],
    tile: Pixels,
) -> None:
    """Draw one tile of a picture that was taken through a lens, from the part of the source that it shows.

    ``from_frame`` takes a pixel of the true-scale picture to the ideal pixel, ``turn`` one as shown to
    one as stored.
    """
    rows, columns = tile.shape[:2]
    grid_rows, grid_columns = -(-rows // _STEP) + 2, -(-columns // _STEP) + 2
    row, column = (np.mgrid[:grid_rows, :grid_columns] - 1) * _STEP + (_STEP - 1) / 2
    ideal = PlaneMap(from_frame, np.zeros((9, 9))).to_mm(
        np.column_stack([column.ravel() + at[0], row.ravel() + at[1]])
    )
    taken = np.column_stack([lens.raw(ideal), np.ones(len(ideal))]) @ turn[:2].T
    limits = np.array([stored.shape[1], stored.shape[0]])
    first = np.clip(np.floor(taken.min(axis=0)) - 2, 0, limits).astype(int)
    last = np.clip(np.ceil(taken.max(axis=0)) + 3, 0, limits).astype(int)
    if (last <= first).any():
        return
    coarse = (taken - first).reshape(grid_rows, grid_columns, 2).astype(np.float32)
    whole = cv2.resize(coarse, (grid_columns * _STEP, grid_rows * _STEP), interpolation=cv2.INTER_LINEAR)
    ways = whole[_STEP : _STEP + rows, _STEP : _STEP + columns]
    part = stored[first[1] : last[1], first[0] : last[0]]
    tile[:] = cv2.remap(
        part, ways, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=_WHITE
    )


def stored_from_shown(orientation: int, stored_size: tuple[int, int]) -> Floats:
    """The map, shape (3, 3), from pixels as shown to pixels as stored, for an EXIF orientation.

    >>> stored_from_shown(6, (3, 2)) @ [0, 0, 1]  # stored turned: its first column is the top row
    array([0., 1., 1.])
    """
    rows = []
    for (by_column, by_row, from_end), length in zip(_TO_STORED[orientation], stored_size, strict=True):
        rows.append([by_column, by_row, from_end * (length - 1)])
    return np.array([*rows, [0, 0, 1]], dtype=np.float64)
