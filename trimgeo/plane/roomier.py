"""Poses made better step by step: linear programs over the near pairs, as far as they can be trusted."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from trimgeo.plane.least import best_steps, filled
from trimgeo.plane.rings import Floats
from trimgeo.plane.touches import Touches

Indices = NDArray[np.intp]
Flags = NDArray[np.bool_]

_MOST_STEPS: Final = 60

_ENOUGH: Final = 1e-7
"""mm: a step that promises less is the last."""

Look = Callable[[Floats, Floats], tuple[Indices, Touches]]
"""The pairs at poses, shape (m, 3), each within its window over the least gap, and whose they are, rising."""


def roomier(
    look: Look,
    radius: float,
    poses: Floats,
    reach: float,
    enough: float = _ENOUGH,
    wanted: float = -np.inf,
) -> tuple[Floats, Floats]:
    """The least gaps, mm, of poses near the given ones that no small step makes greater, and these poses.

    ``poses`` has shape (m, 3), ``radius`` is the body's about its origin, ``reach`` how far a first step
    may move a point, mm; a step that promises less than ``enough`` mm is the last, and so is one after which
    the gap would be less than is ``wanted``.

    >>> import shapely
    >>> from functools import partial
    >>> from trimgeo.plane.touches import shape_of, touches_of
    >>> body, room = (shape_of(shapely.box(*at), 1.0, 32) for at in ((-2, -1, 2, 1), (0, 0, 9, 4)))
    >>> look = partial(touches_of, body, room)
    >>> gaps, poses = roomier(look, 2.3, np.array([[4.0, 2.0, 0.3]]), 1.0)
    >>> gaps.round(6).tolist()
    [1.0]
    """
    most, reaches = 2 * reach, np.full(len(poses), reach)
    scale, poses = np.array([1.0, 1.0, 1 / radius]), poses.copy()
    now = _seen(look, radius, poses, 4 * reaches)
    gaps, going = now.least(len(poses)), np.arange(len(poses))
    for _ in range(_MOST_STEPS):
        step, value = _step(now, gaps[going], reaches[going])
        promised = value - gaps[going]
        on = (promised >= enough) & (value >= wanted)
        going, now, promised = going[on], now.only(on), promised[on]
        if len(going) == 0:
            break
        others, reach_now = poses[going] + step[on] * scale, reaches[going]
        there = _seen(look, radius, others, 8 * reach_now)
        gained = there.least(len(going)) - gaps[going]
        good, well = gained > 0.1 * promised, gained > 0.75 * promised
        poses[going[good]] = others[good]
        gaps[going[good]] += gained[good]
        longer = np.where(well, np.minimum(2 * reach_now, most), reach_now)
        reaches[going] = np.where(good, longer, 0.35 * reach_now)
        on = reaches[going] >= enough
        going, now = going[on], now.renewed(there, good).only(on)
    return gaps, poses


class _Near(NamedTuple):
    """The gaps near several poses, how each changes with a step, shape (n, 3), and whose it is, rising."""

    owner: Indices
    gap: Floats
    slopes: Floats

    def least(self, count: int) -> Floats:
        """The least gap at each of so many poses."""
        found = np.full(count, np.inf)
        np.minimum.at(found, self.owner, self.gap)
        return found

    def take(self, which: Flags | Indices) -> _Near:
        return _Near(self.owner[which], self.gap[which], self.slopes[which])

    def only(self, poses: Flags) -> _Near:
        """Those of some of the poses, which are counted anew."""
        if poses.all():
            return self
        kept = self.take(poses[self.owner])
        return kept._replace(owner=(np.cumsum(poses) - 1)[kept.owner])

    def renewed(self, others: _Near, which: Flags) -> _Near:
        """Those of the others at ``which`` poses, and these at the rest."""
        old, new = self.take(~which[self.owner]), others.take(which[others.owner])
        both = _Near(*(np.concatenate(pair) for pair in zip(old, new, strict=True)))
        return both.take(np.argsort(both.owner, kind="stable"))


def _seen(look: Look, radius: float, poses: Floats, windows: Floats) -> _Near:
    owner, near = look(poses, windows)
    return _Near(owner, near.gap, np.column_stack([near.normal, near.lever / radius]))


def _step(now: _Near, gaps: Floats, reaches: Floats) -> tuple[Floats, Floats]:
    """The best step from each pose, and the least gap that it promises."""
    near = now.take(now.gap <= (gaps + 4 * reaches)[now.owner])
    _, values, slopes = filled(near.owner, len(gaps), near.gap, near.slopes)
    found = best_steps(values, slopes, np.repeat(reaches[:, None], 3, axis=1))
    return found.step, found.value
