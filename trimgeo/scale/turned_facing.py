"""How one picture of a face lies against another: turned by how much, moved how far, or mirrored."""

from __future__ import annotations

from dataclasses import dataclass
from types import ModuleType
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Grey = NDArray[np.uint8]

MOST_OFF: Final = 10.0
"""Degrees that the second scan may be off 180: more than a hand lays a straight board down."""
SIDE: Final = 256
"""Pixels along the longer side of the pictures that are compared."""
_DETAIL: Final = 3.0
"""What is smoother than this many of them is light, not detail."""
_RIM: Final = 3
"""Pixels along the rim that are left out: a scan's edge is no feature of the face."""
_TINY: Final = 1e-9


@dataclass(frozen=True)
class Facing:
    """Second position = R(angle) first position (+ mirrored in x first) + shift; mm, y down, degrees.

    ``peak`` is the correlation of the two pictures, coarsely seen.
    """

    angle: float
    mirrored: bool
    shift: tuple[float, float]
    peak: float

    def turn(self) -> Floats:
        """The matrix, shape (2, 2), from steps in the first to steps in the second, mm."""
        a = np.radians(self.angle)
        matrix = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
        return matrix @ np.diag([-1.0, 1.0]) if self.mirrored else matrix


def facing(
    cv2: ModuleType,
    first: Grey,
    second: Grey,
    pixel: Floats,
    angles: Floats,
    *,
    mirrored: bool = False,
    side: int = SIDE,
) -> Facing:
    """The best of some angles (degrees): by correlation of small pictures of what stands out.

    ``pixel``, shape (2,), is the size of a pixel in mm, x and y, of both pictures; ``side`` the pixels
    along the longer side of the small ones.
    """
    unit = max(float((np.array(p.shape[::-1]) * pixel).max()) for p in (first, second)) / side
    small, other = _small(cv2, first, pixel, unit), _small(cv2, second, pixel, unit)
    whole = cv2.getOptimalDFTSize(int(max(small.shape) + np.hypot(*other.shape)))
    padded = np.zeros((whole, whole), np.float32)
    padded[: small.shape[0], : small.shape[1]] = small
    still = cv2.dft(padded)
    best = Facing(0.0, mirrored, (0.0, 0.0), -1.0)
    for angle in angles:
        back = Facing(float(angle), mirrored, (0.0, 0.0), 0.0).turn()
        place, peak = _best_shift(cv2, small, still, other, back)
        if peak > best.peak:
            shift = (place + 0.5) * unit - back @ [0.5 * unit, 0.5 * unit]
            best = Facing(float(angle), mirrored, (float(shift[0]), float(shift[1])), peak)
    return best


def _best_shift(
    cv2: ModuleType, small: Singles, still: Singles, other: Singles, back: Floats
) -> tuple[Floats, float]:
    """Where pixel 0 of ``small`` (its transform is ``still``) lies in ``other``, and the correlation there.

    ``back``, shape (2, 2), takes steps in ``small`` to steps in ``other``.
    """
    side = len(still)
    reach = (side - 1) / 2
    centre = np.array([other.shape[1] - 1, other.shape[0] - 1]) / 2
    moved = cv2.warpAffine(
        other,
        np.column_stack([back, centre - back @ [reach, reach]]),
        (side, side),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
    )
    product = cv2.mulSpectrums(cv2.dft(moved), still, 0, conjB=True)
    values = cv2.dft(product, flags=cv2.DFT_INVERSE | cv2.DFT_SCALE | cv2.DFT_REAL_OUTPUT)
    values /= max(float(np.linalg.norm(small) * np.linalg.norm(moved)), _TINY)
    row, column = divmod(int(values.argmax()), side)
    place = np.array([column, row], dtype=float)
    middle = np.array([small.shape[1] - 1, small.shape[0] - 1]) / 2
    place -= side * np.rint((place + middle - reach) / side)  # known up to whole turns of `side`
    return centre + back @ (place - reach), float(values[row, column])


def _small(cv2: ModuleType, picture: Grey, pixel: Floats, unit: float) -> Singles:
    """What stands out, at ``unit`` mm a pixel: the picture less its smooth part, levelled."""
    size = [max(8, round(length * p / unit)) for length, p in zip(picture.shape[::-1], pixel, strict=True)]
    small = cv2.resize(picture, size, interpolation=cv2.INTER_AREA).astype(np.float32)
    rough = cv2.GaussianBlur(small, (0, 0), 0.7) - cv2.GaussianBlur(small, (0, 0), _DETAIL)
    spread = max(float(rough.std()), 1e-6)
    rough = np.clip(rough, -2 * spread, 2 * spread)
    rough[:_RIM], rough[-_RIM:], rough[:, :_RIM], rough[:, -_RIM:] = 0, 0, 0, 0
    return np.asarray(rough, dtype=np.float32)
