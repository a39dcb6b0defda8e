"""Places for labels: near what they name, on nothing that must be seen, none on another.

The room is cut into square cells of `CELL`.  Boxes and strong lines take cells; a label may only lie
on cells that are free, and pays for distance from its anchor and for faint lines that it breaks.
Each label in turn gets the cheapest of all places in reach, not of a handful of candidates.
All lengths are mm.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from math import ceil, floor, hypot
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from trimgeo.drawing.cells import CELL, Cells, Floats, Room, column_of, mark, row_of, take
from trimgeo.drawing.sheet import XY, Box

TOUCHING: Final = 1.2
"""A label no farther than this from its anchor needs no pointer."""

REACHES: Final = (7.0, 21.0, 63.0, 150.0)
"""How far a label is looked for, one after the other: a place that costs no more than that is the best."""

FAINT: Final = 0.8
"""What one cell of a faint line costs, in mm of distance."""

FOREIGN: Final = 0.05
"""What one cell of something else's area costs, in mm of distance."""

CROSSED: Final = 1.5
"""What a mm of pointer over what bars labels costs, in mm of distance."""

CROWD: Final = 200
"""With more labels than this, what was lost at first stays lost: placing anew would take seconds."""

FEW: Final = 6
"""With more labels lost than this, another order of the same forms does not help."""

NEEDED: Final = 20.0
"""A form at a higher price leaves out what must be said: it is no short form."""

RAYS: Final = 180
"""Directions in which an anchor looks for a way between the labels."""

TRIES: Final = 60
"""Places, cheapest first, whose pointers are judged exactly."""

FIRST: Final = 8
"""Of these, so many are judged first: mostly one of them costs less than all others do without pointers."""


@dataclass(frozen=True)
class Form:
    """One wording of a label: the room it needs, mm.

    ``price`` is what it costs against the best wording, in mm of distance from the anchor.
    """

    width: float
    height: float
    price: float = 0.0


@dataclass(frozen=True)
class Wish:
    """A label to place: its wordings, dearest last, its area's number, what the kept board costs it.

    There it costs ``outside`` more, in mm of distance.  It belongs at the first of its ``anchors``; the
    others serve where a label already covers that.
    """

    anchors: tuple[XY, ...]
    forms: tuple[Form, ...]
    own: int = 0
    outside: float = 0.0


@dataclass(frozen=True)
class Place:
    """Where a label goes: which of its forms, the box, and the pointer from the box to the anchor.

    ``pointer`` is None where the box touches the anchor or all but does.
    """

    form: int
    box: Box
    pointer: tuple[XY, XY] | None


def place(space: Room, wishes: Sequence[Wish]) -> tuple[Place | None, ...]:
    """A place for each wish, in their order of preference; None where there is none left.

    Where some find none, all are placed anew, those that were lost first, at last in short forms only; the
    first wish is not given up for others.

    >>> from trimgeo.drawing.cells import room
    >>> place(room((0, 0, 40, 10)), [Wish(((20, 5),), (Form(8.0, 2.0),))])[0].box
    (16.0, 4.0, 24.0, 6.0)
    """
    every = [tuple(range(len(wish.forms))) for wish in wishes]
    order = list(range(len(wishes)))
    best = _place_in_order(space, wishes, every, order)
    lost = [n for n in order if best[n] is None]
    short = [(_shortest(wish),) for wish in wishes]
    for forms in (every, every, short, short) if lost and len(wishes) <= CROWD else ():
        if len(lost) > FEW and forms is every:
            continue
        order = [*lost, *(n for n in order if n not in set(lost))]
        found = _place_in_order(space, wishes, forms, order)
        lost = [n for n in order if found[n] is None]
        if len(lost) < best.count(None) and (best[0] is None or found[0] is not None):
            best = found
        elif forms is short:
            break
        if not lost:
            break
    return tuple(best)


def _shortest(wish: Wish) -> int:
    """The number of the smallest form that still says what it must."""
    usable = [n for n, form in enumerate(wish.forms) if form.price <= NEEDED] or [0]
    return min(usable, key=lambda n: wish.forms[n].width * wish.forms[n].height)


def _place_in_order(
    space: Room, wishes: Sequence[Wish], forms: Sequence[tuple[int, ...]], order: Sequence[int]
) -> list[Place | None]:
    """A place for each wish, one after the other; the room itself stays as it is."""
    space = replace(space, taken=space.taken.copy(), lettered=space.lettered.copy())
    found: list[Place | None] = [None] * len(wishes)
    for n in order:
        put = found[n] = _place_one(space, wishes[n], forms[n])
        if put is not None:
            _claim(space, put)
    return found


def _place_one(space: Room, wish: Wish, forms: tuple[int, ...]) -> Place | None:
    found_open = _open_anchor(space, wish.anchors)
    if found_open is None:
        return None
    anchor, nearby = found_open
    for reach in REACHES:
        sight = _nearer(nearby, reach) if reach <= REACHES[1] else _sight(space, anchor, reach)
        best: tuple[float, Place] | None = None
        for n in forms:
            price = wish.forms[n].price
            if best is not None and best[0] <= price:
                break
            found = _cheapest(space, wish, anchor, n, reach, sight, np.inf if best is None else best[0])
            if found is not None and (best is None or found[0] + price < best[0]):
                best = found[0] + price, found[1]
        if best is not None and (len(forms) == 1 or best[0] <= reach or reach == REACHES[-1]):
            return best[1]
        if best is None and np.isfinite(sight).all():
            break  # labels all round: farther away there is nothing that a pointer could come from
    return None


def _open_anchor(space: Room, anchors: Sequence[XY]) -> tuple[XY, Floats] | None:
    """The first anchor that sees far enough, else the one that sees farthest, if any sees at all.

    With it comes what it sees within ``REACHES[1]``.
    """
    farthest: tuple[float, XY, Floats] | None = None
    for anchor in anchors:
        sight = _sight(space, anchor, REACHES[1])
        far = float(sight.max())
        if far >= REACHES[0]:
            return anchor, sight
        if far > 0.0 and (farthest is None or far > farthest[0]):
            farthest = far, anchor, sight
    return None if farthest is None else farthest[1:]


def _sight(space: Room, anchor: XY, reach: float) -> Floats:
    """How far a pointer can go from an anchor before it meets a label, shape (RAYS,), at most ``reach``."""
    steps, (x, y) = _rays(reach)
    met = space.lettered[row_of(space, anchor[1] + y), column_of(space, anchor[0] + x)]
    return np.where(met.any(axis=1), steps[met.argmax(axis=1)], np.inf)


def _nearer(sight: Floats, reach: float) -> Floats:
    """What `_sight` gives for a lesser reach."""
    return np.where(sight <= _rays(reach)[0][-1], sight, np.inf)


@cache
def _rays(reach: float) -> tuple[Floats, Floats]:
    """Steps, shape (k,), along each of the `RAYS`, and where they lie from an anchor, shape (2, RAYS, k)."""
    steps = np.arange(0.0, reach + CELL, CELL / 2)
    turn = np.arange(RAYS) * (2 * np.pi / RAYS)
    return steps, np.array([np.cos(turn), np.sin(turn)])[:, :, None] * steps


def _claim(space: Room, put: Place) -> None:
    take(space, put.box, space.taken, space.lettered)
    if put.pointer is not None:
        line = shapely.linestrings(put.pointer)
        mark(space, [line], space.taken, spread=1)
        mark(space, [line], space.lettered, spread=0)


def _cheapest(
    space: Room, wish: Wish, anchor: XY, form: int, reach: float, sight: Floats, most: float
) -> tuple[float, Place] | None:
    """The cheapest place of one form whose pointer crosses no label, if below ``most`` with its price."""
    columns, rows = ceil(wish.forms[form].width / CELL), ceil(wish.forms[form].height / CELL)
    left, bottom = space.box[:2]
    x, y = (anchor[0] - left) / CELL, (anchor[1] - bottom) / CELL
    ny, nx = space.taken.shape
    c0, c1 = _span(x - reach / CELL - columns, x + reach / CELL, nx - columns)
    r0, r1 = _span(y - reach / CELL - rows, y + reach / CELL, ny - rows)
    if c0 > c1 or r0 > r1:
        return None
    window = np.s_[r0 : r1 + rows, c0 : c1 + columns]
    row, column = np.nonzero(_sums(space.taken[window], rows, columns) == 0)
    dx, dy = _aside(column + c0, columns, x) * CELL, _aside(row + r0, rows, y) * CELL
    distance = np.hypot(dx, dy)
    ray = np.rint(np.arctan2(dy, dx) * (RAYS / (2 * np.pi))).astype(np.intp) % RAYS
    seen = np.flatnonzero((distance <= TOUCHING) | (distance <= sight[ray]))
    if not len(seen):
        return None
    row, column = row[seen], column[seen]
    off = np.hypot(column + c0 + columns / 2 - x, row + r0 + rows / 2 - y) * CELL
    owner = space.owner[window]
    foreign = _sums((owner != 0) & (owner != wish.own), rows, columns)[row, column]
    broken = _sums(space.faint[window], rows, columns)[row, column]
    cost = distance[seen] + 0.2 * off + FAINT * broken + FOREIGN * foreign
    if wish.outside:
        cost += wish.outside * (_sums(space.kept[window], rows, columns)[row, column] > 0)
    if cost.min() + wish.forms[form].price >= most:
        return None
    tried = np.argsort(cost, kind="stable")[:TRIES]
    size = np.array([columns * CELL, rows * CELL])
    low = np.column_stack([column[tried] + c0, row[tried] + r0]) * CELL + np.array([left, bottom])
    total = _with_pointers(space, cost[tried], low, size, anchor)
    if not np.isfinite(best := total.min()):
        return None
    x0, y0 = low[int(total.argmin())].tolist()
    box = (x0, y0, x0 + float(size[0]), y0 + float(size[1]))
    return float(best), Place(form, box, _pointer(box, anchor))


def _with_pointers(space: Room, cost: Floats, low: Floats, size: Floats, anchor: XY) -> Floats:
    """Costs, ascending, with those of the pointers from the boxes at ``low``, shape (n, 2).

    Infinite where a pointer crosses a label, and where another place is cheaper whatever the pointer costs.
    """
    near = np.minimum(np.maximum(anchor, low), low + size)
    run = np.asarray(anchor) - near
    length = np.hypot(*run.T)
    steps = ceil(float(length.max(initial=0.0)) / (CELL / 3)) + 1
    total = np.full(len(cost), np.inf)
    for some in (slice(0, FIRST), slice(FIRST, None)):
        open_to = np.flatnonzero(cost[some] < total.min()) + some.start
        if len(open_to):
            pointer = _pointer_costs(space, near[open_to], run[open_to], length[open_to], steps)
            total[open_to] = cost[open_to] + pointer
    return total


def _pointer_costs(space: Room, near: Floats, run: Floats, length: Floats, steps: int) -> Floats:
    """What pointers cost that ``run`` from ``near``, both of shape (n, 2): infinite over labels."""
    along = np.linspace(0.0, 1.0, steps)
    column = column_of(space, near[:, :1] + run[:, :1] * along)
    row = row_of(space, near[:, 1:] + run[:, 1:] * along)
    lettered = space.lettered[row, column].any(axis=1)
    over = space.taken[row, column].mean(axis=1) * length
    return np.where(length <= TOUCHING, 0.0, np.where(lettered, np.inf, CROSSED * over))


def _span(low: float, high: float, last: int) -> tuple[int, int]:
    return max(0, floor(low)), min(last, ceil(high))


def _sums(cells: Cells, rows: int, columns: int) -> NDArray[np.int32]:
    """Cells taken under a box of rows x columns, for each place of its lower left cell."""
    sums = np.zeros((cells.shape[0] + 1, cells.shape[1] + 1), dtype=np.int32)
    np.cumsum(np.cumsum(cells, axis=0, dtype=np.int32), axis=1, out=sums[1:, 1:])
    return sums[rows:, columns:] - sums[:-rows, columns:] - sums[rows:, :-columns] + sums[:-rows, :-columns]


def _aside(low: NDArray[np.intp], length: int, value: float) -> Floats:
    """From a value to the nearest of low .. low + length: 0 inside."""
    return np.minimum(np.maximum(value, low), low + length) - value


def _pointer(box: Box, anchor: XY) -> tuple[XY, XY] | None:
    x, y = anchor
    near = (min(max(x, box[0]), box[2]), min(max(y, box[1]), box[3]))
    return None if hypot(x - near[0], y - near[1]) <= TOUCHING else (near, anchor)
