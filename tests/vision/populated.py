"""Draws boards with parts on them, from geometry alone: no code of the package.

Drawn three times as fine as the picture and averaged over areas; then shadow, uneven light, blur, noise
and JPEG.  Truth is the body of each part as it was drawn: where a camera looks from the side, its top.
"""

from dataclasses import dataclass

import cv2
import numpy as np
import shapely
from shapely import Polygon, affinity

FINE = 3
MASKS = {"green": (62, 96, 30), "blue": (120, 62, 22), "red": (38, 32, 150), "black": (40, 38, 36)}
TIN, GOLD, SILK, GROUND = (186, 192, 194), (96, 176, 206), (224, 226, 226), (214, 218, 220)
KINDS = ("chip", "chip", "chip", "ic", "ic", "can", "connector", "crystal", "coil")


@dataclass
class Body:
    """A part: its ``foot`` on the board and its ``top`` as the picture shows it, mm; ``height`` in mm."""

    kind: str
    foot: Polygon
    top: Polygon
    height: float


@dataclass
class Populated:
    """What is drawn and what is true; ``pixels`` blue-green-red, lengths in mm."""

    pixels: np.ndarray
    pixels_per_mm: float
    origin: tuple
    edge: Polygon
    eye: tuple | None
    bodies: list
    told: str


class Canvas:
    """Fine pixels on which polygons in mm are laid."""

    def __init__(self, edge, per_mm, margin):
        x0, y0, x1, y1 = edge.bounds
        self.per_mm = per_mm
        self.size = (int((x1 - x0 + 2 * margin) * per_mm), int((y1 - y0 + 2 * margin) * per_mm))
        self.origin = ((margin - x0) * per_mm, (y1 + margin) * per_mm)
        self.fine = np.empty((self.size[1] * FINE, self.size[0] * FINE, 3), np.uint8)
        self.fine[:] = GROUND

    def places(self, xy):
        pixels = np.asarray(xy, float)[:, :2] * (self.per_mm, -self.per_mm) + self.origin
        return np.round(((pixels + 0.5) * FINE - 0.5) * 256).astype(np.int32)

    def lay(self, shape, colour):
        for part in getattr(shape, "geoms", [shape]):
            rings = [self.places(ring.coords) for ring in (part.exterior, *part.interiors)]
            cv2.fillPoly(self.fine, rings, tuple(float(c) for c in colour), cv2.LINE_8, 8)


def shade(colour, by):
    return tuple(min(255.0, c * by) for c in colour)


def placed(shape, at, turn):
    return affinity.translate(affinity.rotate(shape, turn, origin=(0, 0)), *at)


def box(wide, tall, corner=0.0):
    shape = shapely.box(-wide / 2, -tall / 2, wide / 2, tall / 2)
    return shape.buffer(-corner).buffer(corner, quad_segs=8) if corner else shape


def lifted(shape, height, eye):
    """Where a shape at a height is seen on the plane of the face: similar triangles."""
    if eye is None:
        return shape
    by = eye[2] / (eye[2] - height)
    return affinity.scale(shape, by, by, origin=(eye[0], eye[1]))


def parts_of(kind, rng):
    """Foot, height, colour of the top, what lies on it and below it: lists of (shape, colour)."""
    if kind == "chip":
        wide, tall = [(1.6, 0.8), (2.0, 1.25), (3.2, 1.6), (4.5, 3.2)][rng.integers(4)]
        cap = wide * rng.uniform(0.14, 0.2)
        colour = [(96, 132, 160), (30, 28, 28), (120, 150, 172), (70, 90, 110)][rng.integers(4)]
        pad = box(cap + rng.uniform(0.25, 0.55), tall * 1.08)
        under = [(affinity.translate(pad, s * (wide / 2 - cap + pad.bounds[2]), 0), TIN) for s in (-1, 1)]
        on = [(affinity.translate(box(cap, tall), s * (wide - cap) / 2, 0), (206, 208, 208)) for s in (-1, 1)]
        if colour[0] < 40:
            on += [(box(wide * 0.2, tall * 0.3), (190, 190, 190))]
        return box(wide, tall), 0.6, colour, on, under
    if kind == "ic":
        wide = rng.uniform(4, 14)
        tall = wide if rng.random() < 0.5 else rng.uniform(4, 8)
        pitch, reach = rng.choice([0.8, 1.27]), rng.uniform(0.8, 1.4)
        under = []
        for side in (0, 90) if wide == tall else (0,):
            for x in np.arange(-wide / 2 + 0.7, wide / 2 - 0.6, pitch):
                for sign in (-1, 1):
                    lead = shapely.box(x - 0.2, -0.2, x + 0.2, reach)
                    lead = affinity.translate(lead, 0, tall / 2)
                    lead = affinity.scale(lead, 1, sign, origin=(0, 0))
                    under.append((affinity.rotate(lead, side, origin=(0, 0)), TIN))
        grey = rng.uniform(28, 62)
        on = [(shapely.Point(-wide / 2 + 0.9, -tall / 2 + 0.9).buffer(0.35), (grey * 0.6,) * 3)]
        for row in range(2):
            for x in np.arange(-wide * 0.3, wide * 0.3, 0.8):
                if rng.random() < 0.8:
                    mark = shapely.box(x, row * 1.1 - 0.4, x + rng.uniform(0.2, 0.6), row * 1.1 + 0.3)
                    on.append((mark, (grey + 70,) * 3))
        return box(wide, tall), 1.5, (grey, grey, grey + 2), on, under
    if kind == "can":
        across = rng.choice([5.0, 6.3, 8.0, 10.0])
        foot = shapely.Point(0, 0).buffer(across / 2, quad_segs=24)
        stripe = foot.intersection(shapely.box(-across, -across, -across * 0.28, across))
        return foot, rng.uniform(6, 13), (176, 180, 182), [(stripe, (50, 46, 44))], []
    if kind == "connector":
        pins, rows = rng.integers(3, 12), rng.integers(1, 3)
        wide, tall = pins * 2.54 + 1.5, rows * 2.54 + rng.uniform(1.5, 4)
        colour = [(226, 230, 232), (40, 40, 42), (150, 190, 206)][rng.integers(3)]
        on = [
            (
                affinity.translate(box(0.7, 0.7), (n - (pins - 1) / 2) * 2.54, (k - (rows - 1) / 2) * 2.54),
                GOLD,
            )
            for n in range(pins)
            for k in range(rows)
        ]
        return box(wide, tall), rng.uniform(5, 10), colour, on, []
    if kind == "crystal":
        foot = shapely.LineString([(-3.4, 0), (3.4, 0)]).buffer(2.2, quad_segs=16)
        return foot, 3.5, (184, 188, 190), [(foot.buffer(-0.5).exterior.buffer(0.1), (150, 152, 154))], []
    side = rng.uniform(4, 9)
    middle = shapely.Point(0, 0).buffer(side * 0.36)
    return box(side, side, 0.6), 4.0, (78, 76, 74), [(middle, (92, 92, 92))], []


def populated_board(seed, per_mm=12.0, leaning=None, size=None):
    """A board of random parts; every third is seen by a camera, unless ``leaning`` says."""
    rng = np.random.default_rng(1000 + seed)
    mask = list(MASKS)[seed % 4]
    wide, tall = size or (rng.uniform(60, 90), rng.uniform(45, 70))
    edge = shapely.box(0, 0, wide, tall)
    leaning = seed % 3 == 2 if leaning is None else leaning
    eye = (wide * rng.uniform(0.3, 0.7), tall * rng.uniform(0.3, 0.7), 300.0) if leaning else None
    canvas = Canvas(edge, per_mm, 6.0)
    colour = np.array(MASKS[mask], float) * rng.uniform(0.9, 1.15)
    canvas.lay(edge, colour)
    drawn, taken = [], []
    for _ in range(400):
        kind = KINDS[rng.integers(len(KINDS))]
        foot, height, top, on, under = parts_of(kind, rng)
        at = rng.uniform((3, 3), (wide - 3, tall - 3))
        turn = rng.choice([0, 90, 180, 270]) + (rng.uniform(-45, 45) if rng.random() < 0.1 else 0)
        put = [placed(shape, at, turn) for shape in (foot, *(s for s, _ in on), *(s for s, _ in under))]
        whole = shapely.union_all([lifted(put[0], height, eye), *put]).convex_hull.buffer(0.7)
        if not edge.contains(whole) or any(whole.intersects(other) for other in taken):
            continue
        taken.append(whole)
        drawn.append((kind, put, height, top, [c for _, c in on], [c for _, c in under]))
        if len(drawn) == 24:
            break
    copper_and_marks(canvas, edge, colour, drawn, taken, rng)
    shadows(canvas, drawn, rng)
    bodies = [body(canvas, *each, eye) for each in sorted(drawn, key=lambda each: each[2])]
    pixels = photographed(canvas, rng, seed)
    told = f"{mask}, {len(bodies)} bodies{', leaning' if leaning else ''}"
    return Populated(pixels, per_mm, canvas.origin, edge, eye, bodies, told)


def copper_and_marks(canvas, edge, colour, drawn, taken, rng):
    """Traces under the mask, pads, vias, holes, and white lines and words."""
    wide, tall = edge.bounds[2:]
    light = tuple(colour * 1.12 + 10)
    for _ in range(60):
        at = rng.uniform((2, 2), (wide - 2, tall - 2))
        way = rng.choice([0, 45, 90, 135])
        far = at + rng.uniform(5, 30) * np.array([np.cos(np.radians(way)), np.sin(np.radians(way))])
        line = shapely.LineString([at, far]).buffer(rng.choice([0.12, 0.2, 0.5]))
        canvas.lay(line.intersection(edge.buffer(-1)), light)
    free = []
    for _ in range(60):
        at = rng.uniform((2, 2), (wide - 2, tall - 2))
        spot = shapely.Point(at).buffer(1.4)
        if not any(spot.intersects(other) for other in (*taken, *free)):
            free.append(spot)
            what = rng.integers(4)
            if what == 0:
                canvas.lay(shapely.Point(at).buffer(0.9), TIN)
                canvas.lay(shapely.Point(at).buffer(0.45), (40, 44, 46))
            elif what == 1:
                canvas.lay(shapely.Point(at).buffer(0.35), tuple(colour * 0.7))
                canvas.lay(shapely.Point(at).buffer(0.15), (30, 30, 30))
            elif what == 2:
                canvas.lay(placed(box(1.5, 0.9), at, 0), TIN)
            else:
                for _ in range(3):
                    stroke = shapely.LineString(at + rng.uniform(-0.9, 0.9, (3, 2))).buffer(0.08)
                    canvas.lay(stroke, SILK)
    for _, put, *_ in drawn:
        if rng.random() < 0.4:
            x0, y0, x1, y1 = shapely.union_all(put).bounds
            canvas.lay(shapely.box(x0, y0, x1, y1).buffer(0.4).exterior.buffer(0.08), SILK)


def shadows(canvas, drawn, rng):
    """Soft shadows of standing parts, all to one side."""
    dark = np.zeros(canvas.fine.shape[:2], np.uint8)
    way = rng.uniform(0, 2 * np.pi)
    for _, put, height, *_ in drawn:
        reach = min(0.25 * height, 1.5)
        shadow = (
            affinity.translate(put[0], reach * np.cos(way), reach * np.sin(way)).union(put[0]).convex_hull
        )
        cv2.fillPoly(dark, [canvas.places(shadow.exterior.coords)], 255, cv2.LINE_8, 8)
    dark = cv2.GaussianBlur(dark, (0, 0), 0.25 * canvas.per_mm * FINE).astype(np.float32) / 255
    canvas.fine[:] = canvas.fine * (1 - 0.3 * dark[..., None])


def body(canvas, kind, put, height, top, on, under, eye):
    """Draw one part: what lies below, its walls, its top and what is printed on it."""
    for shape, colour in zip(put[1 + len(on) :], under, strict=True):
        canvas.lay(shape, colour)
    if eye is not None:
        for level in np.linspace(0, height, max(2, int(height * 4)), endpoint=False):
            canvas.lay(lifted(put[0], level, eye), shade(top, 0.62))
    seen = lifted(put[0], height, eye)
    canvas.lay(seen, top)
    for shape, colour in zip(put[1 : 1 + len(on)], on, strict=True):
        canvas.lay(lifted(shape, height, eye), colour)
    return Body(kind, put[0], seen, height)


def photographed(canvas, rng, seed):
    columns, rows = canvas.size
    image = cv2.resize(canvas.fine, (columns, rows), interpolation=cv2.INTER_AREA).astype(np.float32)
    across, down = np.linspace(-1, 1, columns), np.linspace(-1, 1, rows)
    tilt = rng.uniform(-0.12, 0.12, 2)
    image *= (1 + tilt[0] * across[None, :] + tilt[1] * down[:, None])[..., None].astype(np.float32)
    image = cv2.GaussianBlur(image, (0, 0), rng.uniform(0.6, 1.3) * canvas.per_mm / 12)
    image += rng.normal(0, rng.uniform(1, 4), image.shape).astype(np.float32)
    image = np.clip(image, 0, 255).astype(np.uint8)
    _, data = cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, int(rng.integers(70, 95))])
    return cv2.imdecode(data, cv2.IMREAD_COLOR)
