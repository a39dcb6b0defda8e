"""What a person should know before this cut: holes in its way, waste or board too thin, a bit too thick."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from shapely import LineString, Point, Polygon

from trimgeo.model.board import Hole
from trimgeo.model.job import Cutter
from trimgeo.model.plan import Cut
from trimgeo.plane.necks import READS, Finger, fingers, necks, slivers
from trimgeo.tables import EDGE_TOLERANCE

NECK = 5.0
"""A finished board narrower than this, mm, may break there, where the job names no width."""

LEAST_THICKNESS = 0.2
"""mm: a thinner board is a film, and more likely given in inches (0.063 of them are 1.6 mm)."""

MOST_WANDER = 5.0
"""mm: nobody who strays further cuts by hand."""


def crossed_holes(holes: Sequence[Hole], new_edges: Sequence[LineString]) -> tuple[str, ...]:
    """A warning for each hole that a new edge runs through.

    >>> crossed_holes([Hole("H1", (5.0, 0.4), 3.2, True)], [LineString([(0, 0), (10, 0)])])
    ('a new edge runs through hole H1: it will break out at the edge',)
    """
    edges = shapely.MultiLineString(list(new_edges))
    return tuple(
        f"a new edge runs through hole {hole.name}: it will break out at the edge"
        for hole in holes
        if edges.distance(Point(hole.at)) < hole.diameter / 2
    )


def thin_waste(cuts: Sequence[Cut], edge: Polygon, reach: float) -> tuple[str, ...]:
    """A warning for each straight cut beside which most of the waste is narrower than ``reach``, mm.

    ``reach`` is how far the kerf's outer wall lies from the finished edge, s + k: where that is off the
    board, a cutter has air on one side and wanders.

    >>> thin_waste([Cut(2, LineString([(0, 9), (0, 0)]))], shapely.box(-1, 0, 20, 9), 1.5)
    ('cut 2 takes off a strip that is mostly narrower than 1.5 mm: grind it off, or leave the edge as it is',)
    """
    said = []
    for cut in cuts:
        if cut.circle is not None:
            continue
        start, end = np.asarray(cut.start), np.asarray(cut.end)
        along = (end - start) / np.hypot(*(end - start))
        wall = np.array([start, end]) + reach * np.array([along[1], -along[0]])
        if shapely.intersection(LineString(wall), edge).length < cut.length / 2:
            said.append(
                f"cut {cut.n} takes off a strip that is mostly narrower than {reach:.1f} mm: grind it off, "
                "or leave the edge as it is"
            )
    return tuple(said)


def odd_bit(cutter: Cutter) -> tuple[str, ...]:
    """A warning where a bit's diameter and its kerf differ: a bit cuts as wide as it is.

    >>> odd_bit(Cutter(kind="bit", kerf=1.0, diameter=2.0))
    ('the bit is 2.00 mm thick and its kerf is given as 1.00 mm: a bit cuts at least as wide as it is',)
    """
    if cutter.kind != "bit" or cutter.diameter is None or abs(cutter.diameter - cutter.kerf) < 0.01:
        return ()
    return (
        f"the bit is {cutter.diameter:.2f} mm thick and its kerf is given as {cutter.kerf:.2f} mm: "
        "a bit cuts at least as wide as it is",
    )


def odd_lengths(cutter: Cutter, thickness: float) -> tuple[str, ...]:
    """Warnings for lengths, mm, that hardly anybody means: such as a board's thickness in inches.

    >>> odd_lengths(Cutter(kind="wheel", kerf=1.0, diameter=38.0), 0.063)
    ('the board is 0.063 mm thick: is that in inches? lengths are millimetres, 25.4 to an inch',)
    """
    said = []
    if thickness < LEAST_THICKNESS:
        said.append(
            f"the board is {thickness:g} mm thick: is that in inches? "
            "lengths are millimetres, 25.4 to an inch"
        )
    if cutter.kind == "wheel" and cutter.diameter is not None and cutter.kerf > cutter.diameter / 2:
        said.append(
            f"the kerf is {cutter.kerf:g} mm, more than half the wheel's diameter of {cutter.diameter:g} mm: "
            "it is the width of the cut, about the wheel's thickness"
        )
    if cutter.wander > MOST_WANDER:
        said.append(f"the cutter strays by {cutter.wander:g} mm: `wander` is how far the hand strays, in mm")
    return tuple(said)


def weak_places(finished: Polygon, cuts: Sequence[Cut], neck: float) -> tuple[str, ...]:
    """A warning for each neck of the finished board under ``neck`` mm, each finger and sharp tip that is cut.

    Fingers and tips that the board had before are left alone; a neck may break wherever it is.

    >>> board = shapely.box(0, 0, 40, 20) - shapely.box(19, 3.2, 21, 20)
    >>> for text in weak_places(board, [Cut(1, LineString([(19, 3.2), (21, 3.2)]))], 5.0):
    ...     print(text.split(":")[0])
    the finished board is only 3.20 mm wide near (19.00, 1.60), between cut 1 and the board's own edge
    """
    edges = shapely.union_all([cut.line for cut in cuts])
    tips = [tip for tip in slivers(finished) if edges.distance(Point(tip.at)) < EDGE_TOLERANCE]
    ends = shapely.MultiPoint([tip.at for tip in tips])
    strips = [
        strip
        for strip in fingers(finished, neck)
        if _is_cut(strip, edges) and not strip.area.dwithin(ends, EDGE_TOLERANCE)
    ]
    thin = (
        f"the finished board is only {each.width:.2f} mm wide near {_place(each.at)}, between "
        f"{_walls(each.ends, cuts)}: it may break there; leave more of it standing, or lower `neck` in "
        "[outline] if that is strong enough"
        for each in necks(finished, neck - READS)
    )
    slender = (
        f"a strip {strip.width:.2f} mm wide and {strip.length:.1f} mm long stands out from the finished "
        f"board near {_place(strip.at)}: it may break off; cut it off, or leave more of it standing"
        for strip in strips
    )
    sharp = (
        f"the finished board ends in a tip of {tip.angle:.0f} degrees at {_place(tip.at)}: "
        "it breaks off; cut it blunt"
        for tip in tips
    )
    return (*thin, *slender, *sharp)


def _is_cut(strip: Finger, edges: shapely.Geometry) -> bool:
    """Whether a wall of a finger is a new edge."""
    along = shapely.intersection(shapely.buffer(strip.area, EDGE_TOLERANCE), edges).length
    return bool(along > strip.width / 2)


def _walls(ends: Sequence[tuple[float, float]], cuts: Sequence[Cut]) -> str:
    """What a neck lies between, in words."""
    lines = np.array([cut.line for cut in cuts], dtype=object)
    names = []
    for end in ends:
        apart = shapely.distance(lines, Point(end)) if cuts else np.array([np.inf])
        near = int(np.argmin(apart))
        names.append(f"cut {cuts[near].n}" if apart[near] < EDGE_TOLERANCE else "the board's own edge")
    one, other = sorted(names)
    return f"{one} and {other}" if one != other else f"two sides of {one}"


def _place(at: tuple[float, float]) -> str:
    return f"({at[0]:.2f}, {at[1]:.2f})"


def short_cuts(cuts: Sequence[Cut], kerf: float) -> tuple[str, ...]:
    """A warning for each cut that is shorter than the kerf is wide, mm: no cutter makes it.

    >>> short_cuts([Cut(1, LineString([(0, 0), (0, 9)])), Cut(2, LineString([(0, 9), (0.5, 9)]))], 1.0)
    ('cut 2 is 0.50 mm long and the kerf 1.00 mm wide: file it, or let the cuts beside it meet',)
    """
    return tuple(
        f"cut {cut.n} is {cut.length:.2f} mm long and the kerf {kerf:.2f} mm wide: file it, "
        "or let the cuts beside it meet"
        for cut in cuts
        if cut.length < kerf
    )
