"""Poses, lengths and lists as sentences say them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from trimgeo.model.plan import XY


def how(shift: XY, angle: float = 0.0) -> str:
    """A pose in words.

    >>> how((0.0, 0.001)), how((2.0, -0.001))
    ('where it lies', 'moved by (2.00, 0.00) mm')
    >>> how((2.0, 1.0), -90.0)
    'turned by -90.00° about (0, 0) and moved by (2.00, 1.00) mm'
    """
    x, y = (round(value, 2) + 0.0 for value in shift)  # no minus before a zero
    turn = round(angle, 2) + 0.0
    moved = f"moved by ({x:.2f}, {y:.2f}) mm"
    if turn:
        return f"turned by {turn:.2f}° about (0, 0) and {moved}"
    return moved if x or y else "where it lies"


def lacking(mm: float) -> str:
    """A length that is too much or too little, never said as nothing.

    >>> lacking(17.984), lacking(0.001)
    ('17.98 mm', 'less than 0.01 mm')
    """
    return f"{mm:.2f} mm" if mm >= 0.005 else "less than 0.01 mm"


def together(words: Sequence[str]) -> str:
    """Words, one or more, as a list.

    >>> together(["J1"]), together(["J1", "J2", "J3"])
    ('J1', 'J1, J2 and J3')
    """
    return " and ".join(filter(None, (", ".join(words[:-1]), words[-1])))
