"""The one typeface of all sheets: what can be written with it, and how wide that is.

Sizes and widths are mm.
"""

from __future__ import annotations

import unicodedata
from functools import cache, lru_cache
from importlib.resources import as_file, files
from typing import Any, Final

from trimgeo.drawing.sheet import Box, Text

FONT: Final = "DejaVu Sans"

ASCENT: Final = 0.94
"""Height above the base line that the tallest accented capital takes, in font sizes."""

DESCENT: Final = 0.24
"""Depth below the base line of the longest descender, in font sizes."""

LEADING: Final = 1.28
"""From base line to base line, in font sizes: more than ascent and descent together."""

SUBSTITUTE: Final = "\N{REPLACEMENT CHARACTER}"
"""Stands, visibly, for whatever the typeface lacks."""


@cache
def typeface() -> Any:
    """The typeface as reportlab reads it (about 0.2 s, once)."""
    from reportlab.pdfbase.ttfonts import TTFont

    with as_file(files("trimgeo.drawing") / "fonts" / "DejaVuSans.ttf") as path:
        return TTFont("TrimgeoSans", str(path))


@cache
def _widths() -> dict[int, float]:
    face = typeface().face
    return {code: face.charWidths[code] / 1000.0 for code in face.charToGlyph if code in face.charWidths}


@lru_cache(maxsize=4096)
def written(text: str) -> str:
    r"""The text as the typeface can write it: composed, white space as single spaces, gaps made visible.

    >>> written("R1\t\n‑ \x07")
    'R1 ‑ �'
    """
    widths = _widths()
    composed = " ".join(unicodedata.normalize("NFC", text).split())
    return "".join(c if ord(c) in widths and _printable(c) else SUBSTITUTE for c in composed)


@cache
def _printable(character: str) -> bool:
    # Directional and other format characters would turn the rest of the line round.
    return unicodedata.category(character) not in {"Cc", "Cf", "Cs", "Co", "Cn"}


@lru_cache(maxsize=4096)
def width(text: str, size: float) -> float:
    """Width of a text that `written` gave.

    >>> round(width("100 mm", 10.0), 2)
    41.75
    """
    widths = _widths()
    return size * sum(widths[ord(c)] for c in text)


def wrapped(text: str, size: float, room: float) -> tuple[str, ...]:
    """The text in lines no wider than ``room``, broken at spaces, else anywhere.

    >>> wrapped("a long name", 2.0, 9.0)
    ('a long', 'name')
    """
    lines, line = [], ""
    for word in written(text).split(" "):
        longer = f"{line} {word}" if line else word
        if width(longer, size) <= room:
            line = longer
            continue
        if line:
            lines.append(line)
        *full, line = _chopped(word, size, room)
        lines.extend(full)
    return (*lines, line)


def _chopped(word: str, size: float, room: float) -> list[str]:
    pieces = [""]
    for character in word:
        if pieces[-1] and width(pieces[-1] + character, size) > room:
            pieces.append("")
        pieces[-1] += character
    return pieces


def text_box(item: Text) -> Box:
    """Left, bottom, right, top of a text on its sheet, accents and descenders counted in.

    >>> [round(side, 1) for side in text_box(Text((50.0, 20.0), "100 mm", 10.0, "middle"))]
    [29.1, 17.6, 70.9, 29.4]
    >>> [round(side, 1) for side in text_box(Text((50.0, 20.0), "100 mm", 10.0, angle=90))]
    [40.6, 20.0, 52.4, 61.7]
    """
    length = width(item.text, item.size)
    before = {"start": 0.0, "middle": length / 2, "end": length}[item.anchor]
    x, y = item.at
    if item.angle == 90:
        return x - ASCENT * item.size, y - before, x + DESCENT * item.size, y - before + length
    return x - before, y - DESCENT * item.size, x - before + length, y + ASCENT * item.size
