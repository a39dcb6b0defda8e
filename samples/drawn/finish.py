"""From a clean drawing to a file: unsharpness, uneven light, noise, and a PNG with its resolution."""

from __future__ import annotations

import struct
import zlib

import numpy as np
from numpy.typing import NDArray

from drawn.raster import Floats

Bytes = NDArray[np.uint8]


def unsharp(pixels: Floats, times: int) -> Floats:
    """Blur by a 1-2-1 kernel both ways, ``times`` over; symmetric, so that no edge moves."""
    for _ in range(times):
        for axis in (0, 1):
            along = np.moveaxis(pixels, axis, 0)
            padded = np.concatenate([along[:1], along, along[-1:]])
            along = padded[1:-1] * np.float32(0.5) + (padded[:-2] + padded[2:]) * np.float32(0.25)
            pixels = np.moveaxis(along, 0, axis)
    return pixels


def noisy(pixels: Floats, grain: float, tint: float, seed: int) -> Floats:
    """Add sensor noise of about ``grain`` levels, common to the colours, and ``tint`` to each one.

    Sums of four bytes of the Mersenne Twister, whose stream numpy has frozen (NEP 19).
    """
    rows, columns, channels = pixels.shape
    source = np.random.RandomState(seed)
    common = _bell(source, (rows, columns, 1)) * np.float32(grain)
    streaks = _bell(source, (1, columns, 1)) * np.float32(grain / 4)
    own = _bell(source, (rows, columns, channels)) * np.float32(tint) if tint else np.float32(0)
    return np.asarray(pixels + common + streaks + own)


def _bell(source: np.random.RandomState, shape: tuple[int, int, int]) -> Floats:
    count = shape[0] * shape[1] * shape[2]
    drawn = np.frombuffer(source.bytes(4 * count), dtype=np.uint8).reshape(4, *shape)
    total = drawn.astype(np.int32).sum(axis=0) - 510
    return np.asarray(total.astype(np.float32) / np.float32(147.8))


def levels(pixels: Floats) -> Bytes:
    """Round to 8 bits."""
    return np.asarray(np.floor(np.clip(pixels, 0, 255) + np.float32(0.5)), dtype=np.uint8)


def png(image: Bytes, dpi: float | None) -> bytes:
    """A PNG file of an image, shape (rows, columns, 1 or 3), red-green-blue.

    ISO/IEC 15948: signature, IHDR, pHYs (pixels per metre), IDAT, IEND.  Each row has the filter
    whose residuals are smallest in sum.
    """
    rows, columns, channels = image.shape
    head = struct.pack(">IIBBBBB", columns, rows, 8, {1: 0, 3: 2}[channels], 0, 0, 0)
    packer = zlib.compressobj(6, zlib.DEFLATED, 15, 9, zlib.Z_RLE)  # noise has no longer repeats to look for
    body = packer.compress(_filtered(image).tobytes()) + packer.flush()
    chunks = [_chunk(b"IHDR", head)]
    if dpi is not None:
        per_metre = int(dpi / 0.0254 + 0.5)
        chunks.append(_chunk(b"pHYs", struct.pack(">IIB", per_metre, per_metre, 1)))
    return b"\x89PNG\r\n\x1a\n" + b"".join([*chunks, _chunk(b"IDAT", body), _chunk(b"IEND", b"")])


def _chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def _filtered(image: Bytes) -> Bytes:
    left, above = np.zeros_like(image), np.zeros_like(image)
    left[:, 1:], above[1:] = image[:, :-1], image[:-1]
    mean = ((left.astype(np.uint16) + above) // 2).astype(np.uint8)
    choices = {0: image, 1: image - left, 2: image - above, 3: image - mean}
    flat = {code: residual.reshape(len(image), -1) for code, residual in choices.items()}
    cost = np.stack([np.minimum(flat[code], 256 - flat[code].astype(np.int32)).sum(axis=1) for code in flat])
    best = cost.argmin(axis=0)
    rows = np.stack(list(flat.values()))[best, np.arange(len(image))]
    return np.concatenate([best[:, None].astype(np.uint8), rows], axis=1)
