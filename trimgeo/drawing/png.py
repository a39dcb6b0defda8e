"""A PNG with its resolution in the file: quick, and the same bytes for the same pixels."""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator

import numpy as np

from trimgeo.model.board import Pixels

_SIGNATURE = b"\x89PNG\r\n\x1a\n"
_TRUE_COLOUR, _UP = 2, 2
_METRE = 1
"""Unit specifier of pHYs: pixels per metre (PNG specification, 11.3.4.3)."""
_BLOCK = 1 << 20
"""Bytes filtered at a time: they stay in the processor's cache between filter and compressor."""


def encode_png(pixels: Pixels, pixels_per_mm: float) -> bytes:
    r"""The PNG of pixels, shape (rows, columns, 3), blue-green-red, with pixels per metre in its pHYs.

    Rows are filtered against the row above, then packed with runs only (zlib's Z_RLE): about as
    small as level 6 makes a scan, at a fraction of the time.  W3C PNG specification, 9.2, 10.1, 11.3.4.3.

    >>> encode_png(np.zeros((1, 1, 3), np.uint8), 10.0)[:8]
    b'\x89PNG\r\n\x1a\n'
    """
    rows, columns = pixels.shape[:2]
    per_metre = max(1, round(pixels_per_mm * 1000))
    header = struct.pack(">IIBBBBB", columns, rows, 8, _TRUE_COLOUR, 0, 0, 0)
    packer = zlib.compressobj(1, zlib.DEFLATED, 15, 9, zlib.Z_RLE)
    parts = [_SIGNATURE, _chunk(b"IHDR", header)]
    parts.append(_chunk(b"pHYs", struct.pack(">IIB", per_metre, per_metre, _METRE)))
    for block in _filtered(pixels):
        packed = packer.compress(block)
        if packed:
            parts.append(_chunk(b"IDAT", packed))
    parts.append(_chunk(b"IDAT", packer.flush()))
    parts.append(_chunk(b"IEND", b""))
    return b"".join(parts)


def _filtered(pixels: Pixels) -> Iterator[memoryview]:
    """The rows as PNG stores them, a block at a time: filter type, then red-green-blue less the row above."""
    rows, columns = pixels.shape[:2]
    height = max(1, _BLOCK // (3 * columns))
    above = np.zeros((1, columns, 3), np.uint8)
    for start in range(0, rows, height):
        block = pixels[start : start + height]
        stored = np.empty((len(block), 1 + 3 * columns), np.uint8)
        stored[:, 0] = _UP
        rgb = stored[:, 1:].reshape(len(block), columns, 3)
        for channel in range(3):
            source = block[:, :, 2 - channel]
            np.subtract(source[0], above[0, :, 2 - channel], out=rgb[0, :, channel])
            np.subtract(source[1:], source[:-1], out=rgb[1:, :, channel])
        yield stored.data
        above = block[-1:]


def _chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(data, zlib.crc32(kind)))
