"""The board's edge in a true-scale picture: told from its background, then fitted between pixels."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
import shapely
import shapely.affinity
from numpy.typing import NDArray
from shapely import Polygon

from trimgeo.errors import JobError
from trimgeo.model.board import Circle, Picture, Pixels, Ring
from trimgeo.plane.arcs import flatten
from trimgeo.vision.edge_doubt import Doubt, doubt_of
from trimgeo.vision.edge_ground import (
    LEAST_AREA,
    Ground,
    Told,
    board_told,
    coarse_ring,
    evened,
    evenly,
    off_ground,
    unclear,
)
from trimgeo.vision.edge_joints import joined
from trimgeo.vision.edge_measured import BLURS, CORNERS, as_measured, without_loops
from trimgeo.vision.edge_mouths import without_detours
from trimgeo.vision.edge_pads import outside, without_pads
from trimgeo.vision.edge_pieces import measured_again, squared
from trimgeo.vision.edge_profile import (
    Sight,
    blur_of,
    edge_offsets,
    sampled,
    wall_colours,
    wall_widths,
    weighing,
)
from trimgeo.vision.edge_split import split
from trimgeo.vision.ground_print import Bed, Print, Under, bed_of, under
from trimgeo.vision.holes import FoundHole, find_holes

Floats = NDArray[np.float64]
Eye = tuple[float, float, float]

_STEP = 0.15
"""Distance, mm, of the places where the edge is measured."""
MOST_ODD = 30
"""Places where an outline may be doubtful: drawn boards and photos had at most 11 where it was right."""

_WIDER = 5
"""Coarse pixels, half of them to each side, by which parts may reach further than they were seen to."""

_UNLIKE = 1.2
"""Where the outline may lie off by more than this, mm, there is no answer."""
_NEVER_LESS, _PIXELS, _COVERS = 0.07, 0.35, 1.5
"""The bound: 0.07 mm, 0.35 pixels and 1.5 times what the picture says against the worst place, from boards
0 to 29 and 400 to 499 of the bench: a part of a pixel is lost to JPEG, a median to noise."""
_SURE = 0.6
"""Confidence of holes seen from aside that are given."""
COVERAGE = 2.45
"""Of a standard uncertainty in one direction, 95 % in two (chi-square table)."""
_BESIDE_RIM, _ALONG_RIM = 0.6, 4.0
"""mm: how near to the rim of the paper below it, and over what length, an outline follows that rather than
the board."""
_EXPLAINED = 0.5
"""Share of a profile's variation that its steps explain where it is measured."""


@dataclass(frozen=True)
class Pieces:
    """Vertices (x, y, bulge), shape (n, 3), counter-clockwise, of an outline.

    ``spread`` is the standard uncertainty of its place, mm; ``odd`` are places, (k, 2), to look at.
    """

    vertices: Floats
    spread: float
    odd: Floats


@dataclass(frozen=True)
class FoundEdge:
    """The outline of the shown face, mm, counter-clockwise, and the holes in it.

    ``uncertainty`` is the standard uncertainty of the finding itself, in one direction, mm.
    """

    ring: Ring
    uncertainty: float
    holes: tuple[FoundHole, ...]
    warnings: tuple[str, ...]


def find_edge(
    picture: Picture,
    thickness: float,
    eye: Eye | None = None,
    where: str = "board edge",
    printed: Print | None = None,
) -> FoundEdge:
    """Find the edge of the face that a picture shows, and its holes.

    ``eye`` (mm) is the camera: x, y, height above the shown face; None for a scan.  Face, wall and ground
    are fitted across the edge: where the outward normal n points to the camera's foot, the wall stands out
    of the face by ``n . (eye_xy - p) t / (eye_z + t)`` (similar triangles).  ``printed`` is what is
    known to be printed on the ground.

    Raises `JobError` where no board can be told from its background or it runs out of the picture.

    >>> pixels = np.full((300, 400, 3), 235, np.uint8)
    >>> pixels[50:250, 60:340] = (60, 110, 40)
    >>> found = find_edge(Picture(10.0, (0.0, 299.0), (400, 300), lambda: pixels), 1.6)
    >>> bool(np.allclose(found.ring.polygon.bounds, (5.95, 4.95, 33.95, 24.95), atol=0.05))
    True
    """
    ring, pieces, background = find_outline(picture, thickness, eye, where, printed)
    seen = find_holes(picture, ring.polygon.buffer(-0.3), eye, thickness, background)
    # From aside a pad passes for its hole: only where the ground shows through is it surely one.
    holes = tuple(hole for hole in seen if eye is None or hole.confidence >= _SURE)
    warnings = tuple(
        f"the board's edge is uneven at ({x:.1f}, {y:.1f}) in the picture: compare it with the board"
        for x, y in pieces.odd
    )
    return FoundEdge(ring, pieces.spread, holes, warnings)


def find_outline(
    picture: Picture, thickness: float, eye: Eye | None, where: str, printed: Print | None = None
) -> tuple[Ring, Pieces, tuple[float, float, float]]:
    """`find_edge` without the holes: outline, the pieces it is made of, the ground's colour."""
    pixels = np.asarray(picture.pixels, dtype=np.uint8)
    pixels = evened(pixels) if eye is None else pixels
    per_mm = picture.pixels_per_mm
    bed = None if printed is None else bed_of(picture, pixels, printed)
    told = board_told(picture, pixels, eye is None, where, bed)
    mm = (coarse_ring(told.mask, told.scale) - picture.origin) * (1 / per_mm, -1 / per_mm)
    mm = mm[::-1] if not shapely.is_ccw(shapely.LinearRing(mm)) else mm
    blue, green, red = (float(v) for v in told.ground.colours[0])
    origin = np.array(picture.origin)
    sight, face = _face_ring(_first_sight(pixels, origin, per_mm, eye, thickness, told, bed), mm)
    face, either, pads = without_pads(sight, face)

    def measure(places: Floats, normals: Floats, reach: float) -> Floats:
        offsets, shares = edge_offsets(sight, places, normals, reach)
        return places + normals * np.where(shares > _EXPLAINED, offsets, np.nan)[:, None]

    pieces = [measured_again(piece, lambda p, n: measure(p, n, 0.35)) for piece in split(face)]
    pieces, doubtful, closed = without_detours(pieces, sight)
    either, closed = outside(closed, either), closed.union(pads)
    pieces = [measured_again(piece, lambda p, n: measure(p, n, 0.2)) for piece in pieces]
    pieces = squared(pieces)
    vertices, pieces, joints = joined(pieces, sight)
    ring, least = _ring_of(vertices), 0.0
    if ring is None:  # pieces that cross: what was measured stands for itself
        ring, vertices, joints = _as_it_is(face, where), np.empty((0, 3)), []
        least = CORNERS + BLURS * sight.blur
    polygon, uneven = as_measured(ring.polygon, face, closed, sight.blur)
    ring = Ring(polygon, ring.circles)
    doubt = doubt_of(
        sight, vertices, shapely.get_coordinates(ring.polygon.exterior)[:-1], joints, face, closed
    )
    odd = np.vstack([doubt.odd, uneven[:, :2], doubtful[:, :2]])
    if printed is not None:
        _refuse_over(ring.polygon, printed, where)
    _refuse_unlike(doubt, where)
    _refuse_either(np.vstack([doubtful, either]), where)
    _refuse_many(odd, where)
    # Of measured edge and fitted pieces either may be the one that is off.
    off = max(least, doubt.off, *(float(each[:, 2].max(initial=0.0)) for each in (doubtful, uneven, either)))
    spread = (_NEVER_LESS + _PIXELS / per_mm + _COVERS * off) / COVERAGE
    return ring, Pieces(vertices, spread, np.vstack([odd, either[:, :2]])), (blue, green, red)


def _first_sight(
    pixels: Pixels,
    origin: Floats,
    per_mm: float,
    eye: Eye | None,
    thickness: float,
    told: Told,
    bed: Bed | None,
) -> Sight:
    """What is known before the face's edge has been looked at."""
    ground = told.ground
    return Sight(
        pixels,
        origin,
        per_mm,
        eye,
        thickness,
        ground.colours,
        ground.shades,
        np.eye(3),
        ground.level,
        1.3 / per_mm,
        grain=ground.grain,
        under=None if bed is None else _under(bed, pixels, per_mm, ground),
        parts=_parts_of(told, pixels),
    )


def _parts_of(told: Told, pixels: Pixels) -> Pixels | None:
    """Where parts of the ground's colour are, and round them, 255, (rows, columns); None without any."""
    if not told.parts.any():
        return None
    size = (pixels.shape[1], pixels.shape[0])
    wider = cv2.dilate(told.parts, np.ones((_WIDER, _WIDER), np.uint8)) * 255
    return np.asarray(cv2.resize(wider, size, None, 0, 0, cv2.INTER_LINEAR), np.uint8)


def _under(bed: Bed, pixels: Pixels, per_mm: float, ground: Ground) -> Under:
    """The printed ground, and round it what is known of the ground by its colours."""
    found = under(bed, pixels, per_mm)
    beyond = bed.within == 0
    if beyond.any():
        off = off_ground(pixels[beyond][None].astype(np.float32), ground.colours, ground.shades)
        found.off[beyond] = np.clip(np.round(off[0]), 0, 255)
    return found


def _face_ring(sight: Sight, outermost: Floats) -> tuple[Sight, Floats]:
    """The face's edge along the silhouette, (n, 2), and the sight with the colours learnt there."""
    places, normals = evenly(outermost, _STEP, 1.0)
    inside = sampled(sight, places, normals, np.linspace(-1.0, -0.5, 5)).reshape(-1, 3)
    sight = replace(sight, face=np.median(inside, axis=0))
    if sight.eye is not None:  # a scanner casts no shadow worth the name
        sight = replace(sight, weigh=weighing(np.median(inside, axis=0), sight.grounds))
    places = places - normals * wall_widths(sight, places, normals)[:, None]
    face = places
    sight = replace(sight, blur=blur_of(sight, face, normals))
    sight = replace(sight, wall=wall_colours(sight, face, normals))
    for reach in (0.6, 0.4, 0.3):
        offsets, shares = edge_offsets(sight, face, normals, reach)
        good = np.isfinite(offsets) & (shares > _EXPLAINED)
        if good.sum() > 20 and reach > 0.5:
            wall = wall_colours(sight, face[good] + normals[good] * offsets[good, None], normals[good])
            sight = replace(sight, wall=wall)
        offsets = np.where(good, offsets, 0.0)
        middle = np.median([np.roll(offsets, k) for k in range(-3, 4)], axis=0)
        offsets = np.where(np.abs(offsets - middle) > 0.15, middle, offsets)
        face, normals = evenly(face + normals * offsets[:, None], _STEP, 1.0)
    return sight, face


def _refuse_over(polygon: Polygon, printed: Print, where: str) -> None:
    """Refuse an outline that runs along the rim of the paper below: there it passes for the edge."""
    rim = shapely.buffer(shapely.linearrings(printed.sheet), _BESIDE_RIM)
    along = shapely.intersection(polygon.exterior, rim)
    if along.length > _ALONG_RIM:
        x, y = along.representative_point().coords[0]
        raise JobError(
            where,
            f"at ({x:.1f}, {y:.1f}) mm in the true-scale picture the board's edge runs along the rim of the "
            "reference card's paper",
            "lay the whole board on the card and photograph it again, or give the edge's corners as points",
        )


def _refuse_unlike(doubt: Doubt, where: str) -> None:
    """Raise where the picture contradicts the outline: a piece is wrong as a whole."""
    if doubt.off > _UNLIKE:
        x, y = doubt.at
        raise JobError(
            where,
            f"the board's edge is unclear at ({x:.1f}, {y:.1f}) mm in the true-scale picture",
            "photograph it on plain ground in even light, or give the edge's corners as points",
        )


def _refuse_either(doubtful: Floats, where: str) -> None:
    """Raise where a deep detour, rows of x, y and depth, may as well be a notch as a part."""
    deepest = max(doubtful.tolist(), key=lambda each: each[2], default=[0.0, 0.0, 0.0])
    if deepest[2] > _UNLIKE:
        raise JobError(
            where,
            f"at ({deepest[0]:.1f}, {deepest[1]:.1f}) mm in the true-scale picture the board's edge has "
            f"either a notch {deepest[2]:.1f} mm deep or a part of the ground's colour",
            "photograph it on a plain ground of another colour, or give the edge's corners as points",
        )


def _refuse_many(odd: Floats, where: str) -> None:
    """Raise where the outline is doubtful at so many places, (n, 2), that it can hardly be a board's."""
    if len(odd) > MOST_ODD:
        raise JobError(
            where,
            f"the board's edge is unclear at {len(odd)} places of the picture",
            "photograph it on plain ground in even light, or give the edge's corners as points",
        )


def _ring_of(vertices: Floats) -> Ring | None:
    """The outline of vertices (x, y, bulge), (n, 3); None where it crosses itself or holds nothing."""
    if len(vertices) < 2:
        return None
    points, circles = flatten(vertices, closed=True)
    polygon = Polygon(points) if len(points) > 2 else Polygon()
    if not polygon.is_valid or polygon.area < LEAST_AREA:
        return None
    return Ring(polygon, tuple(Circle((float(x), float(y)), float(r)) for x, y, r in circles))


def _as_it_is(face: Floats, where: str) -> Ring:
    """The measured edge as an outline."""
    polygon = without_loops(face)
    if polygon.area < LEAST_AREA:
        raise unclear(where)
    return Ring(polygon)
