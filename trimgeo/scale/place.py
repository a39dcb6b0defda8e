"""Where the board lies in a picture: origin and x axis from two pixels."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from trimgeo.model.planemap import PlaneMap
from trimgeo.tables import PIXEL_READING

Floats = NDArray[np.float64]
Pixel = tuple[float, float]


def placed(scaled: PlaneMap, origin: Pixel, along: Pixel) -> PlaneMap:
    """The map moved and turned so that ``origin`` is (0, 0) and ``along`` lies on the +x axis.

    ``scaled`` is true to scale and to handedness; its own origin and direction are given up.  The
    new map is T H with T the rigid motion that the mapped pixels o, a define.  Its covariance has
    the old one's, and the reading of both pixels (`PIXEL_READING` each way), to first order (GUM 5.2):
    dM = T dH + dT H, where dT follows o and the angle of a - o, and these follow H and the pixels.

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

    entries, slopes = scaled.jacobian(ends), scaled.slopes(ends)
    ends_by_input = np.zeros((2, 2, 13))  # positions of both pixels, by 9 entries and 4 pixel coordinates
    ends_by_input[:, :, :9] = entries
    ends_by_input[0, :, 9:11], ends_by_input[1, :, 11:13] = slopes
    angle_by_input = np.array([-s, c]) @ (ends_by_input[1] - ends_by_input[0]) / length

    by_input = np.zeros((9, 13))
    by_input[:, :9] = np.kron(motion, np.eye(3))
    by_input += np.outer((by_angle @ scaled.matrix).ravel(), angle_by_input)
    for k in range(2):
        by_input += np.outer((by_shift[k] @ scaled.matrix).ravel(), ends_by_input[0, k])
    inputs = np.zeros((13, 13))
    inputs[:9, :9] = scaled.covariance
    inputs[9:, 9:] = PIXEL_READING**2 * np.eye(4)
    return PlaneMap(motion @ scaled.matrix, by_input @ inputs @ by_input.T, scaled.size)
