"""A camera with more in it than any fit here knows: three radial terms, two tangential, aspect and skew."""

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, eq=False)
class Camera:
    """Brown's lens (Brown 1966, Decentering distortion of lenses) and pixels that are not quite square.

    ``size`` (columns, rows); ``focal`` px; ``centre`` px; ``radial`` k1, k2, k3; ``tangential`` p1, p2;
    ``aspect`` is fy / fx - 1; ``skew`` in columns a row; ``turn`` (3, 3) world to camera, y down, z ahead;
    ``eye`` (3,) where it stands, mm.
    """

    size: tuple[int, int]
    focal: float
    centre: tuple[float, float]
    radial: tuple[float, float, float]
    tangential: tuple[float, float]
    aspect: float
    skew: float
    turn: np.ndarray
    eye: np.ndarray

    def pixels(self, world):
        """Pixels, shape (n, 2), of places in the world, shape (n, 3), mm: closed form, exact."""
        seen = (np.asarray(world, float) - self.eye) @ self.turn.T
        x, y = self.bent(seen[:, :2] / seen[:, 2:]).T
        v = self.focal * (1 + self.aspect) * y
        return np.column_stack([self.centre[0] + self.focal * x + self.skew * v, self.centre[1] + v])

    def bent(self, straight):
        """Where the lens puts the direction (x, y, 1)."""
        x, y = straight.T
        (k1, k2, k3), (p1, p2) = self.radial, self.tangential
        s = x**2 + y**2
        gain = 1 + s * (k1 + s * (k2 + s * k3))
        return np.column_stack(
            [
                x * gain + 2 * p1 * x * y + p2 * (s + 2 * x**2),
                y * gain + p1 * (s + 2 * y**2) + 2 * p2 * x * y,
            ]
        )

    def rays(self, pixels):
        """Directions in the world, shape (n, 3), of pixels: Newton's method on `bent`."""
        v = (pixels[:, 1] - self.centre[1]) / (self.focal * (1 + self.aspect))
        u = (pixels[:, 0] - self.centre[0] - self.skew * (pixels[:, 1] - self.centre[1])) / self.focal
        wanted = np.column_stack([u, v])
        at = wanted / np.maximum(1, np.hypot(u, v) / 1.2)[:, None]
        for _ in range(40):
            miss = self.bent(at) - wanted
            slopes = self._slopes(at)
            step = np.linalg.solve(slopes, miss[:, :, None])[:, :, 0]
            at = at - step / np.maximum(1, np.hypot(*step.T) / 0.3)[:, None]
            if np.abs(step).max(initial=0) < 1e-13:
                break
        return np.column_stack([at, np.ones(len(at))]) @ self.turn

    def _slopes(self, at):
        x, y = at.T
        (k1, k2, k3), (p1, p2) = self.radial, self.tangential
        s = x**2 + y**2
        gain = 1 + s * (k1 + s * (k2 + s * k3))
        rise = 2 * (k1 + s * (2 * k2 + 3 * s * k3))
        slopes = np.empty((len(at), 2, 2))
        slopes[:, 0, 0] = gain + rise * x * x + 2 * p1 * y + 6 * p2 * x
        slopes[:, 0, 1] = slopes[:, 1, 0] = rise * x * y + 2 * p1 * x + 2 * p2 * y
        slopes[:, 1, 1] = gain + rise * y * y + 6 * p1 * y + 2 * p2 * x
        return slopes

    def monotonic(self, margin=1.02):
        """Whether the lens keeps radii in order, by at least a quarter, to a little past the corners."""
        columns, rows = self.size
        corners = np.array([[0, 0], [columns, 0], [0, rows], [columns, rows]], float)
        reach = margin * np.hypot(*((corners - self.centre) / self.focal).T).max()
        r = np.linspace(0, 1.6, 1601)
        k1, k2, k3 = self.radial
        slope = 1 + r**2 * (3 * k1 + r**2 * (5 * k2 + 7 * r**2 * k3))
        taken = r * (1 + r**2 * (k1 + r**2 * (k2 + r**2 * k3)))
        bad = np.flatnonzero(slope < 0.25)
        usable = taken[bad[0] - 1] if len(bad) else taken[-1]
        return bool(usable > reach)


def turned(axis, degrees):
    """Rotation matrix, shape (3, 3), right-handed round an axis (Rodrigues)."""
    a = np.asarray(axis, float) / np.linalg.norm(axis)
    cross = np.array([[0, -a[2], a[1]], [a[2], 0, -a[0]], [-a[1], a[0], 0]])
    angle = np.radians(degrees)
    return np.eye(3) + np.sin(angle) * cross + (1 - np.cos(angle)) * cross @ cross
