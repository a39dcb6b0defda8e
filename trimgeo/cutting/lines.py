"""The lines that the cutter follows outside the finished outline, and how far they run past the board."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from shapely import LineString, MultiPolygon

from trimgeo.cutting.bands import kerf_band, swept_band
from trimgeo.cutting.courses import Course, Ground, course, ground
from trimgeo.cutting.edges import Chain, chains
from trimgeo.cutting.reach import overrun
from trimgeo.model.board import Ring
from trimgeo.model.job import Cutter, Finish
from trimgeo.model.plan import Cut, Lines
from trimgeo.plane.offsets import grown_area
from trimgeo.plane.rings import border_of


def lines(
    finished: Ring, edge: Ring, cuts: Sequence[Cut], cutter: Cutter, finish: Finish, thickness: float
) -> Lines:
    """Guide line, tool centre, kerf band and swept band of the cuts of a finished outline.

    A line runs straight on to the board's edge and past it by the run-out, and no further than to where
    it would enter the outline.  What lies off the board by more than the run-out is cut away from it, so that
    a closed line whose mitre tips do is open there.  Raises as `reach` does.

    >>> from shapely import box
    >>> board, part = Ring(box(0, 0, 100, 60)), Ring(box(0, 0, 40, 60))
    >>> cut = Cut(1, LineString([(40, 0), (40, 60)]))
    >>> along = lines(part, board, [cut], Cutter(kind="bit", kerf=2.0), Finish(sanding=0.5), 1.6)
    >>> np.round(along.guide[0].coords, 6).tolist(), along.kerf_band.area
    ([[40.5, -1.0], [40.5, 61.0]], 120.0)
    """
    linked = chains(cuts, finished)
    if not linked:
        return Lines((), (), MultiPolygon(), MultiPolygon())
    base = ground(edge, linked, cutter, finish, thickness)
    (near, far), outline = base.walls, finished.polygon
    middle = (near + far) / 2
    guide = course(base, near, base.taken)
    centre = course(base, middle, border_of(grown_area(outline, base.chains, middle)), guide.reached)
    outer = grown_area(outline, base.chains, far)
    past = overrun(cutter, thickness)
    return Lines(
        guide=tuple(LineString(run.points) for run in guide.runs),
        tool_centre=tuple(LineString(run.points) for run in centre.runs),
        kerf_band=kerf_band(edge.polygon, guide.border.area, outer, base.chains, guide.run_ons, base.walls),
        swept_band=swept_band(
            outline, edge.polygon, base.chains, guide.run_ons, base.walls, cutter.wander, past
        ),
        notes=(
            *_notes(base, guide, cuts, near, "guide line"),
            *_notes(base, centre, cuts, middle, "tool centre"),
        ),
    )


def _notes(base: Ground, laid: Course, cuts: Sequence[Cut], distance: float, what: str) -> list[str]:
    """What a person has to know about lines that vanish, split, or run off the board."""
    notes = []
    for lost, side in laid.lost:
        notes.append(
            f"The {what} has no stretch of its own along cut {cut_beside(base.chains[lost], side, cuts)}: "
            f"at {distance:g} mm its neighbours meet first."
        )
    for number, chain in enumerate(base.chains):
        names = ", ".join(str(cuts[i].n) for i in chain.cuts)
        pieces = [line for line in laid.lines if line.first[0] == number]
        if pieces and number not in laid.reached:
            notes.append(f"The {what} along cut {names} lies off the board: take the rest off with abrasive.")
        if len(pieces) > 1:
            notes.append(
                f"The {what} along cut {names} falls into {len(pieces)} pieces: the waste is narrow there."
            )
    return list(dict.fromkeys(notes))


def cut_beside(chain: Chain, side: int, cuts: Sequence[Cut]) -> int:
    """The number of the cut that a side of a chain belongs to.

    >>> cuts = [Cut(7, LineString([(0, 0), (9, 0)])), Cut(8, LineString([(9, 0), (9, 5), (0, 5)]))]
    >>> from shapely import Polygon
    >>> chain = Chain(np.array([(0, 0), (9, 0), (9, 5), (0, 5)]), False, (0, 1), (1,), Polygon())
    >>> [cut_beside(chain, side, cuts) for side in (0, 1, 2)]
    [7, 8, 8]
    """
    joints = [joint for joint in chain.joints if joint > 0]
    return cuts[chain.cuts[int(np.searchsorted(joints, side, side="right"))]].n
