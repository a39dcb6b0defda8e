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
from trimgeo.vision.edge_pieces import Pieces, fitted_pieces
from trimgeo.vision.holes import FoundHole, find_holes

Floats = NDArray[np.float64]
Eye = tuple[float, float, float]

_COARSE = 5.0
"""Pixels per mm in which the board is told from its background."""
_STEP = 0.15
"""Distance, mm, of the places where the edge is measured."""
_REACH = 0.9
"""How far, mm, to both sides of the coarse edge it is looked for."""
_NARROW = 0.5
"""The same once the edge's normal is known."""
_OFF = 0.3
"""Measured points further than this, mm, from the outline are not explained by it: corners blur by less."""
_SCANNED, _FROM_ASIDE, _UNEVEN, _ODD = 0.16, 0.35, 0.4, 0.4
"""Least standard uncertainties, mm, of the finding on a lid, on plain ground seen from aside, on ground of
several colours or grain, and where stretches are unexplained: from drawn boards, whose worst place was off
by 0.36, 0.9 and 1.05 mm (fillets beside notches, the card's squares, shadows on a table)."""
_UNLIKE = 0.9
"""Outline and measured points further apart than this, mm: no answer."""
_SURE = 0.6
"""Confidence of holes seen from aside that are given."""
_SHOWN = 14.0
"""Grey levels by which the board differs from the ground where its edge shows."""
_LEAST_AREA = 100.0
"""A board smaller than this, mm², is a speck of something else."""


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
) -> FoundEdge:
    """Find the edge of the face that a picture shows, and its holes.

    ``eye`` (mm) is the camera: x, y, height above the shown face; None for a scan.  What is measured is
    the silhouette, because only the background's colour is known; where the outward normal n
    points to the camera's foot, the wall stands out of the face by ``n . (eye_xy - p) t / (eye_z + t)``
    (similar triangles), and that is taken off.

    Raises `JobError` where no board can be told from its background or it runs out of the picture.

    >>> pixels = np.full((300, 400, 3), 235, np.uint8)
    >>> pixels[50:250, 60:340] = (60, 110, 40)
    >>> found = find_edge(Picture(10.0, (0.0, 299.0), (400, 300), lambda: pixels), 1.6)
    >>> bool(np.allclose(found.ring.polygon.bounds, (5.95, 4.95, 33.95, 24.95), atol=0.05))
    True
    """
    ring, pieces, background = find_outline(picture, thickness, eye, where)
    seen = find_holes(picture, ring.polygon.buffer(-0.3), eye, thickness, background)
    # From aside a pad passes for its hole: only where the ground shows through is it surely one.
    holes = tuple(hole for hole in seen if eye is None or hole.confidence >= _SURE)
    warnings = tuple(
        f"the board's edge is uneven at ({x:.1f}, {y:.1f}) in the picture: compare it with the board"
        for x, y in pieces.odd
    )
    return FoundEdge(ring, pieces.spread, holes, warnings)


def find_outline(
    picture: Picture, thickness: float, eye: Eye | None, where: str
) -> tuple[Ring, Pieces, tuple[float, float, float]]:
    """`find_edge` without the holes: outline, the pieces it is made of, the ground's colour."""
    pixels = np.asarray(picture.pixels, dtype=np.uint8)
    per_mm = picture.pixels_per_mm
    mask, scale, centres, shares = _board_mask(picture, pixels, where)
    points, _, _ = _measured(pixels, _coarse_ring(mask, scale), per_mm, centres)
    flip = np.array([1.0, -1.0])
    mm = (points - picture.origin) * flip / per_mm
    mm = mm[::-1] if not shapely.is_ccw(shapely.LinearRing(mm)) else mm

    def measure(places: Floats, normals: Floats) -> Floats:
        at, out = places * flip * per_mm + picture.origin, normals * flip
        return places + normals * (_offsets(pixels, at, out, _NARROW * per_mm, centres) / per_mm)[:, None]

    def to_face(places: Floats, normals: Floats) -> Floats:
        if eye is None:
            return places
        # The far face is seen as the shown one, smaller by similar triangles about the camera's foot.
        foot, size = np.array(eye[:2]), eye[2] / (eye[2] + thickness)
        toward = ((foot - places) * normals).sum(axis=1) > 0
        return np.where(toward[:, None], foot + (places - foot) / size, places)

    pieces = fitted_pieces(mm, measure, to_face)
    ring = _ring_of(pieces, where)
    seen = ring.polygon
    if eye is not None:
        size = eye[2] / (eye[2] + thickness)
        seen = seen.union(shapely.affinity.scale(seen, size, size, origin=eye[:2]))
    odd = np.vstack([pieces.odd, _unexplained(seen, mm)])
    _refuse_unlike(seen, mm, where)
    least = _SCANNED if eye is None else _FROM_ASIDE
    least = max(least, _ODD if len(odd) else 0.0, 0.0 if _even(pixels, scale) else _UNEVEN)
    pieces = replace(pieces, odd=odd, spread=max(pieces.spread, least))
    ground = centres[int(np.argmax(shares))]
    return ring, pieces, (float(ground[0]), float(ground[1]), float(ground[2]))


def _even(pixels: NDArray[np.uint8], scale: float) -> bool:
    """Whether the picture's border is of one colour, light falling off over it by a tenth apart."""
    small = cv2.resize(pixels, None, fx=scale / 2, fy=scale / 2, interpolation=cv2.INTER_AREA)
    band = max(2, round(0.03 * min(small.shape[:2])))
    grey = small.astype(np.float32).mean(axis=2)
    border = np.concatenate(
        [part.ravel() for part in (grey[:band], grey[-band:], grey[:, :band], grey[:, -band:])]
    )
    return float(border.std()) < 0.05 * float(border.mean()) + 2.5


def _refuse_unlike(seen: shapely.Geometry, points: Floats, where: str) -> None:
    """Raise where the found outline and the measured points lie far apart: a piece is wrong as a whole."""
    far = shapely.distance(shapely.boundary(seen), shapely.points(points))
    edge = shapely.get_coordinates(shapely.segmentize(shapely.boundary(seen), 0.3))
    back = shapely.distance(shapely.LinearRing(points), shapely.points(edge))
    x, y = points[int(np.argmax(far))] if far.max() > back.max() else edge[int(np.argmax(back))]
    if max(far.max(), back.max()) > _UNLIKE:
        raise JobError(
            where,
            f"the board's edge is unclear at ({x:.1f}, {y:.1f}) mm in the true-scale picture",
            "photograph it on plain ground in even light, or give the edge's corners as points",
        )


def _unexplained(seen: shapely.Geometry, points: Floats) -> Floats:
    """Places, (k, 2), where measured points lie off the silhouette that the found outline would have."""
    off = shapely.distance(shapely.boundary(seen), shapely.points(points)) > _OFF
    starts = np.flatnonzero(off & ~np.roll(off, 1))
    return points[starts]


def _ring_of(pieces: Pieces, where: str) -> Ring:
    if len(pieces.vertices) < 2:
        raise _unclear(where)
    points, circles = flatten(pieces.vertices, closed=True)
    polygon = Polygon(points) if len(points) > 2 else Polygon()
    if not polygon.is_valid or polygon.area < _LEAST_AREA:
        raise _unclear(where)
    return Ring(polygon, tuple(Circle((float(x), float(y)), float(r)) for x, y, r in circles))


def _unclear(where: str) -> JobError:
    return JobError(
        where,
        "no board can be told from its background in this picture",
        "photograph it on a plain ground of another colour, or give the edge's corners as points",
    )


def _board_mask(
    picture: Picture, pixels: Pixels, where: str
) -> tuple[NDArray[np.uint8], float, Floats, Floats]:
    """The board as 1 at a coarse scale, that scale, and the ground's colours with their shares."""
    scale = min(1.0, _COARSE / picture.pixels_per_mm)
    small = np.asarray(cv2.resize(pixels, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA), np.uint8)
    small = np.asarray(cv2.medianBlur(small, 3), np.uint8)
    centres, shares = _ground_colours(small)
    off = _off_ground(small.astype(np.float32), centres)
    level = max(22.0, 0.5 * cv2.threshold(np.minimum(off, 255).astype(np.uint8), 0, 1, cv2.THRESH_OTSU)[0])
    mask = (off > level).astype(np.uint8)
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (3, 3))
    closed = cv2.morphologyEx(mask, cv2.MORPH_CLOSE, disc)
    mask = np.asarray(cv2.morphologyEx(closed, cv2.MORPH_OPEN, disc), np.uint8)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=4)
    if count < 2:
        raise _unclear(where)
    chosen = 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA]))
    left, top, wide, tall, area = (int(v) for v in stats[chosen])
    if area / (picture.pixels_per_mm * scale) ** 2 < _LEAST_AREA:
        raise _unclear(where)
    if left <= 1 or top <= 1 or left + wide >= mask.shape[1] - 1 or top + tall >= mask.shape[0] - 1:
        raise JobError(
            where,
            "the board, or something of its colour, runs out of the picture",
            "photograph the whole board with ground around it, or give the edge's corners as points",
        )
    return (labels == chosen).astype(np.uint8), scale, centres, shares


def _ground_colours(small: Pixels) -> tuple[Floats, Floats]:
    """Up to three colours of the picture's border and their shares."""
    band = max(3, round(0.03 * min(small.shape[:2])))
    strips = [small[:band], small[-band:], small[:, :band], small[:, -band:]]
    border = np.vstack([strip.reshape(-1, 3) for strip in strips]).astype(np.float32)[::3]
    cv2.setRNGSeed(0)
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 20, 1.0)
    _, label, centres = cv2.kmeans(border, 3, np.empty((0, 0), np.int32), stop, 2, cv2.KMEANS_PP_CENTERS)
    shares = np.bincount(label.ravel(), minlength=3) / len(border)
    kept = shares > 0.05
    return centres[kept].astype(np.float64), shares[kept]


def _off_ground(small: NDArray[np.float32], centres: Floats) -> NDArray[np.float32]:
    """Distance in colour from the ground's colours, their shades, and what lies between two of them."""
    ends = [(colour * 0.55, colour * 1.08) for colour in centres]
    ends += [(a, b) for n, a in enumerate(centres) for b in centres[n + 1 :]]
    nearest = np.full(small.shape[:2], np.inf, np.float32)
    for a, b in ends:
        way = (b - a).astype(np.float32)
        start = a.astype(np.float32)
        share = np.clip((small - start) @ way / max(float(way @ way), 1.0), 0, 1)
        off = small - start - share[..., None] * way
        nearest = np.minimum(nearest, np.sqrt((off * off).sum(axis=2)))
    return nearest


def _coarse_ring(mask: NDArray[np.uint8], scale: float) -> Floats:
    """The mask's outer contour in pixels of the picture, (n, 2), smoothed, evenly spaced."""
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    ring = max(contours, key=len)[:, 0, :].astype(np.float64)
    return np.asarray((ring + 0.5) / scale - 0.5)


def _measured(pixels: Pixels, coarse: Floats, per_mm: float, centres: Floats) -> tuple[Floats, Floats, float]:
    """Edge points and outward normals, (n, 2), in pixels, and the scatter along the edge, mm."""
    ring = coarse
    for reach in (_REACH, 0.6 * _REACH):
        places, normals = _evenly(ring, _STEP * per_mm, per_mm)
        offsets = _offsets(pixels, places, normals, reach * per_mm, centres)
        good = np.isfinite(offsets)
        offsets = np.interp(np.arange(len(offsets)), np.flatnonzero(good), offsets[good], period=len(offsets))
        middle = np.median([np.roll(offsets, k) for k in range(-3, 4)], axis=0)
        rough = offsets - middle
        offsets = np.where(np.abs(rough) > 0.15 * per_mm, middle, offsets)
        ring = places + normals * offsets[:, None]
    spread = 1.4826 * float(np.median(np.abs(rough))) / per_mm
    return ring, normals, spread


def _evenly(ring: Floats, step: float, per_mm: float) -> tuple[Floats, Floats]:
    """Points along a ring a step apart and their outward normals, both (n, 2), smoothed over half a mm."""
    line = shapely.LinearRing(ring)
    count = max(16, int(line.length / step))
    points = shapely.get_coordinates(
        shapely.line_interpolate_point(line, np.arange(count) * line.length / count)
    )
    width = max(1, round(0.35 * per_mm / step))
    smooth = np.mean([np.roll(points, k, axis=0) for k in range(-width, width + 1)], axis=0)
    along = np.roll(smooth, -1, axis=0) - np.roll(smooth, 1, axis=0)
    along /= np.maximum(np.hypot(*along.T), 1e-9)[:, None]
    outward = np.column_stack([along[:, 1], -along[:, 0]])
    return points, outward if shapely.is_ccw(line) else -outward


def _offsets(pixels: Pixels, places: Floats, normals: Floats, reach: float, centres: Floats) -> Floats:
    """How far along its normal, pixels, the outermost strong step of colour lies; NaN where none does."""
    along = np.arange(-reach, reach + 0.26, 0.5)
    x = (places[:, :1] + normals[:, :1] * along).astype(np.float32)
    y = (places[:, 1:] + normals[:, 1:] * along).astype(np.float32)
    profile = _sampled(pixels, x, y)
    profile = np.mean([np.roll(profile, k, axis=0) for k in (-1, 0, 1)], axis=0)
    change = np.linalg.norm(profile[:, 4:] - profile[:, :-4], axis=2)
    # Against the ground's own colours a square of the card, or a shadow, is no step.
    off = np.pad(_off_ground(profile.astype(np.float32), centres), ((0, 0), (6, 6)), mode="edge")
    inner, outer = off[:, 2:-14], off[:, 14:-2]
    shown = (inner - outer > _SHOWN) & (outer < 0.5 * inner)
    middle = along[2:-2]
    strongest = np.where(shown, change, 0).max(axis=1)
    peak = np.zeros(change.shape, bool)
    peak[:, 1:-1] = (change[:, 1:-1] >= change[:, :-2]) & (change[:, 1:-1] > change[:, 2:])
    peak &= shown & (change > np.maximum(0.3 * strongest, 12.0)[:, None])
    last = change.shape[1] - 1 - np.argmax(peak[:, ::-1], axis=1)
    last = np.clip(last, 1, change.shape[1] - 2)
    row = np.arange(len(places))
    a, b, c = change[row, last - 1], change[row, last], change[row, last + 1]
    bend = a - 2 * b + c
    shift = np.where(bend < 0, 0.5 * (a - c) / np.where(bend < 0, bend, 1), 0.0)
    found = middle[last] + 0.5 * np.clip(shift, -1, 1)
    return np.where(peak.any(axis=1), found, np.nan)


def _sampled(pixels: Pixels, x: NDArray[np.float32], y: NDArray[np.float32]) -> Floats:
    """Colours between pixels, (n, m, 3), in pieces: the table of positions has a limited height."""
    parts = [
        cv2.remap(
            pixels, x[n : n + 20000], y[n : n + 20000], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        )
        for n in range(0, len(x), 20000)
    ]
    return np.vstack(parts).astype(np.float64)
