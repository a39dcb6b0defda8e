"""How standing things lean outwards in a camera's view."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Eye = tuple[float, float, float]


def feet_of(points: Floats, eye: Eye, height: float) -> Floats:
    """Where points of an upright part's top stand, shape (n, 2), mm, that are seen at ``points`` of the face.

    ``eye`` is the camera: x, y and its height above the face; ``height`` is the part's, less than that.
    A point at height h that is seen at q lies, by similar triangles, above
    ``eye_xy + (q - eye_xy) (1 - h / eye_z)``.  Raises ValueError where the part reaches the camera.

    A part 20 mm high, 80 mm off the axis, seen from 300 mm: its top is seen 5.7 mm off its foot.

    >>> feet_of(np.array([[85.714, 0.0]]), (0.0, 0.0, 300.0), 20.0).round(2)
    array([[80.,  0.]])
    """
    if not 0.0 <= height < eye[2]:
        raise ValueError(f"a part {height} mm high reaches a camera {eye[2]} mm above the face")
    foot = np.array(eye[:2])
    return np.asarray(foot + (points - foot) * (1 - height / eye[2]))
