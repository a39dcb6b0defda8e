"""Which lines the search for the smallest outline looks at."""

from __future__ import annotations

import numpy as np

from trimgeo.plane.annulus import Annulus
from trimgeo.plane.cutlines import CutLines, bitangents, stacked, tangents

NEAREST = 2000
"""Pairs of corners looked at for lines that touch both, of each kind."""

MOST_LINES = 600
"""Lines of one search at most: across each place those that are free for longest."""

SAME = 1e-9
"""Lines through one corner whose directions differ by less (radians) are one."""


def fixed_lines(room: Annulus) -> CutLines:
    """Lines that touch two corners: flush with sides of the kept ring, and bitangents."""
    flush = tangents(room, np.inf)
    return stacked([flush[flush.front > 0], bitangents(room, NEAREST)])


def thinned(room: Annulus, lines: CutLines) -> CutLines:
    """At most `MOST_LINES`: across each side of the triangles those that are free for longest."""
    if len(lines) <= MOST_LINES:
        return lines
    lines = lines[np.argsort(lines.start - lines.end, kind="stable")]
    corners = np.array(room.triangles)
    ends = np.stack([corners, np.roll(corners, -1, axis=1)], axis=2).reshape(-1, 2)
    ends = ends[(np.array(room.neighbours).ravel() >= 0) & (ends[:, 0] < ends[:, 1])]
    points = np.array(room.points)
    x, y = lines.along[:, :1], lines.along[:, 1:]
    ox, oy = points[:, 0] - lines.anchor[:, :1], points[:, 1] - lines.anchor[:, 1:]
    beside, ahead = x * oy - y * ox, x * ox + y * oy
    one, other = beside[:, ends[:, 0]], beside[:, ends[:, 1]]
    with np.errstate(divide="ignore", invalid="ignore"):
        at = (ahead[:, ends[:, 0]] * other - ahead[:, ends[:, 1]] * one) / (other - one)
    across = ((one > 0) != (other > 0)) & (at >= lines.start[:, None]) & (at <= lines.end[:, None])
    rank = np.where(across, np.cumsum(across, axis=0), len(lines)).min(axis=1)
    return lines[np.sort(np.argsort(rank, kind="stable")[:MOST_LINES])]


def distinct(lines: CutLines) -> CutLines:
    """Each line once."""
    lines = lines[np.lexsort((lines.heading, lines.place))]
    same = (np.diff(lines.place) == 0) & (np.diff(lines.heading) < SAME)
    return lines[np.flatnonzero(np.append(True, ~same))]
