"""Which lines the search for the smallest outline looks at."""

from __future__ import annotations

import numpy as np
import shapely

from trimgeo.plane.annulus import Annulus
from trimgeo.plane.cutlines import CutLines, bitangents, chords, flush_with_notches, stacked, tangents

NEAREST = 2000
"""Pairs of corners looked at for lines that touch both, of each kind."""

MOST_LINES = 600
"""Lines of one search at most: across each place those that are free for longest."""

PLACES = 160
"""Kept corners at most whose ways to the border are looked at for this."""

SAME = 1e-9
"""Lines through one corner whose directions differ by less (radians) are one."""


def fixed_lines(room: Annulus) -> CutLines:
    """Lines flush with sides of the kept ring, and those that touch two corners."""
    flush = tangents(room, np.inf)
    return stacked(
        [flush[flush.front > 0], flush_with_notches(room), chords(room), bitangents(room, NEAREST)]
    )


def thinned(room: Annulus, lines: CutLines) -> CutLines:
    """At most `MOST_LINES` lines: across the ways to the border from kept corners the longest ones."""
    if len(lines) <= MOST_LINES:
        return lines
    lines = lines[np.argsort(lines.start - lines.end, kind="stable")]
    corners = room.kept[:: -(-len(room.kept) // PLACES)]
    ways = shapely.shortest_line(shapely.points(corners), shapely.LinearRing(room.allowed))
    tips = np.swapaxes(shapely.get_coordinates(ways).reshape(-1, 2, 2), 0, 1)
    off = tips[:, None] - lines.anchor[:, None]
    beside = lines.along[:, None, 0] * off[..., 1] - lines.along[:, None, 1] * off[..., 0]
    forward = lines.along[:, None, 0] * off[..., 0] + lines.along[:, None, 1] * off[..., 1]
    with np.errstate(divide="ignore", invalid="ignore"):
        at = (forward[0] * beside[1] - forward[1] * beside[0]) / (beside[1] - beside[0])
    across = (beside[0] > 0) != (beside[1] > 0)
    across &= (at >= lines.start[:, None]) & (at <= lines.end[:, None])
    rank = np.where(across, np.cumsum(across, axis=0), len(lines)).min(axis=1)
    return lines[np.sort(np.argsort(rank, kind="stable")[:MOST_LINES])]


def distinct(lines: CutLines) -> CutLines:
    """Each line once."""
    lines = lines[np.lexsort((lines.heading, lines.place))]
    same = (np.diff(lines.place) == 0) & (np.diff(lines.heading) < SAME)
    return lines[np.flatnonzero(np.append(True, ~same)[: len(lines)])]
