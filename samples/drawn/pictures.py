"""The four pictures: what each shows, at which size, and where a board point falls on it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from drawn.raster import XY, Matrix, forward, inverse


@dataclass(frozen=True)
class PictureTruth:
    """A picture's name, what it shows, its size (columns, rows), resolution and exact map.

    ``matrix`` maps board mm to pixels, (0, 0) the centre of the first: column = X/W, row = Y/W
    with (X, Y, W) = matrix (x, y, 1).  ``dpi`` is what the file says, None where it says nothing.
    """

    name: str
    shows: Literal["top", "bottom"] | int
    size: tuple[int, int]
    dpi: float | None
    matrix: Matrix

    @property
    def file(self) -> str:
        """The file's name."""
        return f"{self.name}.png"

    def to_pixel(self, point: XY) -> XY:
        """The pixel of a board point."""
        return forward(self.matrix, point)

    def to_board(self, pixel: XY) -> XY:
        """The board point of a pixel."""
        return forward(inverse(self.matrix), pixel)


def flat(per_mm: XY, half_turn: float, origin: XY, mirrored: bool = False, lean: XY = (0.0, 0.0)) -> Matrix:
    """A picture from straight above, turned and stretched; ``lean`` adds a little perspective.

    ``half_turn`` is the tangent of half the angle, so that sine and cosine need no library:
    (1 - t²)/(1 + t²) and 2t/(1 + t²).  ``origin`` is the pixel of board point (0, 0).
    """
    t = half_turn
    cosine, sine = (1 - t * t) / (1 + t * t), 2 * t / (1 + t * t)
    side = -1.0 if mirrored else 1.0
    sx, sy = per_mm
    u, v = origin
    g, h = lean
    return (
        (side * sx * cosine + u * g, -sx * sine + u * h, u),
        (-side * sy * sine + v * g, -sy * cosine + v * h, v),
        (g, h, 1.0),
    )


DPI_300 = 300 / 25.4

PICTURES = (
    # The scanner's carriage moves 0.03 % too little and its sensor shows 0.02 % too much: a good one.
    PictureTruth(
        "scan-top",
        "top",
        (1800, 1210),
        300.0,
        flat((DPI_300 * 1.0002, DPI_300 * 0.9997), 0.0061, (70.2, 1146.4)),
    ),
    PictureTruth(
        "scan-bottom",
        "bottom",
        (1800, 1210),
        300.0,
        flat((DPI_300 * 1.0002, DPI_300 * 0.9997), -0.0083, (1735.7, 1122.9), mirrored=True),
    ),
    PictureTruth(
        "inner-2", 2, (1480, 1000), None, flat((9.87, 9.83), -0.0052, (54.6, 938.2), lean=(2.4e-5, -1.6e-5))
    ),
    PictureTruth(
        "inner-3", 3, (1480, 1000), None, flat((9.79, 9.76), 0.0074, (41.3, 958.8), lean=(-1.8e-5, 2.1e-5))
    ),
)
