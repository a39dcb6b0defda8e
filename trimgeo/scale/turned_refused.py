"""Why two scans do not show the same face, the second turned by 180 degrees."""

from __future__ import annotations

from types import ModuleType
from typing import Final

import numpy as np

from trimgeo.errors import JobError, quoted
from trimgeo.scale.turned_facing import MOST_OFF, SIDE, Facing, facing
from trimgeo.scale.turned_pairs import LEAST, Scans, agree, features

_STEP: Final = 3.0
"""Degrees between the turns that are tried, on pictures half as fine; then the best is tried closer."""
_AGAIN: Final = (
    "scan the same face again over the same area and at the same resolution, turned by 180 degrees on the "
    "glass, and leave the file as it was scanned"
)


def why_not_turned(
    cv2: ModuleType, whole: Scans, coarse: Scans, where: str, label: str, against: str
) -> JobError:
    """The sentence: ``whole`` are the scans, ``coarse`` the same reduced; labels name second and first.

    Every other turn is tried, and the mirror image; what is named was confirmed by patches.
    """
    told = f"found {quoted(label)}"
    for picture, name in ((coarse.first, against), (coarse.second, label)):
        if features(cv2, picture) < LEAST:
            return JobError(
                where,
                f"{told} beside {quoted(against)}, and {quoted(name)} shows too little to compare them by",
                "scan the face with its copper, print and parts in focus, or take `turned` out",
            )
    others = [_best_turn(cv2, whole, mirrored=mirrored) for mirrored in (False, True)]
    for other in sorted(others, key=lambda each: -each.peak):
        if agree(cv2, coarse, other):
            return JobError(where, f"{told}, {_told(other)} {quoted(against)}", _fix(other))
    return JobError(where, f"{told}, which does not show the same face as {quoted(against)}", _AGAIN)


def _best_turn(cv2: ModuleType, whole: Scans, *, mirrored: bool) -> Facing:
    """How the second lies by a coarse look, other than turned by 180 degrees or so."""
    angles = np.arange(0.0, 360.0, _STEP)
    if not mirrored:
        angles = angles[np.abs(angles - 180) > MOST_OFF]
    first, second, pixel = whole.first, whole.second, whole.pixel
    rough = facing(cv2, first, second, pixel, angles, mirrored=mirrored, side=SIDE // 2)
    near = rough.angle + np.arange(-_STEP / 2, _STEP / 2 + 0.1, 0.5)
    return facing(cv2, first, second, pixel, near, mirrored=mirrored)


def _told(other: Facing) -> str:
    if other.mirrored:
        return "a mirror image of"
    angle = round((other.angle + 180) % 360 - 180)
    if abs(angle) <= MOST_OFF:
        return "which lies the same way up as"
    return f"which is turned by about {abs(angle)} degrees against"


def _fix(other: Facing) -> str:
    return "give it as it was scanned, not mirrored" if other.mirrored else _AGAIN
