"""The words of SVG: numbers, lengths, transforms and path data, read to the letter.

A renderer draws what it can of a damaged path; here a path that is not wholly understood is an
error (ValueError), because what is left of an outline is another outline.
Grammar: W3C SVG 1.1, sections 7.6 (transforms), 8.3 (path data), F.6 (arcs).
"""

from __future__ import annotations

import re
from collections.abc import Iterator

import numpy as np

from trimgeo.errors import quoted
from trimgeo.jobfile.pieces import FURTHEST, MOST_POINTS
from trimgeo.plane.arcs import Floats, ellipse_arc
from trimgeo.tables import CSS_PIXELS_PER_INCH, FLATTENING, MM_PER_INCH

LARGEST_NUMBER = 1e9
"""In any unit of SVG that is kilometres: far outside every board."""

NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?"
_NUMBERS = re.compile(rf"[\s,]*({NUMBER})")
_LENGTH = re.compile(rf"\s*({NUMBER})\s*([a-zA-Z%]*)\s*")
_TRANSFORM = re.compile(r"[\s,]*(matrix|translate|scale|rotate|skewX|skewY)\s*\(([^()]*)\)")
_FLAG = re.compile(r"[\s,]*([01])")
_COMMAND = re.compile(r"[\s,]*([MmLlHhVvCcSsQqTtAaZz])")

PIXELS = {
    "": 1.0,
    "px": 1.0,
    "in": float(CSS_PIXELS_PER_INCH),
    "mm": CSS_PIXELS_PER_INCH / MM_PER_INCH,
    "cm": 10 * CSS_PIXELS_PER_INCH / MM_PER_INCH,
    "Q": CSS_PIXELS_PER_INCH / MM_PER_INCH / 4,
    "pt": CSS_PIXELS_PER_INCH / 72,
    "pc": CSS_PIXELS_PER_INCH / 6,
}
"""Pixels in each unit, W3C CSS Values and Units."""

ARGUMENTS = {"M": 2, "L": 2, "H": 1, "V": 1, "C": 6, "S": 4, "Q": 4, "T": 2, "A": 7, "Z": 0}
"""How many numbers each command of path data takes."""


def numbers(text: str) -> list[float]:
    """All numbers of a list; raises ValueError where there is anything else.

    >>> numbers("1,-2 .5e1")
    [1.0, -2.0, 5.0]
    """
    found, at = [], 0
    while match := _NUMBERS.match(text, at):
        found.append(_value(match[1]))
        at = match.end()
    if text[at:].strip(" \t\r\n,"):
        raise ValueError(f"numbers end at {_excerpt(text, at)}")
    return found


def length(text: str, whole: float) -> float:
    """A length in pixels (user units); ``whole`` is what a percentage is of.

    >>> length("25.4mm", 0.0), length("50%", 30.0)
    (96.0, 15.0)
    """
    match = _LENGTH.fullmatch(text)
    if match and match[2] == "%":
        return _value(match[1]) * whole / 100
    if not match or match[2] not in PIXELS:
        raise ValueError(f"length {_excerpt(text)}")
    return _value(match[1]) * PIXELS[match[2]]


def _excerpt(text: str, at: int = 0) -> str:
    """The words where reading failed, enough to find them by."""
    return quoted(" ".join(text[at : at + 20].split()))


def _value(text: str) -> float:
    value = float(text)
    if abs(value) > LARGEST_NUMBER:
        raise ValueError(f"{text[:12]} is too large a number")
    return value


def transform(text: str) -> Floats:
    """The 3 x 3 matrix of a list of transforms, the first one outermost.

    >>> transform("translate(2 1) scale(3)").tolist()
    [[3.0, 0.0, 2.0], [0.0, 3.0, 1.0], [0.0, 0.0, 1.0]]
    """
    matrix, at = np.eye(3), 0
    while match := _TRANSFORM.match(text, at):
        matrix = matrix @ _one_transform(match[1], numbers(match[2]))
        at = match.end()
    if text[at:].strip(" \t\r\n,"):
        raise ValueError(f"transform {_excerpt(text, at)}")
    return matrix


def _one_transform(kind: str, v: list[float]) -> Floats:
    allowed = {"matrix": (6,), "translate": (1, 2), "scale": (1, 2), "rotate": (1, 3)}.get(kind, (1,))
    if len(v) not in allowed:
        raise ValueError(f"{kind} of {len(v)} numbers")
    if kind == "matrix":
        return np.array([[v[0], v[2], v[4]], [v[1], v[3], v[5]], [0, 0, 1]])
    if kind == "translate":
        return np.array([[1, 0, v[0]], [0, 1, v[1] if len(v) > 1 else 0.0], [0, 0, 1]])
    if kind == "scale":
        return np.diag([v[0], v[-1], 1.0])
    angle = np.radians(v[0])
    if kind == "rotate":
        c, s = np.cos(angle), np.sin(angle)
        turn = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])
        if len(v) == 1:
            return turn
        there = np.array([[1, 0, v[1]], [0, 1, v[2]], [0, 0, 1.0]])
        return np.asarray(there @ turn @ np.linalg.inv(there))
    slant = np.eye(3)
    slant[(0, 1) if kind == "skewX" else (1, 0)] = np.tan(angle)
    return slant


def mapped(matrix: Floats, points: Floats) -> Floats:
    """Points, shape (n, 2), through a 3 x 3 affine matrix.

    >>> mapped(transform("translate(10 0) rotate(90)"), np.array([[2.0, 0.0]])).round(9).tolist()
    [[10.0, 2.0]]
    """
    return np.asarray(points @ matrix[:2, :2].T + matrix[:2, 2])


def conic(matrix: Floats, centre: Floats, u: Floats, v: Floats, start: float, sweep: float) -> Floats:
    """An ellipse's arc through a matrix: vertices as `trimgeo.plane.arcs.ellipse_arc` gives them.

    ``u`` and ``v``, shape (2,), are its half axes from ``centre``; angles are radians from u to v.

    >>> circle = np.zeros(2), np.array([5.0, 0.0]), np.array([0.0, 5.0])
    >>> conic(transform("scale(2)"), *circle, 0.0, np.pi / 2)[[0, -1], :2].round(9).tolist()
    [[10.0, 0.0], [0.0, 10.0]]
    """
    axes = near(np.array([u, v]) @ matrix[:2, :2].T)
    return ellipse_arc(mapped(matrix, centre[None])[0], axes[0], axes[1], start, sweep)


def near(points: Floats) -> Floats:
    """The same points in mm; raises ValueError where a curve of their size would have no end of points.

    >>> near(np.array([[0.0, 12000.0]]))
    Traceback (most recent call last):
    ValueError: it reaches more than 10 m from the origin
    """
    if not (np.abs(points) <= FURTHEST).all():
        raise ValueError(f"it reaches more than {FURTHEST / 1000:g} m from the origin")
    return points


def subpaths(data: str, matrix: Floats) -> Iterator[tuple[Floats, bool]]:
    """The subpaths of path data through a matrix: vertices, shape (n, 3), and whether they close.

    Raises ValueError where the data is not wholly path data.

    >>> ((vertices, closed),) = subpaths("M1 1 h4 v3 z", np.eye(3))
    >>> vertices[:, :2].tolist(), closed
    ([[1.0, 1.0], [5.0, 1.0], [5.0, 4.0]], True)
    """
    here = start = np.zeros(2)
    handle, previous = np.zeros(2), ""
    run: list[Floats] = []
    points = 0
    for command, v in _commands(data):
        kind, relative = command.upper(), command.islower()
        if not previous and kind != "M":
            raise ValueError("path data that does not begin with M")
        if kind in "MZ":
            if run:
                yield _joined(run), kind == "Z"
            run = []
            here = start = start if kind == "Z" else np.array(v) + (here if relative else 0.0)
        else:
            end, handle, side = _segment(kind, v, here, relative, handle, previous, matrix)
            run.append(side)
            here = end
            points += len(side)
            if points > MOST_POINTS:
                raise ValueError("it has too many points")
        previous = kind
    if run:
        yield _joined(run), False


def _commands(data: str) -> Iterator[tuple[str, list[float]]]:
    at, command = 0, ""
    data = data.rstrip(" \t\r\n,")
    while at < len(data):
        match = _COMMAND.match(data, at)
        if match:
            command, at = match[1], match.end()
        elif command in ("", "Z", "z"):
            raise ValueError(f"path data {_excerpt(data, at)}")
        else:
            # Further pairs after a move are lines.
            command = {"M": "L", "m": "l"}.get(command, command)
        values = []
        for n in range(ARGUMENTS[command.upper()]):
            flag = command in "Aa" and n in (3, 4)
            found = (_FLAG if flag else _NUMBERS).match(data, at)
            if not found:
                raise ValueError(f"path data {_excerpt(data, at)}")
            values.append(_value(found[1]))
            at = found.end()
        yield command, values


def _segment(
    kind: str, v: list[float], here: Floats, relative: bool, handle: Floats, previous: str, matrix: Floats
) -> tuple[Floats, Floats, Floats]:
    """End point and handle of one segment in user units, and its vertices through the matrix."""
    base = here if relative else np.zeros(2)
    if kind in "HV":
        end = here.copy()
        axis = "HV".index(kind)
        end[axis] = v[0] + base[axis]
    else:
        end = np.array(v[-2:]) + base
    if kind == "A":
        return end, end, _arc(here, end, v, matrix)
    smooth = {"S": "CS", "T": "QT"}.get(kind, "")
    if smooth:
        first = 2 * here - handle if previous in smooth else here
        given = np.array(v[:-2]).reshape(-1, 2) + base
        control = np.vstack([here, first, given, end])
    else:
        given = np.array(v[:-2]).reshape(-1, 2) + base if kind in "CQ" else np.empty((0, 2))
        control = np.vstack([here, given, end])
    return end, control[-2], _bezier(near(mapped(matrix, control)))


def _bezier(control: Floats) -> Floats:
    """Vertices of a Bézier curve of any degree, within FLATTENING.

    A chord over a parameter step h leaves a curve by at most h² / 8 times its greatest second
    derivative, which is at most d (d - 1) times the greatest second difference of the control points
    (linear interpolation; elementary).
    """
    degree = len(control) - 1
    if degree == 1:
        return np.column_stack([control, np.zeros(2)])
    bend = np.hypot(*np.diff(control, 2, axis=0).T).max(initial=0.0) * degree * (degree - 1)
    count = max(1, int(np.ceil(np.sqrt(bend / (8 * FLATTENING)))))
    t = np.arange(count + 1)[:, None] / count
    points = np.repeat(control[None], count + 1, axis=0)
    while points.shape[1] > 1:
        points = points[:, :-1] * (1 - t[:, :, None]) + points[:, 1:] * t[:, :, None]
    points[-1, 0] = control[-1]
    return np.column_stack([points[:, 0], np.zeros(count + 1)])


def _arc(start: Floats, end: Floats, v: list[float], matrix: Floats) -> Floats:
    """Vertices of an elliptical arc: end points to centre, W3C SVG 1.1, F.6.5 and F.6.6."""
    rx, ry = abs(v[0]), abs(v[1])
    if rx == 0 or ry == 0 or np.array_equal(start, end):
        return _bezier(near(mapped(matrix, np.array([start, end]))))
    phi = np.radians(v[2])
    axes = np.array([[np.cos(phi), np.sin(phi)], [-np.sin(phi), np.cos(phi)]])
    half = axes @ ((start - end) / 2) / (rx, ry)
    square = float(half @ half)
    if square > 1:
        rx, ry, half, square = rx * square**0.5, ry * square**0.5, half / square**0.5, 1.0
    # In the unit circle's frame the centre lies square to the half chord.
    offset = np.array([half[1], -half[0]]) * np.sqrt(max(1 / square - 1, 0.0))
    centre = -offset if v[3] == v[4] else offset
    begin = np.arctan2(*(half - centre)[::-1])
    sweep = (np.arctan2(*(-half - centre)[::-1]) - begin) % (2 * np.pi)
    if v[4] == 0:
        sweep -= 2 * np.pi
    middle = axes.T @ (centre * (rx, ry)) + (start + end) / 2
    vertices = conic(matrix, middle, axes[0] * rx, axes[1] * ry, float(begin), float(sweep))
    vertices[[0, -1], :2] = mapped(matrix, np.array([start, end]))
    return vertices


def _joined(run: list[Floats]) -> Floats:
    return np.vstack([*(side[:-1] for side in run), run[-1][-1:]])
