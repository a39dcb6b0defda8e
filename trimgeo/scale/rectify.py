"""True-scale pictures in the board frame, drawn when first looked at."""

from __future__ import annotations

from functools import partial
from types import ModuleType
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from trimgeo.errors import JobError
from trimgeo.model.board import Picture, Pixels
from trimgeo.model.planemap import PlaneMap
from trimgeo.scale.decode import decode, shown_turned
from trimgeo.scale.limits import MARGIN
from trimgeo.scale.source import Source, undecodable

Floats = NDArray[np.float64]

_TILE: Final = 4096
"""Side of the tiles in which a picture is drawn: OpenCV refuses sides over 32767 pixels."""
_GROWTH: Final = 2.0
"""A true-scale picture has at most this many times the pixels of its source."""
_WHITE: Final = (255, 255, 255)
_INSTALL: Final = "install the Python package opencv-python"
_INSTALL_LIBRARIES: Final = (
    "install the system libraries libgl1 and libglib2.0-0 (Debian, Ubuntu) or mesa-libGL and glib2 (Fedora)"
)

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
    return Polygon(to_board.to_mm([[0, 0], [right, 0], [right, low], [0, low]]))


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
    from_frame = np.linalg.inv(to_board.matrix) @ frame
    return Picture(
        float(per_mm), (float(origin[0]), float(origin[1])), size, partial(_drawn, source, from_frame, size)
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


def _drawn(source: Source, from_frame: Floats, size: tuple[int, int]) -> Pixels:
    """The true-scale picture, shape (rows, columns, 3), white where the source shows nothing."""
    cv2 = _opencv(source.where)
    stored = decode(source)
    to_stored = stored_from_shown(shown_turned(source), (stored.shape[1], stored.shape[0])) @ from_frame
    columns, rows = size
    try:
        drawn = np.full((rows, columns, 3), 255, np.uint8)
        for top in range(0, rows, _TILE):
            for left in range(0, columns, _TILE):
                tile = drawn[top : top + _TILE, left : left + _TILE]
                _draw_tile(cv2, stored, to_stored, (left, top), tile)
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


def stored_from_shown(orientation: int, stored_size: tuple[int, int]) -> Floats:
    """The map, shape (3, 3), from pixels as shown to pixels as stored, for an EXIF orientation.

    >>> stored_from_shown(6, (3, 2)) @ [0, 0, 1]  # stored turned: its first column is the top row
    array([0., 1., 1.])
    """
    rows = []
    for (by_column, by_row, from_end), length in zip(_TO_STORED[orientation], stored_size, strict=True):
        rows.append([by_column, by_row, from_end * (length - 1)])
    return np.array([*rows, [0, 0, 1]], dtype=np.float64)


def _opencv(where: str) -> ModuleType:
    """OpenCV, loaded where pixels are needed and nowhere else."""
    try:
        import cv2
    except ImportError as fault:
        if getattr(fault, "name", None) == "cv2":
            raise JobError(where, "its picture needs OpenCV, which is not installed", _INSTALL) from fault
        raise JobError(
            where, f"its picture needs OpenCV, which cannot be loaded ({fault})", _INSTALL_LIBRARIES
        ) from fault
    module: ModuleType = cv2
    return module
