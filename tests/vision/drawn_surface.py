"""What a drawn board bears besides its line: copper, print and parts, drawn at twice the picture's pixels."""

from __future__ import annotations

import cv2
import numpy as np
from shapely import LineString, Point, box
from shapely.affinity import rotate, translate

OVER = 2  # pixels drawn for each pixel of the picture, each way


class Canvas:
    """Draws in mm on pixels that are twice as fine as the picture's."""

    def __init__(self, size, pixels_per_mm, origin, colour):
        self.scale = pixels_per_mm * OVER
        self.origin = origin
        self.pixels = np.empty((size[1] * OVER, size[0] * OVER, 3), np.uint8)
        self.pixels[:] = colour

    def at(self, points) -> np.ndarray:
        points = np.atleast_2d(np.asarray(points, float))
        ppm = self.scale / OVER
        column, row = self.origin[0] + points[:, 0] * ppm, self.origin[1] - points[:, 1] * ppm
        fine = np.column_stack([(column + 0.5) * OVER - 0.5, (row + 0.5) * OVER - 0.5])
        return np.round(fine * 16).astype(np.int32).reshape(-1, 1, 2)

    def area(self, shape, colour):
        for part in getattr(shape, "geoms", [shape]):
            if not part.is_empty:
                rings = [self.at(ring.coords[:-1]) for ring in (part.exterior, *part.interiors)]
                cv2.fillPoly(self.pixels, rings, colour, cv2.LINE_AA, 4)

    def line(self, points, width, colour):
        self.area(LineString(points).buffer(width / 2, quad_segs=4), colour)

    def disc(self, at, radius, colour):
        self.area(Point(at).buffer(radius, quad_segs=6), colour)


def shade(colour, by):
    return tuple(int(np.clip(c * by[0] + by[1], 0, 255)) for c in colour)


def copper(rng, canvas, edge, base):
    """Traces alone and in buses, pours, vias, pads: the colour of the board, lighter or darker."""
    left, low, right, high = edge.bounds
    lighter = shade(base, (1.25, 14)) if rng.random() < 0.7 and sum(base) < 500 else shade(base, (0.78, 0))
    inner = edge.buffer(-1)
    for _ in range(rng.integers(2, 6)):
        x, y = rng.uniform(left, right), rng.uniform(low, high)
        pour = box(x, y, x + rng.uniform(5, 40), y + rng.uniform(5, 30)).intersection(inner)
        if pour.geom_type == "Polygon":
            canvas.area(pour, shade(lighter, (0.97, 0)))
    for _ in range(int(edge.area / 260)):
        at = np.array([rng.uniform(left, right), rng.uniform(low, high)])
        width, count = (
            rng.choice([0.2, 0.25, 0.3, 0.5, 0.8], p=[0.3, 0.3, 0.2, 0.15, 0.05]),
            rng.integers(1, 7),
        )
        heading = rng.integers(0, 8) * np.pi / 4
        path = [at]
        for _ in range(rng.integers(2, 6)):
            heading += rng.choice([-1, 1]) * np.pi / 4
            path.append(path[-1] + rng.uniform(3, 30) * np.array([np.cos(heading), np.sin(heading)]))
        for n in range(count):
            shifted = LineString(path).offset_curve(n * (width + 0.3), join_style="mitre")
            shifted = shifted.intersection(inner)
            for piece in getattr(shifted, "geoms", [shifted]):
                if piece.geom_type == "LineString" and not piece.is_empty:
                    canvas.line(piece.coords, width, lighter)
    metal = [(196, 202, 204), (90, 180, 210)][rng.integers(0, 2)]
    for _ in range(int(edge.area / 60)):
        at, radius = (rng.uniform(left + 1, right - 1), rng.uniform(low + 1, high - 1)), rng.uniform(0.3, 0.9)
        canvas.disc(at, radius, metal if rng.random() < 0.6 else shade(lighter, (1.0, 0)))
        canvas.disc(at, radius * 0.5, (30, 34, 34))


def silk(rng, canvas, edge, white):
    left, low, right, high = edge.bounds
    for _ in range(int(edge.area / 150)):
        x, y = rng.uniform(left + 2, right - 12), rng.uniform(low + 2, high - 8)
        width, height = rng.uniform(2, 12), rng.uniform(1.5, 7)
        if rng.random() < 0.5:
            canvas.line(
                [(x, y), (x + width, y), (x + width, y + height), (x, y + height), (x, y)], 0.18, white
            )
            continue
        for n in range(rng.integers(2, 6)):  # strokes that look like letters
            here = np.array([x + n * 1.1, y])
            canvas.line(here + rng.uniform(0, 1, (rng.integers(2, 5), 2)) * (0.8, 1.3), 0.17, white)


def part(rng, canvas, shape, turned):
    """A body with leads and a shadow."""
    left, low, right, high = shape.bounds
    kind = rng.integers(0, 4)
    if kind < 2 and right - left > 4:
        for x in np.arange(left + 0.6, right - 0.4, 1.27):
            for y in (low - 1.0, high - 0.1):
                lead = rotate(box(x, y, x + 0.45, y + 1.1), turned, origin=shape.centroid)
                canvas.area(lead, (176, 182, 184))
    body = rotate(shape, turned, origin="centroid")
    canvas.area(translate(body, 0.25, -0.3), (26, 26, 24))
    colour = [(44, 42, 42), (70, 68, 66), (150, 150, 146), (196, 208, 214)][kind]
    canvas.area(body, colour)
    if kind == 3:
        canvas.area(body.buffer(-0.8), shade(colour, (0.85, 0)))
    x, y = body.centroid.coords[0]
    for n in range(3):  # a marking
        canvas.line(
            [(x - 1, y - 0.5 + n * 0.5), (x + 1.2, y - 0.5 + n * 0.5)], 0.12, shade(colour, (0.8, 60))
        )


def parts(rng, canvas, edge, drawn, crossing):
    """Parts everywhere, but on the drawn line only where they are wanted: ``crossing`` of them."""
    left, low, right, high = edge.bounds
    bodies = []
    for _ in range(int(edge.area / 190)):
        width, height = rng.choice([1.6, 3, 5, 9, 16, 24]), rng.choice([0.8, 1.6, 4, 7, 12])
        x, y = rng.uniform(left, right - width), rng.uniform(low, high - height)
        body = box(x, y, x + width, y + height)
        turned = float(rng.choice([0, 90, 45], p=[0.55, 0.4, 0.05]))
        lying = rotate(body, turned, origin="centroid").buffer(1.4)
        if not edge.buffer(-0.5).contains(lying) or any(lying.intersects(b) for b in bodies):
            continue
        if lying.distance(drawn) < 1.5:
            continue
        bodies.append(lying)
        part(rng, canvas, body, turned)
    hidden = []
    for _ in range(crossing):
        line = max(drawn.geoms, key=lambda g: g.length)
        at = np.array(line.interpolate(rng.uniform(0.1, 0.9), normalized=True).coords[0])
        size = rng.uniform(2.0, 6.0, 2)
        body = box(*(at - size / 2), *(at + size / 2))
        lying = body.buffer(1.4)
        if any(lying.intersects(b) for b in bodies) or not edge.buffer(-0.5).contains(lying):
            continue
        if any(Point(c).distance(body) < 4 for c in drawn.boundary.geoms):
            continue
        bodies.append(lying)
        hidden.append(body)
    return hidden
