"""The picture as it was taken, turned as a viewer shows it."""

from __future__ import annotations

from functools import partial
from types import ModuleType

import numpy as np

from trimgeo.errors import JobError
from trimgeo.model.board import Pixels, Shot
from trimgeo.scale.decode import decode, shown_turned
from trimgeo.scale.source import Source

_BAND = 1024
_INSTALL = "install the Python package opencv-python"
_INSTALL_LIBRARIES = (
    "install the system libraries libgl1 and libglib2.0-0 (Debian, Ubuntu) or mesa-libGL and glib2 (Fedora)"
)


def shot_of(source: Source) -> Shot:
    """The picture of a source; nothing is decoded until its pixels are asked for."""
    return Shot(source.size, partial(_colour, source), partial(_grey, source))


def _colour(source: Source) -> Pixels:
    return np.ascontiguousarray(turned_as_shown(decode(source), shown_turned(source)))


def _grey(source: Source) -> Pixels:
    """Grey by the weights of ITU-R BT.601, as OpenCV has them, in bands: no second copy in colour."""
    cv2 = opencv(source.where)
    stored = decode(source)
    grey = np.empty(stored.shape[:2], np.uint8)
    for top in range(0, len(grey), _BAND):
        grey[top : top + _BAND] = cv2.cvtColor(stored[top : top + _BAND], cv2.COLOR_BGR2GRAY)
    return np.ascontiguousarray(turned_as_shown(grey, shown_turned(source)))


def turned_as_shown(stored: Pixels, orientation: int) -> Pixels:
    """Stored pixels, shape (rows, columns, ...), as a viewer shows them, by EXIF orientation (CIPA DC-008).

    >>> turned_as_shown(np.array([[1, 2, 3]], np.uint8), 6)  # the camera was held on its side
    array([[1],
           [2],
           [3]], dtype=uint8)
    """
    if orientation in (5, 7):
        stored = np.swapaxes(stored, 0, 1)
    turned = {2: stored[:, ::-1], 3: stored[::-1, ::-1], 4: stored[::-1], 7: stored[::-1, ::-1]}
    if orientation in (6, 8):
        return np.rot90(stored, -1 if orientation == 6 else 1)
    return turned.get(orientation, stored)


def opencv(where: str) -> ModuleType:
    """OpenCV, loaded where pixels are needed and nowhere else.

    Raises `trimgeo.JobError` at ``where`` with what to install where it is missing or cannot be loaded.
    """
    try:
        import cv2
    except ImportError as fault:
        if getattr(fault, "name", None) == "cv2":
            raise JobError(where, "its picture needs OpenCV, which is not installed", _INSTALL) from fault
        raise JobError(
            where, f"its picture needs OpenCV, which cannot be loaded ({fault})", _INSTALL_LIBRARIES
        ) from fault
    module: ModuleType = cv2
    return module
