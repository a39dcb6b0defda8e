"""A pose made better step by step: linear programs over the near pairs, as far as they can be trusted."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np

from trimgeo.plane.least import best_step
from trimgeo.plane.touches import Pose, Touches

_MOST_STEPS: Final = 60

_ENOUGH: Final = 1e-7
"""mm: a step that promises less is the last."""

Look = Callable[[Pose, float], Touches]
"""The pairs at a pose, within a window over the least gap."""


def roomier(
    look: Look, radius: float, pose: Pose, reach: float, enough: float = _ENOUGH
) -> tuple[float, Pose]:
    """The least gap, mm, of a pose near the given one that no small step makes greater, and that pose.

    ``radius`` is the body's about its origin, ``reach`` how far a first step may move a point, mm; a step
    that promises less than ``enough`` mm is the last.

    >>> import shapely
    >>> from functools import partial
    >>> from trimgeo.plane.touches import shape_of, touches
    >>> look = partial(touches, shape_of(shapely.box(-2, -1, 2, 1)), shape_of(shapely.box(0, 0, 9, 4)))
    >>> gap, pose = roomier(look, 2.3, np.array([4.0, 2.0, 0.3]), 1.0)
    >>> round(gap, 6)
    1.0
    """
    scale, most = np.array([1.0, 1.0, 1 / radius]), 2 * reach
    now = look(pose, 4 * reach)
    gap = float(now.gap.min())
    for _ in range(_MOST_STEPS):
        near = now.take(now.gap <= gap + 4 * reach)
        slopes = np.column_stack([near.normal, near.lever / radius])
        found = best_step(near.gap, slopes, np.full(3, reach))
        promised = found.value - gap
        if promised < enough:
            break
        other = pose + found.step * scale
        there = look(other, 8 * reach)
        gained = float(there.gap.min()) - gap
        if gained > 0.1 * promised:
            pose, now, gap = other, there, gap + gained
            reach = min(2 * reach, most) if gained > 0.75 * promised else reach
        else:
            reach *= 0.35
            if reach < enough:
                break
    return gap, pose
