"""How a board is moved, in words."""

from __future__ import annotations

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
