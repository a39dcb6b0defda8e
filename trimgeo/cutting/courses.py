"""Lines at one distance outside the finished outline, laid on the board and run on past its edge."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import MultiLineString

from trimgeo.cutting.bands import RunOn
from trimgeo.cutting.edges import Chain, split_at_edge
from trimgeo.cutting.reach import run_out
from trimgeo.model.board import Ring
from trimgeo.model.job import Cutter, Finish
from trimgeo.plane.offsets import SAME, OffsetLine, grown_area, offset_lines, with_ends
from trimgeo.plane.rings import (
    Border,
    Floats,
    border_of,
    first_inside,
    line_inside,
    part_of_line,
    right_of,
    straightened,
    unit,
)


@dataclass(frozen=True, eq=False)
class Stop:
    """Where a line ends against the outline before it has run out: at an inside corner.

    ``chain`` and ``at_end`` say which end of which chain; ``wall`` is the unit direction, away from the
    outline along the cut's outward normal, of what stands in the way.
    """

    chain: int
    at_end: bool
    wall: Floats


@dataclass(frozen=True, eq=False)
class Run:
    """One line of the cutter, shape (n, 2), first point repeated where closed, and the stops at its ends."""

    points: Floats
    closed: bool
    chain: int
    stops: tuple[Stop, ...] = ()

    @property
    def stops_at_end(self) -> bool:
        """Whether its last point is an inside corner."""
        return any(stop.at_end for stop in self.stops)


@dataclass(frozen=True, eq=False)
class Course:
    """All lines at one distance from the outline, and how far they run on past each chain's ends.

    ``border`` is the grown outline that they bound; ``lines`` and ``lost`` are as
    `trimgeo.plane.offsets.offset_lines` gives them; ``reached`` are the chains that have a line on the board.
    """

    border: Border
    lines: tuple[OffsetLine, ...]
    lost: tuple[tuple[int, int], ...]
    runs: tuple[Run, ...]
    run_ons: tuple[RunOn, ...]
    reached: frozenset[int]


@dataclass(frozen=True, eq=False)
class Ground:
    """What a line is laid on: board, chains parted at the board's edge, and the run-out.

    ``walls`` are the distances of the kerf's walls, and ``taken`` the outline grown by the sanding margin.
    For the start and the end of each chain, shape (chains, 2): ``free`` is how far both walls may run on
    before one enters that, ``clear`` before a corner of it stands between them.  ``far`` is longer than any
    line on the board.
    """

    board: Border
    chains: tuple[Chain, ...]
    run_out: float
    walls: tuple[float, float]
    taken: Border
    free: Floats
    clear: Floats
    far: float


def ground(edge: Ring, linked: Sequence[Chain], cutter: Cutter, finish: Finish, thickness: float) -> Ground:
    """What all lines along these chains are laid on; raises as `reach` does."""
    past = run_out(cutter, thickness)
    parted = split_at_edge(linked, edge)
    walls = (finish.sanding, finish.sanding + cutter.kerf)
    taken = border_of(grown_area(linked[0].outline, parted, finish.sanding))
    x0, y0, x1, y1 = edge.polygon.bounds
    far = math.hypot(x1 - x0, y1 - y0) + past + walls[1]
    v = np.array([chain.points[at] for chain in parted for at in (0, -1)])
    d = np.array([sense * chain.directions[at] for chain in parted for at, sense in ((0, -1), (-1, 1))])
    n = np.array([right_of(chain.directions[at]) for chain in parted for at in (0, -1)])
    starts = np.concatenate([v + wall * n for wall in walls])
    enters = first_inside(starts, far * np.tile(d, (2, 1)), np.tile(n, (2, 1)), taken)
    free = np.minimum(enters.reshape(2, -1, 2).min(axis=0), far)
    corners = taken.starts - v[:, None]
    along, across = np.sum(corners * d[:, None], axis=2), np.sum(corners * n[:, None], axis=2)
    between = (along > SAME) & (across > walls[0] + SAME) & (across < walls[1] - SAME)
    clear = np.min(np.where(between, along, far), axis=1).reshape(-1, 2)
    return Ground(border_of(edge.polygon), parted, past, walls, taken, free, clear, far)


def course(base: Ground, distance: float, border: Border, kept: frozenset[int] = frozenset()) -> Course:
    """The lines ``distance`` mm outside the outline, the sides of ``border``: the outline grown by as much.

    The chains in ``kept`` keep theirs even where they lie off the board.
    """
    free = _course(base, distance, border, kept)
    ends = np.array([c.points[at] for c in base.chains if not c.closed for at in (0, -1)]).reshape(-1, 2)
    drawn = MultiLineString([run.points for run in free.runs])
    crowded = shapely.distance(shapely.points(ends), drawn) < distance - 10 * SAME
    if not crowded.any():
        return free
    wider = with_ends(border.area, base.chains[0].outline, ends[crowded], distance)
    return _course(base, distance, border_of(wider), kept)


def _course(base: Ground, distance: float, border: Border, kept: frozenset[int]) -> Course:
    """The lines on the sides of ``border``."""
    beside, lost = offset_lines(border.area, base.chains, distance)
    runs: list[Run] = []
    run_ons: list[RunOn] = []
    for line in beside:
        keep = line.first[0] in kept
        if line.closed:
            runs += _clipped_ring(base, line, keep)
        else:
            laid, on = _laid(base, border, line, keep)
            runs += laid
            run_ons += on
    # Before they are joined: a line across a narrow notch serves the chains on both sides.
    reached = frozenset(run.chain for run in runs)
    return Course(border, beside, lost, tuple(_joined(runs)), tuple(run_ons), reached)


def _laid(base: Ground, border: Border, line: OffsetLine, keep: bool) -> tuple[list[Run], list[RunOn]]:
    """An open line run on to the board's edge and past it, and how far its free ends run on."""
    before, stop_start = _ahead(base, border, line, at_end=False)
    after, stop_end = _ahead(base, border, line, at_end=True)
    points = line.points
    d = unit(points[[1, -1]] - points[[0, -2]])
    first, last = points[:1] - before * d[0], points[-1:] + after * d[1]
    points = straightened(np.vstack([first] * (before > SAME) + [points] + [last] * (after > SAME)))
    total = float(np.sum(np.hypot(*np.diff(points, axis=0).T)))
    low, high = (before if before > SAME else 0.0), total - (after if after > SAME else 0.0)
    spans = line_inside(points, base.board)
    spans = spans[(spans[:, 0] <= high + SAME) & (spans[:, 1] >= low - SAME)]
    if len(spans) == 0 and keep:
        spans = np.array([[low, high]])
    runs, ends = [], [low, high]
    for start, end in _run_out(spans, base.run_out):
        stops = (stop_start if start < -SAME else None, stop_end if end > total + SAME else None)
        start, end = max(start, 0.0), min(end, total)
        runs.append(
            Run(part_of_line(points, start, end), False, line.first[0], tuple(stop for stop in stops if stop))
        )
        ends = [min(ends[0], start), max(ends[1], end)]
    run_ons = [RunOn(line.first[0], False, low - ends[0], before)] if line.free_start else []
    run_ons += [RunOn(line.last[0], True, ends[1] - high, after)] if line.free_end else []
    return runs, run_ons


def _run_out(spans: Floats, length: float) -> Floats:
    """Spans made longer at both ends and joined where they then meet, shape (n, 2)."""
    if len(spans) == 0:
        return spans
    gaps = np.flatnonzero(spans[1:, 0] - spans[:-1, 1] > 2 * length)
    starts = np.concatenate([spans[:1, 0], spans[gaps + 1, 0]]) - length
    return np.column_stack([starts, np.concatenate([spans[gaps, 1], spans[-1:, 1]]) + length])


def _ahead(base: Ground, border: Border, line: OffsetLine, at_end: bool) -> tuple[float, Stop | None]:
    """How far a line may run on from its end, mm, and what stops it there.

    It stops where it enters the grown outline, or where a corner of what is taken stands in the kerf's way;
    where it passes both, where a wall of the kerf would enter.
    """
    chain = (line.last if at_end else line.first)[0]
    a, b = line.points[[-2, -1]] if at_end else line.points[:2]
    d = unit(b - a)
    end, n, ahead = (b, right_of(d), d) if at_end else (a, right_of(d), -d)
    if not (line.free_end if at_end else line.free_start):
        return 0.0, Stop(chain, at_end, _wall(border, end, n))
    length = float(first_inside(end[None], base.far * ahead[None], n[None], border)[0])
    if length < min(base.far, base.clear[chain, int(at_end)]):
        return length, Stop(chain, at_end, _wall(border, end + length * ahead, n))
    length = float(min(base.clear[chain, int(at_end)], base.free[chain, int(at_end)]))
    if length < base.far:
        return length, Stop(chain, at_end, _wall(base.taken, end + length * ahead, n))
    return base.far, None


def _wall(border: Border, at: Floats, outward: Floats) -> Floats:
    """The direction of an area's border at a point, the one that leads along a normal the most."""
    sides = shapely.linestrings(np.stack([border.starts, border.starts + border.steps], axis=1))
    gaps = shapely.distance(sides, shapely.Point(at))
    directions = unit(border.steps[gaps <= gaps.min() + SAME])
    leads = directions @ outward
    best = int(np.argmax(np.abs(leads)))
    return np.asarray(directions[best] * (1.0 if leads[best] >= 0 else -1.0))


def _clipped_ring(base: Ground, line: OffsetLine, keep: bool) -> list[Run]:
    """A closed line, opened where it lies off the board by more than the run-out."""
    points, chain = line.points, line.first[0]
    spans = line_inside(points, base.board)
    if len(spans) == 0:
        return [Run(points, True, chain)] if keep else []
    total = float(np.sum(np.hypot(*np.diff(points, axis=0).T)))
    wrapped = np.vstack([spans, spans[:1] + total])
    gaps = np.flatnonzero(wrapped[1:, 0] - wrapped[:-1, 1] > 2 * base.run_out)
    if len(gaps) == 0:
        return [Run(points, True, chain)]
    twice = np.vstack([points[:-1], points])
    runs = []
    for gap, following in zip(gaps, np.append(gaps[1:], gaps[0] + len(spans)), strict=True):
        start = wrapped[gap + 1, 0] - base.run_out
        end = spans[following % len(spans), 1] + (following // len(spans)) * total + base.run_out
        shift = -total * math.floor(start / total)
        runs.append(Run(part_of_line(twice, start + shift, end + shift), False, chain))
    return runs


def _joined(runs: list[Run]) -> list[Run]:
    """The runs, one where two overlap on one straight line: on both sides of a narrow notch."""
    runs = list(runs)
    for i, run in enumerate(runs):
        for j, other in enumerate(runs):
            if run.closed or other.closed or run.stops_at_end or not _overlap(run.points, other.points):
                continue
            if i == j:
                ring = np.vstack([run.points[1:-1], run.points[1:2]])
                runs[i] = Run(ring, True, run.chain)
            else:
                both = np.vstack([run.points[:-1], other.points[1:]])
                runs[i] = Run(both, False, run.chain, (*run.stops, *other.stops))
                del runs[j]
            return _joined(runs)
    return runs


def _overlap(before: Floats, after: Floats) -> bool:
    """Whether a line's last side runs into the first side of another on the same straight line."""
    a, b, c, e = before[-2], before[-1], after[0], after[1]
    d = unit(b - a)
    away = right_of(d) @ np.stack([c - a, e - a], axis=1)
    along = np.stack([c - a, e - a, b - a]) @ d
    return bool(np.max(np.abs(away)) < SAME and 0 <= along[0] <= along[2] + SAME and along[1] > along[2])
