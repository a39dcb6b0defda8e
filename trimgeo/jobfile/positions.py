"""Positions of entries in millimetres: here the pixels of a job end."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import chain

import numpy as np
from numpy.typing import NDArray

from trimgeo.errors import JobError
from trimgeo.jobfile.shapes import Floats, Ints, Where
from trimgeo.model.board import View
from trimgeo.model.keys import FARTHEST, Point


@dataclass(frozen=True, eq=False)
class Marks:
    """The points of several entries: ``xy``, shape (n, 2), mm, ``counts`` of them each, shape (k,).

    ``uncertainty``, shape (k,): the greatest standard uncertainty among an entry's points, mm, 0 for
    those that are given in mm.
    """

    xy: Floats
    counts: Ints
    uncertainty: Floats

    def of(self, entries: NDArray[np.bool_]) -> tuple[Floats, Ints]:
        """Points and counts of some of the entries, chosen by a mask of shape (k,).

        >>> three = marks([[(1.0, 2.0)], [(3.0, 4.0), (5.0, 6.0)]], [None, None], {}, str)
        >>> three.of(np.array([False, True]))
        (array([[3., 4.],
               [5., 6.]]), array([2]))
        """
        return self.xy[np.repeat(entries, self.counts)], self.counts[entries]


def marks(
    points: Sequence[Sequence[Point]], on: Sequence[str | None], views: Mapping[str, View], where: Where
) -> Marks:
    """Points in mm: those of an entry with a view are pixels of that view's picture.

    Raises `trimgeo.JobError` at ``where(i)`` where a pixel maps to no place near a board.

    >>> marks([[(1.0, 2.0)], [(3.0, 4.0), (5.0, 6.0)]], [None, None], {}, str).counts
    array([1, 2])
    """
    counts = np.fromiter(map(len, points), dtype=np.intp, count=len(points))
    total = int(counts.sum())
    flat = chain.from_iterable(chain.from_iterable(points))
    xy = np.fromiter(flat, dtype=np.float64, count=2 * total).reshape(total, 2)
    spread = np.zeros(total)
    off = np.zeros(total, dtype=np.bool_)
    for name in dict.fromkeys(on):
        if name is not None:
            _refuse_unplaced(views[name], on, where)
            here = np.repeat(np.array([each == name for each in on]), counts)
            to_board = views[name].to_board
            off[here] = to_board.outside(xy[here])
            with np.errstate(all="ignore"):
                spread[here] = to_board.standard_uncertainty(xy[here])
                xy[here] = to_board.to_mm(xy[here])
    _refuse_off_picture(off, counts, on, views, where)
    lost = ~(np.abs(xy) <= FARTHEST).all(axis=1) | ~np.isfinite(spread)
    if lost.any():
        entry = int(np.repeat(np.arange(len(counts)), counts)[np.argmax(lost)])
        raise JobError(
            where(entry),
            f'found a pixel that the scale of view "{on[entry]}" maps to no place near the board',
            "give pixels that lie on the board in that picture",
        )
    starts = np.cumsum(counts) - counts
    return Marks(xy, counts, np.maximum.reduceat(spread, starts) if total else np.zeros(len(counts)))


def _refuse_unplaced(view: View, on: Sequence[str | None], where: Where) -> None:
    """Nothing can be marked on a view of which only the card's place is known, not the board's."""
    if not view.placed:
        raise JobError(
            where(list(on).index(view.name)),
            f'found view "{view.name}", in which nothing says where the board lies',
            "add `place` to that view, such as place = { origin = [120, 2950], along = [3900, 2948] }",
        )


def _refuse_off_picture(
    off: NDArray[np.bool_],
    counts: Ints,
    on: Sequence[str | None],
    views: Mapping[str, View],
    where: Where,
) -> None:
    """A pixel that nobody can have read off the picture is a slip of the pen."""
    if not off.any():
        return
    entry = int(np.repeat(np.arange(len(counts)), counts)[np.argmax(off)])
    columns, rows = views[on[entry] or ""].to_board.size or (0, 0)
    raise JobError(
        where(entry),
        f'found a pixel that lies off the picture of view "{on[entry]}"',
        f"give [column, row] within its {columns} x {rows} pixels",
    )
