"""Scans of made-up board faces by a scanner whose error is known: written without code from trimgeo.

A place g on the glass (mm from the scan's corner, y down) appears in the scan at g + error(g).
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

INCH = 25.4
PER_MM = 20  # of the drawn face: finer than any scan of it here


def drawn_face(size_mm, seed, detail=1.0):
    """Grey picture of a board of a size in mm: lines and round pads at random, PER_MM pixels a mm."""
    rng = np.random.default_rng(seed)
    columns, rows = int(size_mm[0] * PER_MM), int(size_mm[1] * PER_MM)
    face = np.full((rows, columns), 90, np.uint8)
    area = size_mm[0] * size_mm[1] * detail
    ways = np.array([[1, 0], [0, 1], [1, 1], [1, -1]])
    for _ in range(int(area / 40)):
        start = rng.uniform([0, 0], [columns, rows]).astype(int)
        end = start + ways[rng.integers(4)] * int(rng.uniform(2, 25) * PER_MM)
        grey, width = int(rng.choice([130, 60, 170])), int(rng.uniform(0.2, 0.8) * PER_MM)
        cv2.line(face, start.tolist(), end.tolist(), grey, width, cv2.LINE_AA)
    for _ in range(int(area / 30)):
        at = rng.uniform([0, 0], [columns, rows]).astype(int).tolist()
        radius, grey = int(rng.uniform(0.3, 1.0) * PER_MM), int(rng.uniform(150, 250))
        cv2.circle(face, at, radius, grey, -1, cv2.LINE_AA)
        cv2.circle(face, at, int(0.25 * PER_MM), 20, -1, cv2.LINE_AA)
    return face


@dataclass(frozen=True)
class Lay:
    """How a face lies on the glass: its middle at ``at`` mm, turned by ``angle`` degrees."""

    angle: float
    at: tuple[float, float]

    def turn(self):
        c, s = np.cos(np.radians(self.angle)), np.sin(np.radians(self.angle))
        return np.array([[c, -s], [s, c]])

    def on_glass(self, face_mm, size_mm):
        """Places on the glass, mm, of places on the face (mm from its corner, y down)."""
        return (face_mm - np.array(size_mm) / 2) @ self.turn().T + np.array(self.at)


def blurred(face, dpi):
    """The face as a sensor of that resolution sees it, which sees areas and not points."""
    return cv2.GaussianBlur(face, (0, 0), 0.4 * PER_MM * INCH / dpi)


def scanned(face, glass_mm, dpi, lay, error, seed, light=0.0):
    """The scan, grey, of a `blurred` face that lies on the glass: with noise, dust and uneven light.

    The way of a pixel is computed for every 8th and interpolated: an error of a micrometre at a kink.
    """
    rng = np.random.default_rng(seed)
    pixel = INCH / dpi
    columns, rows = (int(length / pixel) for length in glass_mm)
    row, column = (8 * np.mgrid[: rows // 8 + 3, : columns // 8 + 3] - 8 + 3.5).reshape(2, -1)
    seen = np.column_stack([(column + 0.5) * pixel, (row + 0.5) * pixel])
    glass = seen
    for _ in range(4):
        glass = seen - error(glass)
    on_face = (glass - np.array(lay.at)) @ lay.turn() + np.array(face.shape[::-1]) / PER_MM / 2
    coarse = (on_face * PER_MM - 0.5).astype(np.float32).reshape(rows // 8 + 3, columns // 8 + 3, 2)
    way = cv2.resize(coarse, None, fx=8, fy=8, interpolation=cv2.INTER_LINEAR)[8 : 8 + rows, 8 : 8 + columns]
    scan = cv2.remap(face, way, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=235)
    level = 1 + light * (np.arange(columns, dtype=np.float32) / columns - 0.5)
    scan = scan * level + rng.normal(0, 3, scan.shape).astype(np.float32)
    scan = cv2.GaussianBlur(np.clip(scan, 0, 255).astype(np.uint8), (0, 0), 0.5)
    for _ in range(60):
        at = rng.uniform([0, 0], [columns, rows]).astype(int).tolist()
        cv2.circle(scan, at, int(rng.uniform(1, 4)), int(rng.uniform(0, 255)), -1)
    return scan


def pixels(glass_mm, error, dpi):
    """Where places on the glass, (n, 2), mm, appear in the scan."""
    return (glass_mm + error(glass_mm)) * dpi / INCH - 0.5


def shape_error(found, true):
    """Root mean square, mm, of what (n, 2) positions leave after the best turn, shift and one scale."""
    a, b = ((p - p.mean(axis=0)) @ [1, 1j] for p in (found, true))
    return float(np.sqrt((np.abs(b - a * (a.conj() @ b) / (a.conj() @ a)) ** 2).mean()))


def affine_error(found, true):
    """The same with even scales of x and y and a skew taken off: what a half turn cannot show."""
    known = np.column_stack([found, np.ones(len(found))])
    rest = true - known @ np.linalg.lstsq(known, true, rcond=None)[0]
    return float(np.sqrt((rest**2).sum(axis=1).mean()))


def rigid_error(found, true):
    """The same with the scale left as it is."""
    a, b = ((p - p.mean(axis=0)) @ [1, 1j] for p in (found, true))
    turn = a.conj() @ b
    return float(np.sqrt((np.abs(b - a * turn / abs(turn)) ** 2).mean()))
