"""A sheet of upright lines and areas as a PNG, edges on whole pixels where the sheet's measures allow."""

from __future__ import annotations

from importlib.resources import as_file, files
from typing import Final

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from trimgeo.drawing.png import encode_png
from trimgeo.drawing.sheet import XY, Discs, Filled, Sheet, Strokes, Text
from trimgeo.drawing.signs import rgb

_DENSITIES: Final = (24, 20)
"""Pixels per mm, best first: 609.6 dpi, as printers have; 508 dpi where only that fits the paper."""


def to_png(sheet: Sheet) -> bytes:
    """The sheet as a PNG, the same number of pixels per mm both ways, said in the file.

    Takes areas, texts and lines along x or y.

    >>> to_png(Sheet("small", 10.0, 5.0, ()))[16:24].hex()  # columns and rows: 240, 120
    '000000f000000078'
    """
    fitting = [n for n in _DENSITIES if _whole(sheet.width * n) and _whole(sheet.height * n)]
    density = (fitting or _DENSITIES)[0]
    size = round(sheet.width * density), round(sheet.height * density)
    picture = Image.new("RGB", size, "#FFFFFF")
    draw = ImageDraw.Draw(picture)
    for item in sheet.items:
        if isinstance(item, Text):
            _text(picture, item, sheet.height, density)
        elif isinstance(item, Filled):
            _area(picture, item.ring, item.colour, sheet.height, density)
        elif isinstance(item, Strokes):
            for path in item.paths:
                _line(draw, path, item, sheet.height, density)
        else:
            assert isinstance(item, Discs)
            raise TypeError("circles have no whole pixels")
    return encode_png(np.asarray(picture)[:, :, ::-1], density)


def _whole(value: float) -> bool:
    return abs(value - round(value)) < 1e-6


def _area(picture: Image.Image, ring: tuple[XY, ...], colour: str, height: float, density: int) -> None:
    """An area: the pixels whose centres lie in it.  Its edges run between pixels."""
    import cv2

    at = np.array(ring)
    columns, rows = at[:, 0] * density, (height - at[:, 1]) * density
    left, top = round(columns.min()), round(rows.min())
    wide, high = round(columns.max()) - left, round(rows.max()) - top
    mask = np.zeros((high * 2 + 1, wide * 2 + 1), np.uint8)
    # At twice the density a pixel's centre is a point of its own, odd, and an edge is even.
    points = np.round(np.column_stack([columns - left, rows - top])).astype(np.int32) * 2
    cv2.fillPoly(mask, [points.reshape(-1, 1, 2)], 255)
    inside = Image.fromarray(np.ascontiguousarray(mask[1::2, 1::2]))
    picture.paste(rgb(colour), (left, top), inside)


def _line(
    draw: ImageDraw.ImageDraw, path: tuple[XY, ...], item: Strokes, height: float, density: int
) -> None:
    """A line along x or y as a bar of its width, ends cut off where it ends."""
    (x0, y0), (x1, y1) = path
    assert x0 == x1 or y0 == y1
    half = item.width / 2
    left, right = sorted((x0, x1))
    low, high = sorted((y0, y1))
    if x0 == x1:
        left, right = left - half, right + half
    else:
        low, high = low - half, high + half
    box = [round(v * density) for v in (left, height - high, right, height - low)]
    draw.rectangle((box[0], box[1], box[2] - 1, box[3] - 1), fill=rgb(item.colour))


def _text(picture: Image.Image, item: Text, height: float, density: int) -> None:
    with as_file(files("trimgeo.drawing") / "fonts" / "DejaVuSans.ttf") as path:
        font = ImageFont.truetype(str(path), item.size * density, layout_engine=ImageFont.Layout.BASIC)
    anchor = {"start": "ls", "middle": "ms", "end": "rs"}[item.anchor]
    column, row = round(item.at[0] * density), round((height - item.at[1]) * density)
    draw = ImageDraw.Draw(picture)
    if item.angle == 0:
        draw.text((column, row), item.text, fill=rgb(item.colour), font=font, anchor=anchor)
        return
    left, top, right, bottom = (round(side) for side in font.getbbox(item.text, anchor=anchor))
    tile = Image.new("L", (right - left, bottom - top), 255)
    ImageDraw.Draw(tile).text((-left, -top), item.text, fill=0, font=font, anchor=anchor)
    # Turned counter-clockwise: what lay right of the anchor lies above it.
    picture.paste(tile.transpose(Image.Transpose.ROTATE_90).convert("RGB"), (column + top, row - right))
