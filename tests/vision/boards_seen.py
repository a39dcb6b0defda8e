"""Draws a board as a straightened picture shows it, from its geometry alone: no code of the package.

Coverage of pixels is exact along rows and sampled on eight lines across; the visible wall is the
board's cross sections from the far face up, each where similar triangles put it; then blur,
noise, uneven light and JPEG.  Truth is the polygon and the circles that were drawn.
"""

import itertools
import math
from dataclasses import dataclass, field

import cv2
import numpy as np
import shapely
from shapely import Polygon, affinity

LINES = 8
MASKS = {  # blue, green, red
    "green": (62, 96, 30),
    "blue": (120, 62, 22),
    "red": (38, 32, 150),
    "black": (34, 33, 32),
    "white": (214, 218, 216),
    "yellow": (60, 170, 190),
    "purple": (92, 30, 78),
}
COPPER, GOLD, TIN = (92, 140, 190), (96, 176, 206), (196, 200, 202)
WALL = (96, 150, 170)


@dataclass
class Scene:
    """What is drawn; lengths in mm; ``holes`` are (x, y, diameter, ring width or 0)."""

    board: Polygon
    holes: list = field(default_factory=list)
    per_mm: float = 12.0
    margin: float = 12.0
    mask: str = "green"
    background: str = "paper"
    eye: tuple | None = None
    thickness: float = 1.6
    blur: float = 1.0
    noise: float = 2.0
    gradient: float = 0.1
    shadow: float = 0.0
    quality: int | None = 90
    parts: int = 0
    traces: int = 0
    overhang: bool = False
    glare: bool = False
    seed: int = 0
    metal_walls: bool = False  # of holes with a ring, lit from one side
    nested_walls: bool = False  # each layer of a wall only where none nearer covers: see `_under_face`
    marks: list = field(default_factory=list)  # areas on the face, mm, and their colours
    gloom: float = 1.0  # how bright the ground under a hole is, against the ground beside the board


def coverage(polygon, frame):
    """Share of each pixel, (rows, columns) float32, that a polygon in pixels covers."""
    left, top, columns, rows = frame
    starts, ends = [], []
    parts = polygon.geoms if hasattr(polygon, "geoms") else [polygon]
    for part in parts:
        if part.is_empty:
            continue
        part = shapely.geometry.polygon.orient(part)
        for ring in (part.exterior, *part.interiors):
            points = shapely.get_coordinates(ring) - (left, top) + 0.5
            starts.append(points[:-1])
            ends.append(points[1:])
    if not starts:
        return np.zeros((rows, columns), np.float32)
    a, b = np.vstack(starts) * (1, LINES), np.vstack(ends) * (1, LINES)
    sign = np.where(b[:, 1] > a[:, 1], 1.0, -1.0)
    low, high = np.minimum(a[:, 1], b[:, 1]), np.maximum(a[:, 1], b[:, 1])
    first = np.clip(np.ceil(low - 0.5), 0, rows * LINES).astype(int)
    last = np.clip(np.ceil(high - 0.5), 0, rows * LINES).astype(int)
    count = last - first
    side = np.repeat(np.arange(len(a)), count)
    line = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count) + first[side]
    x = a[side, 0] + (line + 0.5 - a[side, 1]) * (b[side, 0] - a[side, 0]) / (b[side, 1] - a[side, 1])
    x = np.clip(x, 0, columns)
    cell = np.minimum(np.floor(x).astype(int), columns - 1)
    part = x - cell
    row = line // LINES
    total = np.bincount(row * (columns + 1) + cell, sign[side] * (1 - part), rows * (columns + 1))
    total += np.bincount(row * (columns + 1) + cell + 1, sign[side] * part, rows * (columns + 1))
    summed = np.cumsum(total.reshape(rows, columns + 1), axis=1)[:, :columns] / LINES
    return np.clip(np.abs(summed), 0, 1).astype(np.float32)


def paint(canvas, polygon, colour):
    """Lay a colour over the pixels that a polygon covers, in place."""
    if polygon.is_empty:
        return
    x0, y0, x1, y1 = polygon.bounds
    left, top = max(0, int(x0) - 2), max(0, int(y0) - 2)
    right, bottom = min(canvas.shape[1], int(x1) + 3), min(canvas.shape[0], int(y1) + 3)
    if right <= left or bottom <= top:
        return
    share = coverage(polygon, (left, top, right - left, bottom - top))[..., None]
    part = canvas[top:bottom, left:right]
    part += share * (np.asarray(colour, np.float32) - part)


def picture_of(scene):
    """Pixels (rows, columns, 3) uint8 and origin (column, row) of board point (0, 0)."""
    rng = np.random.default_rng(scene.seed)
    x0, y0, x1, y1 = scene.board.bounds
    per_mm, margin = scene.per_mm, scene.margin
    columns, rows = int((x1 - x0 + 2 * margin) * per_mm), int((y1 - y0 + 2 * margin) * per_mm)
    origin = (-(x0 - margin) * per_mm + 0.37, (y1 + margin) * per_mm + 0.21)

    def seen(shape):
        return affinity.affine_transform(shape, [per_mm, 0, 0, -per_mm, *origin])

    drilled = scene.board
    discs = [disc(x, y, d) for x, y, d, _ in scene.holes]
    if discs:
        drilled = scene.board.difference(shapely.union_all(discs))
    canvas = _background(scene, rng, columns, rows, origin)
    if scene.gloom != 1.0:
        under = scene.board.buffer(-2.0)
        canvas *= 1 - (1 - scene.gloom) * coverage(seen(under), (0, 0, columns, rows))[..., None]
    if scene.shadow:
        _shadow(canvas, scene, seen)
    if scene.eye is not None and scene.nested_walls:
        canvas = _under_face(canvas, scene, rng, drilled, seen)
    elif scene.eye is not None:
        ex, ey, ez = scene.eye
        for depth in np.linspace(scene.thickness, 0, 20, endpoint=False):
            k = ez / (ez + depth)
            tone = 0.8 + 0.2 * rng.random()
            cut = affinity.scale(drilled, k, k, origin=(ex, ey))
            paint(canvas, seen(cut), np.array(WALL) * tone)
            if scene.metal_walls:
                _metal_walls(
                    canvas, scene, lambda shape, k=k: seen(affinity.scale(shape, k, k, origin=(ex, ey)))
                )
    face = _face(scene, rng, canvas.shape, seen)
    share = coverage(seen(drilled), (0, 0, columns, rows))[..., None]
    canvas += share * (face - canvas)
    if scene.overhang:
        _connector(canvas, scene, seen)
    return _camera(canvas, scene, rng), origin


def _under_face(ground, scene, rng, drilled, seen):
    """Ground and walls, from the face down: what a layer covers of a pixel is not covered once more below.

    Twenty layers laid over each other, each mixing into the pixels at its rim what lies below, leave the
    ground only (1 - share) ^ 20 of a pixel: a fringe of wall half a pixel wide around every hole, even
    straight below the camera.  The layers' rims are nested, so that of two the wider covers both.
    """
    ex, ey, ez = scene.eye
    frame = (0, 0, ground.shape[1], ground.shape[0])
    covered, canvas = coverage(seen(drilled), frame), np.zeros_like(ground)
    first = covered
    for depth in np.linspace(scene.thickness, 0, 20, endpoint=False)[::-1]:
        k = ez / (ez + depth)

        def below(shape, k=k):
            return seen(affinity.scale(shape, k, k, origin=(ex, ey)))

        layer = np.empty_like(ground)
        layer[:] = np.array(WALL) * (0.8 + 0.2 * rng.random())
        if scene.metal_walls:
            _metal_walls(layer, scene, below, 0.2)
        share = coverage(below(drilled), frame)
        canvas += np.maximum(share - covered, 0)[..., None] * layer
        covered = np.maximum(covered, share)
    canvas += (1 - covered)[..., None] * ground
    return canvas / np.maximum(1 - first, 1e-6)[..., None]  # the face is laid over it by its share


def _metal_walls(canvas, scene, seen, inwards=0.0):
    """One cross section of the plated walls: bright where they face the light, from the upper left."""
    sun = math.radians(130.0)
    for x, y, d, ring in scene.holes:
        if not ring:
            continue
        wall = disc(x, y, d + 0.2).difference(disc(x, y, max(d - inwards, 0.05)))
        for n in range(12):
            middle = 2 * np.pi * (n + 0.5) / 12
            angle = middle + np.linspace(-np.pi / 12, np.pi / 12, 5)
            arc = np.column_stack([x + d * np.cos(angle), y + d * np.sin(angle)])
            sector = Polygon([(x, y), *arc])
            light = 0.55 - 0.4 * math.cos(middle - sun)  # the inside of a wall faces the middle
            paint(canvas, seen(wall.intersection(sector)), np.array(COPPER) * light)


def disc(x, y, diameter):
    angle = 2 * np.pi * np.arange(256) / 256
    radius = diameter / 2 / math.sqrt(np.sinc(1 / 128))  # same area as the circle
    return Polygon(np.column_stack([x + radius * np.cos(angle), y + radius * np.sin(angle)]))


def _background(scene, rng, columns, rows, origin):
    tone = {"paper": 232, "card": 232, "light lid": 214, "dark lid": 24, "table": 70, "grey": 128}
    canvas = np.empty((rows, columns, 3), np.float32)
    canvas[:] = np.array({"table": (44, 66, 92)}.get(scene.background, (1, 1, 1)), np.float32) * (
        1 if scene.background == "table" else tone[scene.background]
    )
    if scene.background == "table":
        grain = cv2.GaussianBlur(rng.normal(0, 1, (rows, columns)).astype(np.float32), (0, 0), 9, None, 1.5)
        canvas += (grain / grain.std() * 7)[..., None]
    if scene.background == "card":
        _chessboard(canvas, scene, rng, origin)
    return canvas


def _chessboard(canvas, scene, rng, origin):
    """Squares of 10 mm with codes in the white ones, three deep around an open middle."""
    for box, black in _squares(scene, rng, canvas.shape[:2]):
        paint(canvas, shapely.box(*box), (36, 36, 36) if black else (232, 232, 232))


def _squares(scene, rng, shape):
    """What a chessboard is painted of, in order: (left, top, right, bottom) in pixels, and whether black."""
    rows, columns = shape
    per_mm = scene.per_mm
    skew = rng.uniform(-4, 4, 2)
    across, down = int(columns / per_mm / 10) + 2, int(rows / per_mm / 10) + 2
    for i in range(across):
        for j in range(down):
            if 3 <= i < across - 3 and 3 <= j < down - 3:
                continue
            x, y = (10 * i - 6 + skew[0]) * per_mm, (10 * j - 6 + skew[1]) * per_mm
            size = 10 * per_mm
            if (i + j) % 2:
                yield (x, y, x + size, y + size), True
                continue
            inset = 1.5 * per_mm
            cell = (size - 2 * inset) / 6
            yield (x + inset, y + inset, x + size - inset, y + size - inset), True
            for a in range(1, 5):
                for b in range(1, 5):
                    if rng.random() < 0.5:
                        u, v = x + inset + a * cell, y + inset + b * cell
                        yield (u, v, u + cell, v + cell), False


def printed_black(scene, shape, origin):
    """Black areas, (n, 4, 2) mm, of the chessboard in a picture of (rows, columns) and of this origin."""
    black = []
    for (left, top, right, low), is_black in _squares(scene, np.random.default_rng(scene.seed), shape):
        if not is_black:
            white = shapely.box(left, top, right, low)
            black[-1] = black[-1].difference(white)
        else:
            black.append(shapely.box(left, top, right, low))
    boxes = [ring for area in black for ring in _in_boxes(area)]
    return (np.array(boxes) - origin) * (1 / scene.per_mm, -1 / scene.per_mm)


def _in_boxes(area):
    """An area of straight and square sides cut into boxes at its corners, each (4, 2)."""
    x = np.unique(np.round(shapely.get_coordinates(area)[:, 0], 6))
    y = np.unique(np.round(shapely.get_coordinates(area)[:, 1], 6))
    for left, right in itertools.pairwise(x):
        for top, low in itertools.pairwise(y):
            if shapely.contains_xy(area, (left + right) / 2, (top + low) / 2):
                yield [(left, top), (right, top), (right, low), (left, low)]


def _shadow(canvas, scene, seen):
    cast = seen(affinity.translate(scene.board, scene.shadow, -0.7 * abs(scene.shadow)))
    dark = coverage(cast, (0, 0, canvas.shape[1], canvas.shape[0]))
    dark = cv2.GaussianBlur(dark, (0, 0), 0.5 * abs(scene.shadow) * scene.per_mm)
    canvas *= (1 - 0.4 * dark)[..., None]


def _face(scene, rng, shape, seen):
    """The shown face without its limits: mask, traces, pads, print and parts."""
    face = np.empty(shape, np.float32)
    mask = np.array(MASKS[scene.mask], np.float32)
    face[:] = mask
    x0, y0, x1, y1 = scene.board.bounds
    for _ in range(scene.traces):
        x, y = rng.uniform(x0, x1), rng.uniform(y0, y1)
        points = [(x, y)]
        for _ in range(3):
            turn = rng.integers(8) * np.pi / 4
            x, y = x + 8 * np.cos(turn), y + 8 * np.sin(turn)
            points.append((x, y))
        trace = shapely.LineString(points).buffer(rng.choice([0.1, 0.2, 0.4]))
        paint(face, seen(trace), mask * 1.25 + 12 if scene.mask != "white" else mask * 0.93)
    metal = (COPPER, GOLD, TIN)[rng.integers(3)]
    ink = (225, 228, 228) if scene.mask != "white" else (40, 40, 40)
    keep = [shapely.Point(x, y).buffer(d / 2 + ring + 0.6) for x, y, d, ring in scene.holes]
    taken = shapely.union_all(keep) if keep else Polygon()
    print_on = np.zeros(shape[:2], np.uint8)
    for n in range(scene.parts):
        w, h = rng.uniform(1.5, 12), rng.uniform(1, 9)
        x, y = rng.uniform(x0 + 1.5, x1 - 1.5 - w), rng.uniform(y0 + 1.5, y1 - 1.5 - h)
        body = shapely.box(x, y, x + w, y + h)
        if body.buffer(1.0).intersects(taken):
            continue
        taken = taken.union(body.buffer(1.2))
        for side in (-0.5, h):
            for k in np.arange(0.4, w - 0.4, 1.27):
                paint(face, seen(shapely.box(x + k, y + side, x + k + 0.6, y + side + 0.5)), metal)
        colour = [(38, 38, 40), (70, 66, 64), (200, 205, 205), (60, 90, 150)][rng.integers(4)]
        paint(face, seen(body), colour)
        left, top = seen(shapely.Point(x, y + h + 1.0)).coords[0]
        cv2.putText(
            print_on,
            f"R{n}{rng.integers(9)}",
            (int(left), int(top)),
            cv2.FONT_HERSHEY_SIMPLEX,
            scene.per_mm / 22,
            255,
            max(1, int(scene.per_mm / 8)),
            cv2.LINE_AA,
        )
    face += (print_on / np.float32(255))[..., None] * (np.array(ink, np.float32) - face)
    for x, y, d, ring in scene.holes:
        if ring:
            paint(face, seen(disc(x, y, d + 2 * ring)), metal)
    for area, colour in scene.marks:
        paint(face, seen(area), colour)
    return face


def _connector(canvas, scene, seen):
    x0, _, x1, y1 = scene.board.bounds
    w = min(14.0, 0.3 * (x1 - x0))
    x = x0 + 0.4 * (x1 - x0)
    paint(canvas, seen(shapely.box(x, y1 - 8, x + w, y1 + 1.5)), (178, 182, 184))


def _camera(canvas, scene, rng):
    rows, columns = canvas.shape[:2]
    if scene.gradient:
        turn = rng.uniform(0, 2 * np.pi)
        u = np.linspace(-0.5, 0.5, columns, dtype=np.float32)[None, :]
        v = np.linspace(-0.5, 0.5, rows, dtype=np.float32)[:, None]
        canvas *= (1 + scene.gradient * (u * np.cos(turn) + v * np.sin(turn)))[..., None].astype(np.float32)
    if scene.glare:
        x, y = rng.uniform(0.2, 0.8, 2) * (columns, rows)
        u, v = (
            np.arange(columns, dtype=np.float32)[None, :] - x,
            np.arange(rows, dtype=np.float32)[:, None] - y,
        )
        canvas += (140 * np.exp(-(u**2 + v**2) / (2 * (7 * scene.per_mm) ** 2)))[..., None].astype(np.float32)
    canvas = cv2.GaussianBlur(canvas, (0, 0), scene.blur)
    canvas += rng.normal(0, scene.noise, canvas.shape).astype(np.float32)
    pixels = np.clip(np.round(canvas), 0, 255).astype(np.uint8)
    if scene.quality:
        done, data = cv2.imencode(".jpg", pixels, [cv2.IMWRITE_JPEG_QUALITY, scene.quality])
        assert done
        pixels = cv2.imdecode(data, cv2.IMREAD_COLOR)
    return pixels


# Boards by chance ------------------------------------------------------------------------------


def random_board(rng, most=110.0):
    """A board with rounded or cut corners, notches and tabs, turned by a little; fine polygons for arcs."""
    w, h = rng.uniform(35, most), rng.uniform(28, 0.75 * most)
    board = shapely.box(0, 0, w, h)
    for _ in range(rng.integers(0, 4)):
        board = _feature(board, rng, w, h)
    corner = rng.integers(4)
    if corner == 1:
        radius = rng.uniform(0.8, 5)
        board = board.buffer(-radius, quad_segs=128).buffer(radius, quad_segs=128)
        if board.geom_type != "Polygon":
            return random_board(rng, most)
    elif corner == 2:
        c = rng.uniform(1.5, 6)
        x, y = (0, 0)
        board = board.difference(
            Polygon([(x - 1, y - 1), (x + c, y - 1), (x + c, y), (x, y + c), (x - 1, y + c)])
        )
    turn = rng.choice([0.0, 0.0, 90.0]) + rng.uniform(-4, 4)
    board = affinity.rotate(board, turn, origin=(0, 0))
    return shapely.geometry.polygon.orient(board)


def _feature(board, rng, w, h):
    kind = rng.integers(4)
    side = rng.integers(4)
    long = w if side % 2 == 0 else h
    wide, deep = rng.uniform(2, 10), rng.uniform(1.2, 6)
    if long < wide + 24:
        return board
    at = rng.uniform(8, long - wide - 8)
    if kind == 0:
        shape = shapely.box(at, -1, at + wide, deep)
    elif kind == 1:
        shape = shapely.box(at, -deep, at + wide, 1)
    elif kind == 2:
        shape = shapely.Point(at + wide / 2, 0).buffer(wide / 2, quad_segs=128)
    else:
        deep = max(deep, wide / 2 + 0.5)
        end = shapely.Point(at + wide / 2, deep - wide / 2).buffer(wide / 2, quad_segs=128)
        shape = shapely.union_all([shapely.box(at, -1, at + wide, deep - wide / 2), end])
    if side == 1:
        shape = affinity.translate(affinity.rotate(shape, 90, origin=(0, 0)), w, 0)
    elif side == 2:
        shape = affinity.translate(affinity.rotate(shape, 180, origin=(0, 0)), w, h)
    elif side == 3:
        shape = affinity.translate(affinity.rotate(shape, -90, origin=(0, 0)), 0, h)
    made = board.union(shape) if kind == 1 else board.difference(shape)
    return made if made.geom_type == "Polygon" and not made.interiors else board


def random_holes(board, rng, count):
    """Holes inside a board, apart from each other: x, y, diameter, ring width."""
    holes = []
    x0, y0, x1, y1 = board.bounds
    for _ in range(20 * count):
        if len(holes) >= count:
            break
        d = float(rng.choice([0.3, 0.4, 0.6, 0.8, 1.0, 1.3, 2.0, 3.2, 4.3, 6.0]))
        ring = float(rng.choice([0.15, 0.25, 0.4, 0.8])) if rng.random() < (0.8 if d < 2.5 else 0.5) else 0.0
        x, y = rng.uniform(x0, x1), rng.uniform(y0, y1)
        spot = shapely.Point(x, y).buffer(d / 2 + ring + 0.8)
        if not board.contains(spot):
            continue
        if any(math.hypot(x - a, y - b) < (d + e) / 2 + ring + r + 0.8 for a, b, e, r in holes):
            continue
        holes.append((x, y, d, ring))
    return holes
