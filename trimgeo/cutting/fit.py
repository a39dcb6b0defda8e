"""Whether the finished board goes into its case: shift, turn, gap, and the heights of its parts."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
from shapely import Polygon

from trimgeo.cutting.fitwords import fit_sentences, looking_out
from trimgeo.cutting.holder import Standing
from trimgeo.cutting.settled import Settled, settled
from trimgeo.model.board import Area, Case, FaceName, Ring
from trimgeo.model.plan import XY, Fit
from trimgeo.plane.fitting import MostRoom, most_room, room_as_placed
from trimgeo.plane.shifts import best_shift
from trimgeo.plane.toolarge import quick_ceiling

ROUNDING: Final = 1e-6
"""mm: an outline that was built to keep the gap keeps it."""

SAME_WALL: Final = 0.01
"""mm: places at which the board is closest and whose walls differ by less lie along one wall."""


def fit(finished: Ring, case: Case, standing: Sequence[tuple[FaceName, Standing]]) -> Fit:
    """How the finished board goes into the case with the most room, over all shifts and turns.

    It fits where the gap is kept all round, and no part that stands on a face is higher than the case is
    there. Only the outline is looked at for the room: what hangs over an edge is not.

    >>> import shapely
    >>> tray = Case(Ring(shapely.box(0, 0, 44, 24)), (), gap=0.5)
    >>> found = fit(Ring(shapely.box(0, 0, 40, 20)), tray, [])
    >>> found.fits, round(found.spare, 3), [round(x, 3) for x in found.shift], round(found.as_placed, 3)
    (True, 1.5, [2.0, 2.0], -0.5)
    >>> fit(Ring(shapely.box(0, 0, 43.4, 20)), tray, []).notes[1]
    'No shift or turn makes it fit: that is proved.'
    """
    found = most_room(finished.polygon, case.room)
    held = settled(finished.polygon, case.room, found, case.gap)
    too_high = _too_high(case, standing)
    answer = Fit(
        fits=held.room - case.gap >= -ROUNDING and not too_high,
        spare=held.room - case.gap,
        most=found.bound - case.gap,
        shift=held.shift,
        angle=found.angle,
        as_placed=room_as_placed(finished.polygon, case.room) - case.gap,
        binds=ends_alone(held.binds),
        too_high=tuple(sorted(too_high)),
        shifted=_shifted(finished.polygon, case.room, found, held, case.gap),
    )
    over = looking_out(finished, [part for _, part in standing], case.gap)
    return replace(answer, notes=fit_sentences(answer, case.gap, over))


def _shifted(
    part: Polygon, room: Area, found: MostRoom, held: Settled, gap: float
) -> tuple[float, XY] | None:
    """The most room beyond the gap without a turn, and its shift."""
    if held.room < 0:
        return None
    if found.angle == 0.0:
        return held.room - gap, held.shift
    alone = best_shift(part, room)
    if alone is None:
        return None
    near = settled(part, room, MostRoom(alone[0], alone[0], alone[1], 0.0, ()), gap)
    return near.room - gap, near.shift


def goes_in(finished: Ring, case: Case, standing: Sequence[tuple[FaceName, Standing]]) -> bool:
    """Whether the finished board fits, which is soon told where it fits as it lies.

    >>> import shapely
    >>> goes_in(Ring(shapely.box(1, 1, 40, 20)), Case(Ring(shapely.box(0, 0, 44, 24)), (), gap=0.5), [])
    True
    """
    if room_as_placed(finished.polygon, case.room) - case.gap >= -ROUNDING:
        return not _too_high(case, standing)
    if _too_high(case, standing) or quick_ceiling(finished.polygon, case.room) < case.gap - ROUNDING:
        return False
    held = settled(finished.polygon, case.room, most_room(finished.polygon, case.room), case.gap)
    return held.room - case.gap >= -ROUNDING


def _too_high(case: Case, standing: Sequence[tuple[FaceName, Standing]]) -> list[tuple[str, float]]:
    """What is higher than the case is there, and by how much, mm."""
    heights = {"top": case.lid, "bottom": case.floor}
    return [
        (part.name, part.height - room)
        for face, part in standing
        if (room := heights[face]) is not None and part.height > room + ROUNDING
    ]


def ends_alone(pairs: Sequence[tuple[XY, XY]]) -> tuple[tuple[XY, XY], ...]:
    """Pairs of points, of board and case, counter-clockwise, without those between two along one wall.

    >>> along = [((x, 1.0), (x, 0.0)) for x in (0.0, 1.0, 2.0, 5.0)]
    >>> ends_alone([*along, ((9.0, 3.0), (9.5, 3.0))])
    (((0.0, 1.0), (0.0, 0.0)), ((5.0, 1.0), (5.0, 0.0)), ((9.0, 3.0), (9.5, 3.0)))
    """
    found: dict[tuple[float, ...], list[tuple[float, int]]] = {}
    for n, ((x, y), (u, v)) in enumerate(pairs):
        across = np.array([u - x, v - y])
        across = across / max(float(np.hypot(*across)), SAME_WALL)
        wall = (*np.round(across, 3), round(float(across @ (u, v)) / SAME_WALL))
        found.setdefault(wall, []).append((float(across[0] * y - across[1] * x), n))
    kept = {n for several in found.values() for _, n in (min(several), max(several))}
    left = [pair for n, pair in enumerate(pairs) if n in kept]
    middle = np.mean([board for board, _ in left], axis=0) if left else (0.0, 0.0)
    turn = [math.atan2(y - middle[1], x - middle[0]) for (x, y), _ in left]
    return tuple(left[n] for n in np.argsort(turn, kind="stable"))
