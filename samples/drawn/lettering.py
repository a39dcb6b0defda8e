"""A stroke alphabet of our own: capitals, digits and a few signs on a grid of 4 by 6."""

from __future__ import annotations

from drawn.raster import XY

STROKES = {
    "A": "002640 1232",
    "B": "00063645443303 3342413000",
    "C": "4536160501103041",
    "D": "00062644422000",
    "E": "46060040 0333",
    "F": "460600 0333",
    "G": "45361605011030414323",
    "H": "0006 4046 0343",
    "I": "1030 1636 2026",
    "J": "4641301001",
    "K": "0006 4602 1340",
    "L": "060040",
    "M": "0006234640",
    "N": "00064046",
    "O": "100105163645413010",
    "P": "00063645443303",
    "Q": "100105163645413010 2240",
    "R": "00063645443303 2340",
    "S": "453616050413334241301001",
    "T": "0646 2026",
    "U": "060110304146",
    "V": "062046",
    "W": "0610233046",
    "X": "0046 0640",
    "Y": "062346 2320",
    "Z": "06460040",
    "0": "100105163645413010 1234",
    "1": "152620 1030",
    "2": "05163645440040",
    "3": "0516364544334241301001 3323",
    "4": "30360242",
    "5": "460604344341301001",
    "6": "4536160501103041423303",
    "7": "064610",
    "8": "13040516364544331302011030414233",
    "9": "0110304145361605041343",
    "-": "1333",
    "+": "0343 2125",
    "/": "0046",
    ".": "2020",
    " ": "",
}
"""Each glyph's lines; two digits are a point, column and row."""

ADVANCE = 6


def strokes(
    text: str, at: XY, height: float, mirrored: bool = False, upright: bool = False
) -> list[tuple[XY, ...]]:
    """The lines of a text centred on ``at``; ``mirrored`` for a face seen from below.

    >>> strokes("-", (0.0, 0.0), 6.0)
    [((-1.0, 0.0), (1.0, 0.0))]
    """
    unit = height / 6
    start = -(len(text) * ADVANCE - 2) / 2
    lines = []
    for n, glyph in enumerate(text):
        for line in STROKES[glyph].split():
            points = []
            for u, v in zip(line[::2], line[1::2], strict=True):
                along, across = (start + n * ADVANCE + int(u)) * unit, (int(v) - 3) * unit
                dx, dy = (-across, along) if upright else (along, across)
                points.append((at[0] + (-dx if mirrored else dx), at[1] + dy))
            lines.append(tuple(points))
    return lines
