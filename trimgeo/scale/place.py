"""Where the board lies in a picture: origin and x axis from two pixels."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from trimgeo.model.planemap import PlaneMap
from trimgeo.tables import PIXEL_READING

Floats = NDArray[np.float64]
Pixel = tuple[float, float]


def placed(scaled: PlaneMap, origin: Pixel, along: Pixel, reading: float = PIXEL_READING) -> PlaneMap:
    """The map moved and turned so that ``origin`` is (0, 0) and ``along`` lies on the +x axis.

    ``scaled`` is true to scale and to handedness; its own origin and direction are given up.  The
    new map is T H with T the rigid motion that the mapped pixels o, a define.  Its covariance has
    the old one's, and the ``reading`` of both pixels (standard uncertainty each way), to first order
    (GUM 5.2): dM = T dH + dT H, where dT follows o and the angle of a - o, and these follow H, the lens
    and the pixels.  The lens stays as it is.

    >>> scan = PlaneMap(np.diag([0.1, -0.1, 1.0]), np.zeros((9, 9)))
    >>> placed(scan, (10.0, 90.0), (60.0, 90.0)).to_mm([[20.0, 70.0]]).round(9)
    array([[1., 2.]])
    """
    ends = np.array([origin, along])
    (ox, oy), (ax, ay) = scaled.to_mm(ends)
    length = float(np.hypot(ax - ox, ay - oy))
    c, s = (ax - ox) / length, (ay - oy) / length
    motion = np.array([[c, s, -c * ox - s * oy], [-s, c, s * ox - c * oy], [0, 0, 1.0]])
    by_angle = np.array([[-s, c, s * ox - c * oy], [-c, -s, c * ox + s * oy], [0, 0, 0.0]])
    by_shift = np.zeros((2, 3, 3))
    by_shift[:, 0, 2], by_shift[:, 1, 2] = [-c, -s], [s, -c]

    known = len(scaled.covariance)
    ends_by_input = np.zeros((2, 2, known + 4))  # positions of both, by what the map rests on and 4 readings
    ends_by_input[:, :, :known] = scaled.jacobian(ends)
    slopes = scaled.slopes(ends)
    ends_by_input[0, :, known : known + 2], ends_by_input[1, :, known + 2 :] = slopes
    angle_by_input = np.array([-s, c]) @ (ends_by_input[1] - ends_by_input[0]) / length

    by_input = np.zeros((known, known + 4))
    by_input[:9, :9] = np.kron(motion, np.eye(3))
    by_input[9:, 9:known] = np.eye(known - 9)
    by_input[:9] += np.outer((by_angle @ scaled.matrix).ravel(), angle_by_input)
    for k in range(2):
        by_input[:9] += np.outer((by_shift[k] @ scaled.matrix).ravel(), ends_by_input[0, k])
    inputs = np.zeros((known + 4, known + 4))
    inputs[:known, :known] = scaled.covariance
    inputs[known:, known:] = reading**2 * np.eye(4)
    eye = scaled.eye
    if eye is not None:
        x, y, _ = motion @ [eye[0], eye[1], 1.0]
        eye = (float(x), float(y), eye[2])
    return PlaneMap(
        motion @ scaled.matrix, by_input @ inputs @ by_input.T, scaled.size, lens=scaled.lens, eye=eye
    )
