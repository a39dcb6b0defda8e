"""What a round cutter leaves or overruns at the corners of the new edges."""

from __future__ import annotations

import math
from collections.abc import Container, Sequence

import numpy as np
import shapely

from trimgeo import tables
from trimgeo.cutting.courses import Course, Ground, Stop, course, ground
from trimgeo.cutting.edges import Chain
from trimgeo.cutting.reach import reach
from trimgeo.model.board import Ring
from trimgeo.model.job import Cutter, Finish
from trimgeo.model.plan import XY, Corner, Cut
from trimgeo.plane.offsets import SAME, mitre
from trimgeo.plane.rings import Floats, right_of, turns, unit

SMOOTH = 0.5
"""Degrees: a curve that meets a line, or another curve, at less is no corner."""


def corners(
    cuts: Sequence[Cut],
    chains: Sequence[Chain],
    cutter: Cutter,
    finish: Finish,
    thickness: float,
    edge: Ring,
) -> tuple[Corner, ...]:
    """Every corner between two new edges, and every one where the guide line would enter the outline again.

    Inside are the reflex ones.  A wheel stops there √(R² − (R − t − p)²) before the guide line's corner,
    and k·cot θ more where the angle θ of the waste is under 90°: of each cut that much is left on the face
    that it stands on, and what it reaches less on the other face more there.  A bit leaves a fillet of half
    its diameter on the guide line, and s more on the edge after even sanding.  At a corner on the board's
    edge a cut may run out into air: it is inside only where the run-out does not fit.  Raises as
    `trimgeo.cutting.reach.reach` does.

    >>> from trimgeo.cutting.edges import chains, new_edges
    >>> board = Ring(shapely.box(0, 0, 100, 60))
    >>> part = Ring(shapely.Polygon([(0, 0), (80, 0), (80, 20), (40, 20), (40, 60), (0, 60)]))
    >>> cuts = new_edges(part, board)
    >>> wheel, margin = Cutter(kind="wheel", kerf=1.0, diameter=38.0), Finish(sanding=0.5)
    >>> for corner in corners(cuts, chains(cuts, part), wheel, margin, 1.6, board):
    ...     print(corner.at, corner.inside, corner.stop_short and round(corner.stop_short, 2))
    (80.0, 20.0) False None
    (40.0, 20.0) True 8.68
    """
    if not chains:
        return ()
    base = ground(edge, chains, cutter, finish, thickness)
    guide = course(base, finish.sanding, base.taken)
    begins, finishes = {cut.start: cut for cut in cuts}, {cut.end: cut for cut in cuts}
    found: list[Corner] = []
    for chain in chains:
        for joint in chain.joints:
            at: XY = tuple(chain.points[joint].tolist())
            turn = float(turns(_heading(finishes[at], at, -1), _heading(begins[at], at, 0)))
            curved = finishes[at].circle or begins[at].circle
            if curved and abs(turn) < SMOOTH:
                continue
            inside = turn < 0 and _reached(at, joint, chain, base, guide, finish.sanding)
            lead = 1 / math.tan(math.radians(turn)) if inside else 0.0
            found.append(_corner(at, inside, lead, cutter, finish, thickness))
    known = {corner.at for corner in found}
    for stop in (stop for run in guide.runs for stop in run.stops):
        at, lead = _at_stop(stop, base.chains[stop.chain])
        if at not in known:
            found.append(_corner(at, True, lead, cutter, finish, thickness))
            known.add(at)
    return tuple(found)


def _corner(at: XY, inside: bool, lead: float, cutter: Cutter, finish: Finish, thickness: float) -> Corner:
    """A corner; ``lead``, per kerf: how much before the near wall the far one meets what it may not enter."""
    if not inside:
        return Corner(at, False, None, None)
    near, far = reach(cutter, thickness)
    if cutter.kind == "wheel":
        ahead = cutter.kerf * max(0.0, lead)
        return Corner(at, True, near + ahead, None, left=(ahead, ahead + near - far))
    return Corner(at, True, None, near + finish.sanding if cutter.kind == "bit" else None)


def _at_stop(stop: Stop, chain: Chain) -> tuple[XY, float]:
    """The end of the chain that a line stops at, and the lead of the far wall there."""
    x, y = chain.points[-1] if stop.at_end else chain.points[0]
    d = chain.directions[-1] if stop.at_end else -chain.directions[0]
    outward = right_of(chain.directions[-1 if stop.at_end else 0])
    across = float(stop.wall @ outward)
    return (float(x), float(y)), -float(stop.wall @ d) / across if across > SAME else 0.0


def _reached(at: XY, joint: int, chain: Chain, base: Ground, guide: Course, sanding: float) -> bool:
    """Whether the guide line gets to its corner: not where it has run out into air before."""
    point = shapely.Point(at)
    if shapely.distance(base.board.area.exterior, point) > tables.EDGE_TOLERANCE:
        return True
    n = right_of(chain.directions)
    corner = np.asarray(at) + sanding * mitre(n[[joint - 1]], n[[joint]])[0]
    return any(
        shapely.distance(shapely.LineString(run.points), shapely.Point(corner)) < SAME for run in guide.runs
    )


def impossible(
    cuts: Sequence[Cut], found: Sequence[Corner], finish: Finish, chords: Container[int] = ()
) -> tuple[str, ...]:
    """Sentences for the cuts between two inside corners along which a wheel's two stops leave it no way.

    The guide line is shorter than the cut by s·tan(φ/2) at an inside corner that turns by φ.  ``chords`` are
    the numbers of cuts that are told with their curve.

    >>> ends = [Corner((x, 0.0), True, 8.0, None) for x in (0.0, 15.0)]
    >>> impossible([Cut(3, shapely.LineString([(0, 0), (15, 0)]))], ends, Finish(sanding=0.5))
    ('Cut 3 is 15.0 mm long on the guide line, its two stops take 16.0 mm: finish it with a saw or a file.',)
    """
    stops = {corner.at: corner.stop_short for corner in found if corner.stop_short is not None}
    begins, finishes = {cut.start: cut for cut in cuts}, {cut.end: cut for cut in cuts}
    said = []
    for cut in cuts:
        if cut.start not in stops or cut.end not in stops or cut.n in chords:
            continue
        joints = [(finishes.get(cut.start), cut, cut.start), (cut, begins.get(cut.end), cut.end)]
        turning = [turns(_heading(a, at, -1), _heading(b, at, 0)) for a, b, at in joints if a and b]
        length = cut.length - finish.sanding * float(np.sum(np.tan(np.radians(np.abs(turning)) / 2)))
        taken = stops[cut.start] + stops[cut.end]
        if taken >= length:
            said.append(
                f"Cut {cut.n} is {length:.1f} mm long on the guide line, its two stops take {taken:.1f} mm: "
                "finish it with a saw or a file."
            )
    return tuple(said)


def _heading(cut: Cut, at: XY, side: int) -> Floats:
    """The direction of a cut at its start (``side`` 0) or end (-1): the tangent where it is curved."""
    xy = shapely.get_coordinates(cut.line)
    chord = unit(np.diff(xy, axis=0)[side])
    if cut.circle is None:
        return chord
    tangent = right_of(unit(np.subtract(at, cut.circle.centre)))
    return np.asarray(tangent * np.sign(tangent @ chord))
