"""Outlines along lines that follow each other once around: which may follow which, and their corners."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from trimgeo.plane.annulus import Annulus
from trimgeo.plane.cutlines import CutLines
from trimgeo.plane.fewest import JUDGED
from trimgeo.plane.hulls import Floats, Indices
from trimgeo.plane.joins import WITHIN, Border, goes_along, landings, meets
from trimgeo.plane.rounds import Steps


def steps_between(lines: CutLines, edge: Border, corners: int, inside_corners: bool) -> Steps:
    """All joins between lines that may follow each other.

    An outline touches the ``corners`` of what is kept in their order, so the full turns by which the
    heading is counted on are those by which the corners' numbers are.
    """
    every = np.arange(len(lines))
    i, j = every[:, None], every[None]
    gap = np.mod(lines.place[j] - lines.last[i], corners)
    turned = (
        lines.place[i] + np.mod(lines.last[i] - lines.place[i], corners) + gap - lines.place[j]
    ) // corners
    straight = meets(lines, i, lines, j)
    ends, starts = landings(edge, lines, lines.end_side), landings(edge, lines, lines.start_side)
    parts = [straight]
    if (ends.stretch >= 0).any():
        parts.append(goes_along(lines, ends, i, lines, starts, j))
    found = []
    for join in parts:
        usable = np.isfinite(join.area)
        usable &= (join.turns == turned) | ((gap == 0) & (join.turns == turned + 1))
        if not inside_corners:
            usable &= ~join.inside
        source, target = np.nonzero(usable)
        found.append((source, target, join.area[usable], join.turns[usable]))
    return Steps(*(np.concatenate(column) for column in zip(*found, strict=True)))


def outlined(lines: CutLines, turns: Indices, edge: Border) -> Polygon:
    """The outline along lines that follow each other once around, as it comes."""
    return Polygon(np.concatenate([np.array(corner) for corner in _corners(lines, turns, edge)]))


def cuts_along(lines: CutLines, turns: Indices, edge: Border) -> NDArray[Any]:
    """The cut on each of the lines that follow each other once around."""
    corners = _corners(lines, turns, edge)
    ends = [(corners[k - 1][-1], corners[k][0]) for k in range(len(corners))]
    return np.asarray(shapely.linestrings(np.array(ends)))


def _corners(lines: CutLines, turns: Indices, edge: Border) -> list[list[Floats]]:
    """For each line where it meets the next one: a corner, or those of the border between."""
    here = np.arange(len(lines))
    there = np.roll(here, -1)
    ends, starts = landings(edge, lines, lines.end_side), landings(edge, lines, lines.start_side)
    straight = meets(lines, here, lines, there)
    along = goes_along(lines, ends, here, lines, starts, there)
    by_border = np.where(along.turns == turns, along.area, np.inf) < np.where(
        straight.turns == turns, straight.area, np.inf
    )
    corners: list[list[Floats]] = []
    for k, n in zip(here.tolist(), there.tolist(), strict=True):
        if by_border[k]:
            first, last = int(lines.end_side[k]), int(lines.start_side[n])
            sides = int(edge.place[last] - edge.place[first])
            sides += len(edge.ring) * int(starts.place[n] < ends.place[k] - WITHIN)
            passed = [edge.ring[(first + step + 1) % len(edge.ring)] for step in range(sides)]
            corners.append([ends.point[k], *passed, starts.point[n]])
        else:
            corners.append([crossing(lines, k, n)])
    return corners


def crossing(lines: CutLines, k: int, n: int) -> Floats:
    """Where two lines cross."""
    a, b = lines.along[k], lines.along[n]
    off = lines.anchor[n] - lines.anchor[k]
    at = (off[0] * b[1] - off[1] * b[0]) / (a[0] * b[1] - a[1] * b[0])
    return np.asarray(lines.anchor[k] + at * a)


def is_sound(room: Annulus, outline: Polygon) -> bool:
    """Whether an outline is simple, holds what is kept and lies in what is allowed."""
    if not outline.is_valid:
        return False
    kept, allowed = Polygon(room.kept), Polygon(room.allowed)
    return bool(
        shapely.covers(shapely.buffer(outline, JUDGED, join_style="mitre"), kept)
        and shapely.covers(shapely.buffer(allowed, JUDGED, join_style="mitre"), outline)
    )
