"""Whether discs of a board's face may be pads as well as holes: where more of the face has their colour."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from trimgeo.model.board import Picture, Pixels
from trimgeo.vision.hole_colours import METAL
from trimgeo.vision.hole_fit import LUMA, Fit

Floats = NDArray[np.float64]

_ALIKE = 24
"""Grey levels by which each channel of one colour may differ over a face."""
_ENOUGH = 0.5
"""Area of the holes' colour, mm2, that says that the face has it: two small pads."""


def pads_likely(
    picture: Picture, pixels: Pixels, within: Polygon, opening: Floats, discs: Sequence[Fit]
) -> bool:
    """Whether the face shows what ``opening`` (blue, green, red) is outside of the discs as well.

    >>> pixels = np.full((200, 200, 3), 60, np.uint8)
    >>> pixels[60:80, 60:90] = 200
    >>> picture = Picture(10.0, (0.0, 199.0), (200, 200), lambda: pixels)
    >>> pads_likely(picture, pixels, shapely.box(1, 1, 19, 19), np.full(3, 200.0), [])
    True
    """
    if float(opening @ LUMA) < METAL:
        return False
    per_mm = picture.pixels_per_mm
    alike = np.asarray(
        cv2.inRange(pixels, np.clip(opening - _ALIKE, 0, 255), np.clip(opening + _ALIKE, 0, 255))
    )
    face = np.zeros(alike.shape, np.uint8)
    for ring in (within.exterior, *within.interiors):
        at = shapely.get_coordinates(ring) * (per_mm, -per_mm) + picture.origin
        cv2.fillPoly(face, [np.round(at).astype(np.int32)], 0 if face.any() else 255)
    for fit in discs:
        (x, y), radius = fit.disc.centre, fit.disc.radius + 3.0
        cv2.circle(face, (round(x), round(y)), int(np.ceil(radius)), 0, -1)
    wide = cv2.morphologyEx(cv2.bitwise_and(alike, face), cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
    return bool(cv2.countNonZero(wide) > _ENOUGH * per_mm**2)
