"""The neutral sheet: what is on a piece of paper, in millimetres, before any file format.

Frame of a sheet: (0, 0) is its lower left corner, x right, y up, on the paper as a person holds it.
Writers draw items in their order; nothing in here knows boards, cuts or files.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

XY = tuple[float, float]
Box = tuple[float, float, float, float]
"""Left, bottom, right, top."""

Anchor = Literal["start", "middle", "end"]


@dataclass(frozen=True)
class Strokes:
    """Open or closed polylines of one kind; ``kind`` names them in files that can carry names.

    Lines are solid: dashes are geometry here, so that they look alike in every viewer.
    """

    kind: str
    paths: tuple[tuple[XY, ...], ...]
    colour: str
    width: float
    closed: bool = False


@dataclass(frozen=True)
class Filled:
    """An area filled with one colour: the inside of a closed polyline."""

    kind: str
    ring: tuple[XY, ...]
    colour: str


@dataclass(frozen=True)
class Discs:
    """Circles of one kind and radius, drawn as a line, or filled where ``stroke`` is None."""

    kind: str
    centres: tuple[XY, ...]
    radius: float
    colour: str
    stroke: float | None


@dataclass(frozen=True)
class Text:
    """One line of text: ``at`` is on the base line, ``size`` the font size, ``angle`` 0 or 90 degrees."""

    at: XY
    text: str
    size: float
    anchor: Anchor = "start"
    angle: Literal[0, 90] = 0
    colour: str = "#000000"


Item = Strokes | Filled | Discs | Text


@dataclass(frozen=True)
class Sheet:
    """One piece of paper, ``width`` by ``height``; ``name`` is unique in its set."""

    name: str
    width: float
    height: float
    items: tuple[Item, ...]

    def texts(self) -> tuple[Text, ...]:
        """All texts, in drawing order.

        >>> bar = Strokes("bar-x", (((10.0, 10.0), (110.0, 10.0)),), "#000000", 0.25)
        >>> sheet = Sheet("top", 210.0, 297.0, (bar, Text((60.0, 11.0), "100 mm", 2.5)))
        >>> [text.text for text in sheet.texts()]
        ['100 mm']
        """
        return tuple(item for item in self.items if isinstance(item, Text))
