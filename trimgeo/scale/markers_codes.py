"""The coded markers of a reference card in a picture: which, and roughly where."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice
from types import ModuleType
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from trimgeo.model.card import DICTIONARY, MARKER_SHARE, Card

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Grey = NDArray[np.uint8]

_WORKING: Final = 4e6
"""Pixels in which codes are read: finer detail costs time and lets blur and noise in."""
_WINDOWS: Final = (9, 33, 12)
"""Sides of the windows, pixels, that tell dark from light: least, greatest, step.  A marker's border is
some 3 to 8 of the working pixels wide."""
_LEAST_PERIMETER: Final = 0.012
"""Perimeter of the least marker / longer side of the picture: a card a third as wide as the picture."""
_TOLERANCE: Final = 0.6
"""Sides of a square by which a marker may lie off the one plane: a strong lens bends a card's border by
less, another card lies further off."""
_SHARPENING: Final = np.float32(8.0)
"""Reads most codes of a card whose edges spread by half a cell (tried: 2, 4, 8, 20)."""
_ENOUGH: Final = 30
"""Codes after which no other way to read is tried: a quarter of the card's."""
_GROUP: Final = 4
"""Codes that agree on a place: fewer are chance, since one code in some hundreds is read where none is."""


@dataclass(frozen=True)
class Codes:
    """Markers read: ``ids`` (m,) codes and ``quads`` (m, 4, 2) their corners, pixels of the whole picture."""

    ids: Ints
    quads: Floats

    def __len__(self) -> int:
        return len(self.ids)

    def only(self, which: NDArray[np.bool_]) -> Codes:
        """Those that a mask (m,) names."""
        return Codes(self.ids[which], self.quads[which])


@dataclass(frozen=True)
class Sighting:
    """One card in a picture: ``codes`` that lie on its plane, ``others`` that lie on another one."""

    card: Card
    codes: Codes
    others: Codes


def sight(grey: Grey, cards: tuple[Card, ...], ways: int = 5) -> Sighting:
    """The one of the cards that shows the most markers, read in several ways until they are enough.

    ``grey`` has shape (rows, columns); at most so many ``ways`` are tried.  The sighting may be empty.
    """
    best = Sighting(cards[0], _no_codes(), _no_codes())
    for small in islice(_ways(grey), ways):
        codes = _read(small, grey, np.concatenate([card.marker_ids for card in cards]))
        for card in cards:
            found = _sorted_out(card, codes.only(np.isin(codes.ids, card.marker_ids)))
            if len(found.codes) > len(best.codes):
                best = found
        if len(best.codes) >= _ENOUGH:
            break
    return best


def opencv() -> ModuleType:
    """OpenCV, imported when it is needed: whoever read the picture has seen to it that it is there."""
    import cv2

    return cv2


def _no_codes() -> Codes:
    return Codes(np.empty(0, np.intp), np.empty((0, 4, 2)))


def _ways(grey: Grey) -> Iterator[Grey]:
    """The picture as codes are read in it: at a working size, sharpened, in even light, at other sizes."""
    cv2 = opencv()
    working = _shrunk(grey, _WORKING)
    yield working
    yield _sharpened(working)
    tiles = cv2.createCLAHE(clipLimit=4.0, tileGridSize=(8, 8))
    yield tiles.apply(working)
    if working.size < _WORKING / 8:
        yield _sharpened(_enlarged(working))
    if working.size > _WORKING / 4:
        yield _shrunk(grey, _WORKING / 4)
    if grey.size > 2 * _WORKING:
        yield _shrunk(grey, 4 * _WORKING)


def _shrunk(grey: Grey, pixels: float) -> Grey:
    factor = np.sqrt(pixels / grey.size)
    if factor >= 1:
        return np.ascontiguousarray(grey)
    size = [max(1, round(side * factor)) for side in grey.shape[::-1]]
    cv2 = opencv()
    return np.asarray(cv2.resize(grey, size, interpolation=cv2.INTER_AREA), np.uint8)


def _enlarged(grey: Grey) -> Grey:
    """Three times the size: a video frame's codes have two or three pixels a cell, too few to tell apart."""
    cv2 = opencv()
    return np.asarray(cv2.resize(grey, None, fx=3, fy=3, interpolation=cv2.INTER_CUBIC), np.uint8)


def _sharpened(grey: Grey) -> Grey:
    """What blur has taken from the codes given back: detail of one to three pixels, much amplified."""
    cv2 = opencv()
    fine = cv2.GaussianBlur(grey, (0, 0), 1.0).astype(np.float32)
    fine += _SHARPENING * (fine - cv2.GaussianBlur(fine, (0, 0), 3.0))
    return np.asarray(np.clip(fine, 0, 255), np.uint8)


def _read(small: Grey, grey: Grey, wanted: Ints) -> Codes:
    """The wanted codes in a reduced picture, corners in pixels of the whole one."""
    if min(small.shape) < 16:
        return _no_codes()
    quads, ids, _rejected = _detector(wanted).detectMarkers(small)
    if ids is None or len(ids) == 0:
        return _no_codes()
    scale = np.array(grey.shape[::-1]) / np.array(small.shape[::-1])
    corners = np.array(quads, np.float64).reshape(-1, 4, 2)
    # OpenCV numbers the codes of a dictionary from 0.
    return Codes(wanted[np.asarray(ids).ravel()], (corners + 0.5) * scale - 0.5)


def _detector(wanted: Ints) -> Any:
    """OpenCV's detector for some codes alone: of a thousand, most of its time goes into comparing."""
    aruco = opencv().aruco
    whole = aruco.getPredefinedDictionary(getattr(aruco, DICTIONARY))
    some = aruco.Dictionary(
        np.ascontiguousarray(whole.bytesList[wanted]), whole.markerSize, whole.maxCorrectionBits
    )
    parameters = aruco.DetectorParameters()
    (
        parameters.adaptiveThreshWinSizeMin,
        parameters.adaptiveThreshWinSizeMax,
        parameters.adaptiveThreshWinSizeStep,
    ) = _WINDOWS
    parameters.minMarkerPerimeterRate = _LEAST_PERIMETER
    return aruco.ArucoDetector(some, parameters)


def _sorted_out(card: Card, codes: Codes) -> Sighting:
    """The largest set of markers that lie on one plane as the card has them, each code once."""
    on = _plane(card, codes)
    codes_on, rest = codes.only(on), codes.only(~on)
    also = _plane(card, rest)
    others = rest.only(also)
    # The same code twice on one plane: two cards that nearly cover each other, or one read twice.
    _, first = np.unique(codes_on.ids, return_index=True)
    return Sighting(card, codes_on.only(np.isin(np.arange(len(codes_on)), first)), others)


def _plane(card: Card, codes: Codes) -> NDArray[np.bool_]:
    """Which codes agree on one homography, mask (m,): none where under four do."""
    none = np.zeros(len(codes), bool)
    if len(codes) < _GROUP:
        return none
    cv2 = opencv()
    mm, pixels = card.markers(codes.ids), codes.quads
    side = float(np.median(np.hypot(*(pixels[:, 1] - pixels[:, 0]).T))) / MARKER_SHARE
    matrix, inside = cv2.findHomography(
        mm.reshape(-1, 1, 2), pixels.reshape(-1, 1, 2), cv2.RANSAC, _TOLERANCE * side, maxIters=4000
    )
    if matrix is None or not np.isfinite(matrix).all():
        return none
    every: NDArray[np.bool_] = np.asarray(np.asarray(inside, bool).reshape(-1, 4).all(1))
    return every if every.sum() >= _GROUP else none
