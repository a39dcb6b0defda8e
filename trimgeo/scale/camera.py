"""A camera before a card: where it shows places, and how that changes with all that is not known of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trimgeo.model.lens import BrownLens

Floats = NDArray[np.float64]

CAMERA = 16
"""Parameters of a camera: centre (2), log of the focal length, k1, k2, k3, p1, p2, aspect, skew, turn (3),
shift (3)."""

FOCAL, RADIAL, TURN, SHIFT = 2, slice(3, 6), slice(10, 13), slice(13, 16)
"""Places in that order."""


@dataclass(frozen=True, eq=False)
class Camera:
    """Lens, shape of the pixels and pose.

    ``aspect`` is height / width of a pixel's step less 1 and ``skew`` columns a row.  A place X (mm,
    the card's frame about some pivot) lies at turn X + shift before the camera: x right, y down, z ahead.

    >>> lens = BrownLens((500.0, 400.0), 1000.0, 0.0, 0.0, 0.0, 0.0, 0.0)
    >>> camera = Camera(lens, 0.0, 0.0, np.diag([1.0, -1.0, -1.0]), np.array([0.0, 0.0, 200.0]))
    >>> camera.seen(np.array([[20.0, 10.0, 0.0], [20.0, 10.0, 100.0]]))  # half as far, twice as far off
    array([[600., 350.],
           [700., 300.]])
    """

    lens: BrownLens
    aspect: float
    skew: float
    turn: Floats
    shift: Floats

    @property
    def parameters(self) -> Floats:
        """All but the turn, which counts from where it is."""
        lens = self.lens
        lens_terms = [*lens.centre, np.log(lens.focal), lens.k1, lens.k2, lens.k3, lens.p1, lens.p2]
        return np.array([*lens_terms, self.aspect, self.skew, 0.0, 0.0, 0.0, *self.shift])

    @property
    def eye(self) -> Floats:
        """Where the camera stands, shape (3,)."""
        return np.asarray(-self.turn.T @ self.shift)

    @property
    def pixel_shape(self) -> Floats:
        """What takes a square pixel's offset from the centre to a real one's, shape (2, 2)."""
        return np.array([[1.0, self.skew], [0.0, 1 + self.aspect]])

    def moved(self, step: Floats) -> Camera:
        """The camera with its parameters moved by ``step``, shape (16,)."""
        moved = self.parameters + step
        lens = BrownLens((float(moved[0]), float(moved[1])), float(np.exp(moved[2])), *map(float, moved[3:8]))
        return Camera(lens, float(moved[8]), float(moved[9]), rotation(step[TURN]) @ self.turn, moved[SHIFT])

    def seen(self, places: Floats) -> Floats:
        """Pixels, shape (n, 2), of places, shape (n, 3)."""
        ahead = places @ self.turn.T + self.shift
        centre = np.array(self.lens.centre)
        ideal = centre + self.lens.focal * ahead[:, :2] / ahead[:, 2:]
        return np.asarray(centre + (self.lens.raw(ideal) - centre) @ self.pixel_shape.T)

    def slopes(self, places: Floats) -> tuple[Floats, Floats]:
        """d(pixel)/d(parameters), shape (n, 2, 16), and d(pixel)/d(place), shape (n, 2, 3)."""
        turned = places @ self.turn.T
        ahead = turned + self.shift
        x = ahead[:, :2] / ahead[:, 2:]
        centre, shape = np.array(self.lens.centre), self.pixel_shape
        ideal = centre + self.lens.focal * x
        off = self.lens.raw(ideal) - centre

        by_ahead = np.zeros((len(places), 2, 3))
        by_ahead[:, :, :2] = np.eye(2)
        by_ahead[:, :, 2] = -x
        by_ahead *= self.lens.focal / ahead[:, 2, None, None]
        by_ahead = shape @ self.lens.raw_slopes(ideal) @ by_ahead
        by = np.zeros((len(places), 2, CAMERA))
        by[:, :, :2] = np.eye(2)
        by[:, :, FOCAL] = off @ shape.T
        by[:, :, 3:8] = shape @ self.lens.raw_jacobian(ideal)[:, :, 3:8]
        by[:, 1, 8] = by[:, 0, 9] = off[:, 1]
        by[:, :, TURN] = -by_ahead @ _crosses(turned)
        by[:, :, SHIFT] = by_ahead
        return by, by_ahead @ self.turn


def rotation(vector: Floats) -> Floats:
    """Rotation matrix by |vector| radians round it (Rodrigues).

    >>> rotation(np.array([0.0, 0.0, np.pi / 2])).round(9) @ [1.0, 0.0, 0.0]
    array([0., 1., 0.])
    """
    angle = float(np.linalg.norm(vector))
    cross = _crosses(np.atleast_2d(vector))[0]
    if angle < 1e-12:
        return np.asarray(np.eye(3) + cross)
    sine, rest = np.sin(angle) / angle, (1 - np.cos(angle)) / angle**2
    return np.asarray(np.eye(3) + sine * cross + rest * cross @ cross)


def _crosses(vectors: Floats) -> Floats:
    """Matrices, shape (n, 3, 3), that take w to v x w."""
    crosses = np.zeros((len(vectors), 3, 3))
    for a, b, c in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):
        crosses[:, a, b], crosses[:, b, a] = -vectors[:, c], vectors[:, c]
    return crosses


def first_camera(at: Floats, pixels: Floats, lens: BrownLens) -> Camera:
    """Pose by a perspective map from places ``at`` on a plane, shape (n, 2), mm, to pixels, for a given lens.

    The columns of K⁻¹ H are the card's x and y and the shift, up to one factor; the nearest rotation is
    taken (Zhang 2000, A flexible new technique for camera calibration, 3.1).
    """
    normal = _perspective(at, lens.ideal(pixels))
    centre = lens.centre
    seen = np.array([[1, 0, -centre[0]], [0, 1, -centre[1]], [0, 0, lens.focal]]) @ normal / lens.focal
    seen /= np.sqrt(np.linalg.norm(seen[:, 0]) * np.linalg.norm(seen[:, 1])) * np.sign(seen[2, 2])
    left, _, right = np.linalg.svd(np.column_stack([seen[:, :2], np.cross(seen[:, 0], seen[:, 1])]))
    turn = left @ np.diag([1, 1, np.linalg.det(left @ right)]) @ right
    return Camera(lens, 0.0, 0.0, turn, seen[:, 2])


def _perspective(at: Floats, pixels: Floats) -> Floats:
    """Direct linear transformation about the centroids, outliers weighed down, shape (3, 3)."""
    frames = []
    for points in (at, pixels):
        middle = np.median(points, axis=0)
        size = float(np.median(np.hypot(*(points - middle).T)))
        frames.append(np.array([[1, 0, -middle[0]], [0, 1, -middle[1]], [0, 0, size]]) / size)
    (x, y), (u, v) = (
        (points @ frame[:2, :2].T + frame[:2, 2]).T
        for points, frame in zip((at, pixels), frames, strict=True)
    )
    one, zero = np.ones_like(x), np.zeros((len(x), 3))
    place = np.column_stack([x, y, one])
    rows = np.stack(
        [
            np.column_stack([place, zero, -u[:, None] * place]),
            np.column_stack([zero, place, -v[:, None] * place]),
        ]
    )
    weight = np.ones_like(x)
    for _ in range(12):
        stacked = (rows * weight[None, :, None]).reshape(-1, 9)
        last = np.linalg.svd(stacked, full_matrices=False)[2][-1]
        miss = np.hypot(*(rows @ last)) / np.maximum(np.abs(place @ last[6:]), 1e-9)
        weight = 1 / np.sqrt(1 + (miss / max(float(np.median(miss)) * 2, 1e-9)) ** 2)
    return np.asarray(np.linalg.inv(frames[1]) @ last.reshape(3, 3) @ frames[0])
