"""The pixels of a picture file, as 8-bit blue-green-red."""

from __future__ import annotations

import os
import zlib
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from pathlib import Path
from typing import BinaryIO, Final

import numpy as np
from PIL import Image

from trimgeo.errors import JobError, TrimgeoError, quoted
from trimgeo.model.board import Pixels
from trimgeo.scale.source import FORMATS, Source, quiet_pillow, undecodable

_BAND: Final = 256
"""Rows converted at a time, so that the conversion holds no second copy of the picture."""
_SIXTEEN_BITS: Final = ("I", "I;16", "I;16L", "I;16B", "I;16N")
_PNG_SIGNATURE: Final = 8
_STDERR: Final = 2


def decode(source: Source) -> Pixels:
    """The picture as stored, shape (rows, columns, 3): its orientation is still to be applied.

    Grey, 16-bit, palette and CMYK pictures become 8-bit colour; what is transparent becomes white,
    as on paper; of several frames the first counts.  Pillow decodes and OpenCV does not: OpenCV's
    libraries print their complaints on stderr and hand back half a picture.
    Raises `trimgeo.JobError` for a picture that is cut off or damaged.
    """
    try:
        if source.form == "PNG":
            _refuse_wrong_checksums(source.path)
        hushed = _hushed_stderr() if source.form == "TIFF" else nullcontext()
        with quiet_pillow(), Image.open(source.path, formats=FORMATS) as picture:
            with hushed:
                picture.load()
            return _converted(picture, source)
    except TrimgeoError:
        raise
    except Exception as fault:  # decoders raise whatever damaged bytes lead them to
        raise undecodable(source.where, source.label, fault) from fault


def shown_turned(source: Source) -> int:
    """The EXIF orientation that `decode` leaves to be applied: Pillow turns a TIFF by itself."""
    return 1 if source.form == "TIFF" else source.orientation


@contextmanager
def _hushed_stderr() -> Iterator[None]:
    """The process's stderr turned away: libtiff writes there and offers Pillow's callers no other way.

    What it would say reaches the caller as an exception all the same.
    """
    try:
        kept = os.dup(_STDERR)
    except OSError:  # there is no stderr to write to
        yield
        return
    away = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(away, _STDERR)
        yield
    finally:
        os.dup2(kept, _STDERR)
        os.close(kept)
        os.close(away)


def _converted(picture: Image.Image, source: Source) -> Pixels:
    expected = source.size if source.form == "TIFF" else source.stored_size
    if picture.size != expected:
        raise ValueError("its size changed while it was read")
    columns, rows = picture.size
    pixels = np.empty((rows, columns, 3), np.uint8)
    for top in range(0, rows, _BAND):
        band = picture.crop((0, top, columns, min(top + _BAND, rows)))
        pixels[top : top + _BAND] = _band_pixels(band, picture, source)
    return pixels


def _band_pixels(band: Image.Image, picture: Image.Image, source: Source) -> Pixels:
    """A band of rows in colour: shape (rows, columns, 3), or (rows, columns, 1) where it is grey."""
    if picture.mode in _SIXTEEN_BITS:
        grey = np.asarray(band)
        if grey.min() < 0 or grey.max() > 0xFFFF:
            raise _odd_depth(source)
        return (grey >> 8).astype(np.uint8)[:, :, None]
    if picture.mode == "F":
        raise _odd_depth(source)
    if picture.has_transparency_data:
        rgba = band.convert("RGBA")
        paper = Image.new("RGBA", rgba.size, "white")
        band = Image.alpha_composite(paper, rgba)
    colour = band if band.mode == "RGB" else band.convert("RGB")
    columns, rows = colour.size
    return np.frombuffer(colour.tobytes("raw", "BGR"), np.uint8).reshape(rows, columns, 3)


def _odd_depth(source: Source) -> JobError:
    return JobError(
        f"{source.where}, image",
        f"found {quoted(source.label)}, whose grey levels are neither 8 nor 16 bits",
        "save it with 8 or 16 bits a channel",
    )


def _refuse_wrong_checksums(path: Path) -> None:
    """Check each chunk that carries the picture (PNG specification, 5.3): decoders skip these sums."""
    with path.open("rb") as file:
        file.seek(_PNG_SIGNATURE)
        kind = b""
        while kind != b"IEND":
            head = file.read(8)
            if len(head) < 8:
                raise ValueError("it ends before its last chunk")
            length, kind = int.from_bytes(head[:4], "big"), head[4:]
            if kind[:1].isupper():
                _check_chunk(file, kind, length)
            else:
                file.seek(length + 4, 1)


def _check_chunk(file: BinaryIO, kind: bytes, length: int) -> None:
    total = zlib.crc32(kind)
    while length > 0:
        part = file.read(min(length, 1 << 20))
        if not part:
            raise ValueError("it ends inside a chunk")
        total = zlib.crc32(part, total)
        length -= len(part)
    if file.read(4) != total.to_bytes(4, "big"):
        raise ValueError(f"checksum of its chunk {quoted(kind.decode('latin-1'))} is wrong")
