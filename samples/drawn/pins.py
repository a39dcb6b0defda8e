"""Where the pins of each style of part are: pads on its face, or holes through the board."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from drawn.board import Part
from drawn.raster import XY


@dataclass(frozen=True)
class Pin:
    """One pin: its pad's size, and its drill (0 for a pad on the part's face alone)."""

    at: XY
    size: XY
    drill: float = 0.0


Local = tuple[float, float, float, float, float]  # x, y, pad along x, pad along y, drill


def turned(point: XY, turn: int) -> XY:
    """A point after quarter turns counter-clockwise.

    >>> turned((1.0, 2.0), 1)
    (-2.0, 1.0)
    """
    x, y = point
    for _ in range(turn % 4):
        x, y = -y, x
    return x, y


def pins(part: Part) -> tuple[Pin, ...]:
    """All pins of a part in the board frame."""
    upright = part.turn % 2 == 1
    w, h = part.size[::-1] if upright else part.size
    placed = []
    for x, y, along, across, drill in STYLES[part.style](part.pins, w, h):
        u, v = turned((x, y), part.turn)
        size = (across, along) if upright else (along, across)
        placed.append(Pin((part.at[0] + u, part.at[1] + v), size, drill))
    return tuple(placed)


def _row(count: int, pitch: float) -> list[float]:
    return [(i - (count - 1) / 2) * pitch for i in range(count)]


def _quad(n: int, w: float, h: float) -> list[Local]:
    sides = [(side * (w / 2 - 0.6), y, 1.6, 0.45, 0.0) for side in (-1, 1) for y in _row(n, 0.8)]
    return [*sides, *((x, side * (h / 2 - 0.6), 0.45, 1.6, 0.0) for side in (-1, 1) for x in _row(n, 0.8))]


def _dual(n: int, w: float, h: float) -> list[Local]:
    return [(side * (w / 2 - 0.55), y, 1.5, 0.65, 0.0) for side in (-1, 1) for y in _row(n, 1.27)]


def _header(n: int, w: float, h: float) -> list[Local]:
    return [(x, y, 1.7, 1.7, 1.0) for x in (-1.27, 1.27) for y in _row(n, 2.54)]


def _socket(n: int, w: float, h: float) -> list[Local]:
    return [(2.5, y, 1.6, 1.6, 0.9) for y in _row(n, 2.5)]


def _shell(n: int, w: float, h: float) -> list[Local]:
    lugs = [(x, y, 1.6, 2.4, 1.2) for x in (-w / 2 + 0.6, w / 2 - 0.6) for y in (-2.5, 2.5)]
    return [*lugs, *((x, -h / 2 + 0.5, 0.8, 1.8, 0.0) for x in _row(n, 1.6))]


def _terminal(n: int, w: float, h: float) -> list[Local]:
    return [(x, 0.0, 2.4, 2.4, 1.3) for x in _row(n, 5.0)]


def _relay(n: int, w: float, h: float) -> list[Local]:
    spots = ((-7.1, -6.0), (-7.1, 6.0), (6.4, -6.0), (6.4, 6.0), (-7.1, 0.0))
    return [(x, y, 2.4, 2.4, 1.3) for x, y in spots]


def _pair(half: float, pad: XY, drill: float = 0.0) -> Callable[[int, float, float], list[Local]]:
    """Two pins, ``half`` times the part's width to either side."""
    return lambda n, w, h: [(side * half * w, 0.0, *pad, drill) for side in (-1, 1)]


def _tab(n: int, w: float, h: float) -> list[Local]:
    leads = [(x, -h / 2 + 0.7, 1.0, 1.8, 0.0) for x in _row(3, w * 0.3)]
    return [(0.0, h / 2 - 1.2, w * 0.8, 2.6, 0.0), *leads]


def _button(n: int, w: float, h: float) -> list[Local]:
    return [(x, y, 1.5, 1.5, 0.9) for x in (-2.2, 2.2) for y in (-2.2, 2.2)]


STYLES: dict[str, Callable[[int, float, float], list[Local]]] = {
    "quad": _quad,
    "dual": _dual,
    "header": _header,
    "socket": _socket,
    "shell": _shell,
    "terminal": _terminal,
    "relay": _relay,
    "tab": _tab,
    "button": _button,
    "crystal": _pair(0.24, (1.5, 1.5), 0.8),
    "coin": _pair(0.44, (2.4, 2.4), 1.3),
    "can": _pair(0.2, (1.7, 1.7), 0.8),
    "fuse": _pair(0.41, (2.6, 2.6), 1.4),
    "buzzer": _pair(0.27, (1.8, 1.8), 0.9),
    "coil": _pair(0.42, (2.4, 5.0)),
    "diode": _pair(0.36, (1.8, 2.2)),
    "chip": _pair(0.38, (0.9, 1.2)),
}
