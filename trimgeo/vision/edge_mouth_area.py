"""What lies in a detour from the straight way: plain ground, the wall, or what has steps of its own."""

from __future__ import annotations

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray

from trimgeo.vision.edge_ground import off_shades
from trimgeo.vision.edge_profile import Sight, sampled, wall_at, wall_widths

Floats = NDArray[np.float64]

_RIM = 0.35
"""Distance, mm, from the detour and its wall within which their own steps are seen."""
_AROUND = 0.15
"""Half the width, mm, over which a step is looked for: shadows are softer."""
_STEP = 30.0
"""Grey levels of a step, besides the ground's grain."""
_EVEN = 20
"""By how much, of 255, the print's share of ink may change where steps are looked for."""
_LEAST, _MOST = 0.3, 0.06
"""Area, mm\u00b2, that tells, and the share of it with steps up to which it is plain."""

_WALL_SEEN = 3.0
"""Width, pixels, at which a wall's colour shows."""


def is_plain(sight: Sight, way: Floats, detour: Floats) -> bool:
    """Whether the ground between a way and a detour, (n, 2) each, has no steps but its print's."""
    wall = 0.0
    if sight.eye is not None:
        far = float(np.hypot(*(detour.mean(axis=0) - sight.eye[:2])))
        wall = far * sight.thickness / (sight.eye[2] + sight.thickness)
    between = shapely.Polygon(np.vstack([way, detour[::-1]])).buffer(0).buffer(-_RIM - wall)
    if between.area < _LEAST:
        return True
    reach = max(1, round(_AROUND * sight.per_mm))
    corners = np.array(between.bounds).reshape(2, 2) * (sight.per_mm, -sight.per_mm) + sight.origin
    left, top = (int(v) - reach - 1 for v in corners.min(axis=0))
    right, low = (int(v) + reach + 2 for v in corners.max(axis=0))
    part = (slice(max(top, 0), low), slice(max(left, 0), right))
    rows, columns = np.indices(sight.pixels[part].shape[:2])
    x = (columns + max(left, 0) - sight.origin[0]) / sight.per_mm
    y = (sight.origin[1] - rows - max(top, 0)) / sight.per_mm
    looked = shapely.contains_xy(between, x, y)
    around = np.ones((2 * reach + 1, 2 * reach + 1), np.uint8)
    smooth = cv2.GaussianBlur(sight.pixels[part], (0, 0), 1.0)
    steps = (cv2.dilate(smooth, around) - cv2.erode(smooth, around)).max(axis=2)
    if sight.under is not None:
        ink = sight.under.ink[part]
        looked &= cv2.dilate(ink, around) - cv2.erode(ink, around) < _EVEN
    else:  # a shadow has steps as well, between shades of the ground
        shades = [off_shades(smooth.astype(np.float32), each, sight.shades) for each in sight.grounds]
        steps[cv2.dilate(np.min(shades, axis=0), around) < sight.level] = 0
    if looked.sum() / sight.per_mm**2 < _LEAST:
        return True
    return bool((steps[looked] > _STEP + 2 * sight.grain).mean() < _MOST)


def share_with_wall(sight: Sight, places: Floats, normals: Floats) -> float:
    """Share of the visible wall at places, (n, 2), that has the wall's colour; 0 if it is not seen."""
    if sight.wall is None:
        return 0.0
    walls = wall_widths(sight, places, normals)
    seen = walls * sight.per_mm > _WALL_SEEN
    if seen.sum() < 10:
        return 0.0
    places, normals, walls = places[seen], normals[seen], walls[seen]
    middle = _colours_at(sight, places, normals, walls / 2)
    others = [_colours_at(sight, places, normals, at) for at in (-0.3 + 0 * walls, walls + 0.3)]
    known = wall_at(sight.wall, normals)
    off = np.linalg.norm(middle - known, axis=1)
    return float(
        np.all([off < 0.6 * np.linalg.norm(other - known, axis=1) for other in others], axis=0).mean()
    )


def _colours_at(sight: Sight, places: Floats, normals: Floats, at: Floats) -> Floats:
    near = np.array([-0.03, 0.0, 0.03])
    return np.asarray(sampled(sight, places + normals * at[:, None], normals, near).mean(axis=1))
