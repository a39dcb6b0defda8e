"""A renderer of boards with a line drawn on them, its place known: written apart from the package.

Everything is laid out in mm (x right, y up) and drawn at twice the pixels of the picture, with numpy, cv2 and
shapely alone.  The truth is the path that the middle of the pen took.
"""

from __future__ import annotations

import itertools
import sys
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import shapely
from shapely import LineString, MultiLineString, Point, Polygon, box
from shapely.affinity import rotate, translate

if str(Path(__file__).parent) not in sys.path:
    sys.path.insert(0, str(Path(__file__).parent))

from drawn_surface import OVER, Canvas, copper, part, parts, silk

BOARDS = {  # blue, green, red
    "green": (62, 104, 36),
    "dark green": (48, 66, 22),
    "blue": (124, 70, 26),
    "red": (38, 30, 138),
    "black": (36, 34, 32),
    "white": (218, 222, 224),
}
INKS = {
    "black": (28, 26, 28),
    "red": (42, 34, 196),
    "blue": (178, 62, 34),
    "silver": (190, 192, 190),
    "white": (236, 236, 232),
    "orange": (30, 120, 236),
}
FITTING = {
    "green": ("black", "red", "blue", "silver", "white", "orange"),
    "dark green": ("red", "silver", "white", "orange", "blue"),
    "blue": ("black", "red", "silver", "white", "orange"),
    "red": ("black", "blue", "silver", "white"),
    "black": ("silver", "white", "red", "orange"),
    "white": ("black", "red", "blue"),
}


@dataclass(frozen=True, eq=False)
class DrawnBoard:
    """A picture with what is true of it, mm; ``style`` is of each drawn side: straight or free."""

    seed: int
    pixels: np.ndarray
    pixels_per_mm: float
    origin: tuple[float, float]
    edge: Polygon
    keep: tuple[Polygon, ...]
    ring: Polygon
    corners: np.ndarray
    drawn: MultiLineString
    free: MultiLineString
    pen_width: float
    closed: bool
    near: np.ndarray
    told: str


def _board(rng) -> Polygon:
    width, height = rng.uniform(60, 160), rng.uniform(45, 100)
    shape = box(0, 0, width, height)
    if rng.random() < 0.3:
        x, y = rng.uniform(0.2, 0.7) * width, rng.uniform(4, 9)
        shape = shape.difference(box(x, -1, x + rng.uniform(6, 15), y))
    return shapely.orient_polygons(shape)


def _wanted(rng, edge: Polygon, closed: bool) -> Polygon:
    """A polygon of 3 to 8 corners: inside the board, or sticking out of it where strokes run edge to edge."""
    left, low, right, high = edge.bounds
    size = np.array([right - left, high - low])
    for _ in range(4000):
        count = rng.integers(3, 9)
        if closed:
            turn = np.sort(rng.uniform(0, 2 * np.pi, count))
            reach = rng.uniform(0.45, 1.0, count)
            square = np.maximum(np.abs(np.cos(turn)), np.abs(np.sin(turn)))
            at = np.column_stack([np.cos(turn), np.sin(turn)]) * (reach / square)[:, None]
            shape = Polygon(at * (size / 2 - 3.0) + size / 2)
            if rng.random() < 0.35:
                a, b = rng.uniform(0.05, 0.25, 2), rng.uniform(0.75, 0.95, 2)
                shape = box(*(a * size), *(b * size))
                c = rng.uniform(0.4, 0.7, 2) * size
                shape = shape.difference(box(*c, *size)) if rng.random() < 0.6 else shape
        else:
            shape = edge
            for _ in range(rng.integers(1, 3)):
                shape = _cut_once(rng, shape, size)
        if not isinstance(shape, Polygon) or not shape.is_valid or shape.interiors:
            continue
        shape = shapely.orient_polygons(shape)
        if _drawable(shape, edge, closed):
            return shape
    raise RuntimeError("no shape")


def _cut_once(rng, shape: Polygon, size) -> Polygon:
    """The board less a piece that a stroke with 0 to 2 corners parts from it."""
    kind = rng.integers(0, 3)
    centre = np.array([0.5, 0.5]) * size
    if kind == 0:
        far = box(-400, 0, 400, 400)
        waste = translate(rotate(far, rng.uniform(0, 360), origin=(0, 0)), *centre)
        direction = np.array(waste.centroid.coords[0]) - centre
        direction /= np.linalg.norm(direction)
        waste = translate(waste, *(direction * rng.uniform(0.1, 0.3) * size.min()))
    elif kind == 1:
        corner = rng.uniform(0.35, 0.75, 2) * size
        waste = translate(box(0, 0, 400, 400), *corner)
        waste = rotate(waste, int(rng.integers(0, 4)) * 90 + rng.uniform(-8, 8), origin=tuple(centre))
    else:
        corner = np.array([rng.uniform(0.5, 0.7), rng.uniform(0.2, 0.4)]) * size
        waste = box(*corner, 400, corner[1] + rng.uniform(0.25, 0.5) * size[1])
        waste = rotate(waste, int(rng.integers(0, 2)) * 180 + rng.uniform(-6, 6), origin=tuple(centre))
    return shape.difference(waste)


def _drawable(shape: Polygon, edge: Polygon, closed: bool) -> bool:
    if not 0.25 * edge.area < shape.area < 0.9 * edge.area:
        return False
    at = np.array(shape.exterior.coords[:-1])
    new = shape.exterior.difference(edge.exterior.buffer(0.01))
    new = shapely.line_merge(new) if new.geom_type == "MultiLineString" else new
    if closed and shape.exterior.distance(edge.exterior) < 2.0:
        return False
    pieces = list(getattr(new, "geoms", [new]))
    if any(piece.length < 15 for piece in pieces):
        return False
    if len(pieces) > 1 and min(a.distance(b) for a in pieces for b in pieces if a is not b) < 6:
        return False
    before, after = at - np.roll(at, 1, 0), np.roll(at, -1, 0) - at
    sharp = np.einsum("ij,ij->i", before, after) / np.hypot(*before.T) / np.hypot(*after.T)
    on_edge = shapely.distance(shapely.points(at), edge.exterior) < 1e-6
    drawn = ~on_edge
    lengths = np.hypot(*after.T)
    touched = drawn | np.roll(drawn, -1)
    if (lengths[touched] < 9).any() or (sharp[drawn] < -0.75).any() or (sharp[drawn] > 0.94).any():
        return False
    thin = shape.buffer(-5)
    return isinstance(thin, Polygon) and not thin.is_empty


def _wobbled(rng, a, b, most) -> np.ndarray:
    """A free-hand side from a to b: it starts and ends where it should and strays in between."""
    length = float(np.hypot(*(b - a)))
    along = np.linspace(0, 1, max(8, int(length / 0.1)))
    stray = np.zeros_like(along)
    for _ in range(4):
        wave = rng.uniform(7, 40)
        stray += rng.uniform(0.3, 1.0) * np.sin(2 * np.pi * along * length / wave + rng.uniform(0, 6.28))
    fade = np.clip(np.minimum(along, 1 - along) * length / 4.0, 0, 1)
    stray *= fade * fade * (3 - 2 * fade)
    stray *= most / max(float(np.abs(stray).max()), 1e-9)
    normal = np.array([-(b - a)[1], (b - a)[0]]) / length
    return a + along[:, None] * (b - a) + stray[:, None] * normal


def _pen_path(rng, shape: Polygon, edge: Polygon, hand: str):
    """The sides as the pen took them, and whether each is drawn and free."""
    at = np.array(shape.exterior.coords)
    sides = []
    for a, b in itertools.pairwise(at):
        middle = Point((a + b) / 2)
        drawn = middle.distance(edge.exterior) > 0.01
        free = drawn and (hand == "free" or (hand == "mixed" and rng.random() < 0.5))
        sides.append((_wobbled(rng, a, b, rng.uniform(0.25, 0.9)) if free else np.array([a, b]), drawn, free))
    return sides


def _ink_mask(rng, canvas, strokes, width, edge):
    """How much ink lies where: strokes with a slightly ragged edge, gaps and thin places."""
    mask = np.zeros(canvas.pixels.shape[:2], np.uint8)
    for points in strokes:
        shape = LineString(points).buffer(width / 2, quad_segs=6)
        for piece in getattr(shape, "geoms", [shape]):
            rings = [canvas.at(r.coords[:-1]) for r in (piece.exterior, *piece.interiors)]
            cv2.fillPoly(mask, rings, 255, cv2.LINE_AA, 4)
    on_board = np.zeros_like(mask)
    cv2.fillPoly(on_board, [canvas.at(edge.exterior.coords[:-1])], 255, cv2.LINE_8, 4)
    mask = cv2.bitwise_and(mask, on_board)
    small = (max(2, int(mask.shape[1] / canvas.scale / 0.5)), max(2, int(mask.shape[0] / canvas.scale / 0.5)))
    fine = cv2.resize(rng.normal(0, 1, small[::-1]).astype(np.float32), mask.shape[::-1], interpolation=3)
    return mask.astype(np.float32) / 255 * np.clip(0.93 + 0.07 * fine, 0.6, 1.0)


def _gapped(rng, points, gaps):
    """The stroke without ``gaps`` pieces of it: the pen skipped."""
    line = LineString(points)
    for _ in range(gaps):
        middle, half = rng.uniform(0.15, 0.85) * line.length, rng.uniform(0.3, 1.6)
        gone = Point(line.interpolate(middle).coords[0]).buffer(half)
        left = line.difference(gone)
        parts = list(getattr(left, "geoms", [left]))
        if len(parts) == 2:
            return [np.array(parts[0].coords), *_gapped(rng, np.array(parts[1].coords), 0)]
    return [np.array(line.coords)]


def _strokes(rng, sides, edge):
    """What the pen drew: sides with the gaps of the pen, past the corner or short of it by a little."""
    strokes = []
    for points, drawn, free in sides:
        if not drawn:
            continue
        points = points.copy()
        if not free:
            way = (points[1] - points[0]) / np.hypot(*(points[1] - points[0]))
            points[0] = points[0] - way * rng.uniform(-0.4, 1.2)
            points[1] = points[1] + way * rng.uniform(-0.4, 1.2)
            for end, sign in ((0, -1), (1, 1)):  # at the board edge the pen runs off it
                if Point(points[end]).distance(edge.exterior) < 1.5:
                    points[end] = points[end] + sign * way * 2.0
        strokes += _gapped(rng, points, int(rng.random() < 0.35))
    return strokes


def _lens(rng, fine, ppm):
    """Uneven light, glare, blur, noise and JPEG: from the fine drawing to the picture's pixels."""
    rows, columns = fine.shape[0] // OVER, fine.shape[1] // OVER
    pixels = cv2.resize(fine, (columns, rows), interpolation=cv2.INTER_AREA).astype(np.float32)
    y, x = np.mgrid[0:rows, 0:columns].astype(np.float32)
    slope = rng.uniform(-0.18, 0.18, 2)
    pixels *= (1 + slope[0] * (x / columns - 0.5) + slope[1] * (y / rows - 0.5))[..., None]
    for _ in range(rng.integers(0, 3)):
        cx, cy, r = rng.uniform(0, columns), rng.uniform(0, rows), rng.uniform(1.5, 7) * ppm
        spot = np.exp(-(((x - cx) / r) ** 2 + ((y - cy) / (r * rng.uniform(0.4, 1))) ** 2))
        pixels += (rng.uniform(80, 260) * spot)[..., None]
    pixels = cv2.GaussianBlur(pixels, (0, 0), rng.uniform(0.3, 1.1))
    pixels += rng.normal(0, rng.uniform(1, 5), pixels.shape).astype(np.float32)
    pixels = np.clip(pixels, 0, 255).astype(np.uint8)
    _, coded = cv2.imencode(".jpg", pixels, [cv2.IMWRITE_JPEG_QUALITY, int(rng.integers(60, 96))])
    return cv2.imdecode(coded, cv2.IMREAD_COLOR)


def _near(rng, ring_corners, most):
    turn, reach = rng.uniform(0, 2 * np.pi, len(ring_corners)), most * np.sqrt(rng.random(len(ring_corners)))
    return ring_corners + np.column_stack([np.cos(turn), np.sin(turn)]) * reach[:, None]


def drawn_board(seed: int) -> DrawnBoard:
    """The board of a seed: always the same."""
    rng = np.random.default_rng(seed)
    closed, hand = bool(rng.random() < 0.5), ("straight", "free", "mixed")[rng.integers(0, 3)]
    edge = _board(rng)
    shape = _wanted(rng, edge, closed)
    sides = _pen_path(rng, shape, edge, hand)
    ring = shapely.orient_polygons(Polygon(np.vstack([points[:-1] for points, _, _ in sides])))
    drawn = MultiLineString([points for points, on, _ in sides if on])
    free = MultiLineString([points for points, _, is_free in sides if is_free])
    pen_width = float(np.exp(rng.uniform(np.log(0.4), np.log(2.2))))
    colour = list(BOARDS)[rng.integers(0, len(BOARDS))]
    ink = FITTING[colour][rng.integers(0, len(FITTING[colour]))]
    _left, _low, right, high = edge.bounds
    ppm = float(np.exp(rng.uniform(np.log(7), np.log(24))))
    ppm = min(ppm, float(np.sqrt(9e6 / ((right + 16) * (high + 16)))))
    size = (int((right + 16) * ppm), int((high + 16) * ppm))
    origin = (8 * ppm, (high + 8) * ppm)
    ground = [(205, 208, 210), (60, 70, 84), (28, 26, 26)][rng.integers(0, 3)]
    canvas = Canvas(size, ppm, origin, ground)
    canvas.area(edge, BOARDS[colour])
    copper(rng, canvas, edge, BOARDS[colour])
    silk(rng, canvas, edge, (225, 228, 226) if colour != "white" else (60, 60, 60))
    cut = list(parts(rng, canvas, edge, drawn, int(rng.integers(0, 3))))
    amount = _ink_mask(rng, canvas, _strokes(rng, sides, edge), pen_width, edge) * rng.uniform(0.85, 1.0)
    canvas.pixels = (
        canvas.pixels * (1 - amount[..., None]) + amount[..., None] * np.float32(INKS[ink])
    ).astype(np.uint8)
    for body in cut:
        part(rng, canvas, body, 0.0)
    pixels = _lens(rng, canvas.pixels, ppm)
    corners = np.array(list(shape.exterior.coords[:-1]))
    is_drawn = shapely.distance(shapely.points(corners), drawn) < 1e-6
    keep = _keep(rng, ring)
    way = "closed" if closed else "edge to edge"
    told = f"{colour}, {ink} {pen_width:.2f} mm, {hand}, {way}, {ppm:.1f} px/mm"
    near = _near(rng, corners, 2.5)
    return DrawnBoard(
        seed,
        pixels,
        ppm,
        origin,
        edge,
        keep,
        ring,
        corners[is_drawn],
        drawn,
        free,
        pen_width,
        closed,
        near,
        told,
    )


def _keep(rng, ring: Polygon) -> tuple[Polygon, ...]:
    inner = ring.buffer(-3)
    if inner.is_empty:
        inner = ring.buffer(-1)
    left, low, right, high = inner.bounds
    found = []
    for _ in range(200):
        x, y = rng.uniform(left, right), rng.uniform(low, high)
        shape = box(x, y, x + rng.uniform(2, 12), y + rng.uniform(2, 8))
        if inner.contains(shape):
            found.append(shape)
        if len(found) == 3:
            break
    return tuple(found) or (inner.representative_point().buffer(0.5),)
