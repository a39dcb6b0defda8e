"""The corners of a reference card in a picture, each with what it is worth, or the reason why not."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trimgeo.errors import JobError, quoted
from trimgeo.model.card import CARDS, Card
from trimgeo.scale.markers_codes import Codes, Sighting, opencv, sight
from trimgeo.scale.markers_saddle import REACH, Guesses, Saddles, fit_saddles

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Grey = NDArray[np.uint8]

LEAST_CORNERS: Final = 16
"""Corners below which a card is as good as covered: two for each unknown of lens and pose."""
LEAST_SPREAD: Final = 0.4
"""Sides of a square by which corners spread (rms) across the line they lie nearest to: two rows have 0.5."""
FLOOR: Final = 0.01
"""Pixels: no corner is known better, whatever the fit says: pixels are neither alike nor points."""
_FINE: Final = 120.0
"""Side of a square, pixels, as fine as a corner needs: finer pictures are halved, thirded, ..."""
_SOFT_MM: Final = 0.2
_SOFT_PIXELS: Final = 2.0
"""An edge that spreads by more than both (standard deviation) comes from focus or a shaken hand."""


@dataclass(frozen=True)
class Corners:
    """Chessboard corners of the card for ``paper`` as a picture shows them.

    ``ids`` (n,) are numbers of `trimgeo.model.card.Card`, ``pixels`` (n, 2) columns and rows, ``sigma`` (n,)
    the standard uncertainty of each coordinate in pixels; ``markers`` counts the codes read; ``blur`` is the
    standard deviation of the edges' spread in pixels; ``warnings`` are for the person who took the picture.
    """

    paper: str
    ids: Ints
    pixels: Floats
    sigma: Floats
    markers: int
    blur: float
    warnings: tuple[str, ...]


def find_corners(grey: Grey, paper: str, where: str, label: str) -> Corners:
    """Find the card for ``paper`` in a picture, shape (rows, columns), that lies as it is looked at.

    Codes are read in a reduced picture; from them each corner beside a code is predicted, and fitted in
    the whole one.  A corner that is partly covered does not look like one and is left out.
    Raises `trimgeo.JobError`, at ``where``, about the picture called ``label``: no card, a mirror image,
    another paper's card, two cards, too little of it.

    >>> white = np.full((300, 400), 255, np.uint8)
    >>> find_corners(white, "A4", "view", "a.png")  # doctest: +ELLIPSIS
    Traceback (most recent call last):
    ...
    trimgeo.errors.JobError: view, scale.card: found no reference card in "a.png"; print one with ...
    """
    card = CARDS[paper]
    seen = sight(grey, (card,))
    place = f"{where}, scale.card"
    if len(seen.codes) < _few(card):
        _refuse_others(grey, seen, card, place, label)
    if len(seen.others):
        raise JobError(
            place,
            f"found two cards for {paper} in {quoted(label)}, or one that was moved or cut apart",
            "photograph the board with one whole card",
        )
    ids, saddles, side = _fitted(grey, card, seen.codes)
    _refuse_few(card, ids, place, label)
    blur = float(np.median(saddles.blur))
    return Corners(
        paper,
        ids,
        saddles.centres,
        np.hypot(saddles.sigma, FLOOR),
        len(seen.codes),
        blur,
        _warnings(card, len(ids), blur, side),
    )


def _few(card: Card) -> int:
    """So few codes that the picture may show something else."""
    return len(card.marker_ids) // 8


def _refuse_others(grey: Grey, seen: Sighting, card: Card, place: str, label: str) -> None:
    """Say why there are few or no codes: a mirror image, another card, or none."""
    turned = sight(np.ascontiguousarray(grey[:, ::-1]), tuple(CARDS.values()), 2)
    if len(turned.codes) > 2 * len(seen.codes):
        raise JobError(
            place,
            f"found a mirror image of the card in {quoted(label)}",
            "use the picture as the camera took it, not flipped",
        )
    other = sight(grey, tuple(c for c in CARDS.values() if c is not card), 2)
    if len(other.codes) > 2 * len(seen.codes):
        raise JobError(
            place,
            f"found the card for {other.card.paper} in {quoted(label)}, not that for {card.paper}",
            f'write card = "{other.card.paper}" if that is the paper it was printed on',
        )
    if not len(seen.codes):
        raise JobError(
            place,
            f"found no reference card in {quoted(label)}",
            f"print one with `trimgeo card --paper {card.paper} --out card.pdf`, lay the board on it "
            "and photograph both, sharp and with at least a third of the card's border free",
        )


def _refuse_few(card: Card, ids: Ints, place: str, label: str) -> None:
    if len(ids) < LEAST_CORNERS:
        raise JobError(
            place,
            f"found only {len(ids)} of the card's {len(card.corner_ids)} corners in {quoted(label)}",
            "photograph it sharp, with at least a third of its border free",
        )
    mm = card.corners(ids)
    across = np.linalg.svd(mm - mm.mean(0), compute_uv=False)[1] / np.sqrt(len(mm))
    if across < LEAST_SPREAD * card.square:
        raise JobError(
            place,
            f"found {len(ids)} corners of the card in {quoted(label)}, nearly all on one line",
            "leave more of its border free: a corner of it, or two sides",
        )


def _warnings(card: Card, count: int, blur: float, side: float) -> tuple[str, ...]:
    warnings = []
    if blur > _SOFT_PIXELS and blur * card.square / side > _SOFT_MM:
        warnings.append(
            f"its picture is soft: edges spread by {blur:.1f} pixels ({blur * card.square / side:.2f} mm): "
            "focus on the card, hold still, use more light"
        )
    if count < len(card.corner_ids) / 4:
        warnings.append(
            f"only {count} of the card's {len(card.corner_ids)} corners can be used: "
            "leave more of its border free"
        )
    return tuple(warnings)


def _fitted(grey: Grey, card: Card, codes: Codes) -> tuple[Ints, Saddles, float]:
    """Corner numbers, their fit in pixels of the whole picture, and the side of a square in pixels."""
    ids, guesses = _guessed(card, codes)
    if not len(ids):
        return ids, fit_saddles(grey, guesses), 1.0
    sides = np.sqrt(np.abs(_cross(guesses.along, guesses.across)))
    side = float(np.median(sides))
    factor = max(1, round(side / _FINE))
    fine = _reduced(grey, factor)
    small = Guesses((guesses.centres + 0.5) / factor - 0.5, guesses.along / factor, guesses.across / factor)
    room = np.maximum(REACH * sides / factor, 4.0)[:, None] + 2
    inside = ((small.centres > room) & (small.centres < np.array(fine.shape[::-1]) - 1 - room)).all(1)
    ids, small, sides = ids[inside], _only(small, inside), sides[inside] / factor
    fit = fit_saddles(fine, small)
    good = _looks_like_one(fit, small, sides)
    fit = Saddles(*(getattr(fit, name)[good] for name in Saddles.__dataclass_fields__))
    whole = Saddles(
        (fit.centres + 0.5) * factor - 0.5,
        fit.sigma * factor,
        fit.blur * factor,
        fit.contrast,
        fit.residual,
        fit.still,
    )
    return ids[good], whole, side


def _only(guesses: Guesses, which: NDArray[np.bool_]) -> Guesses:
    return Guesses(guesses.centres[which], guesses.along[which], guesses.across[which])


def _cross(a: Floats, b: Floats) -> Floats:
    return np.asarray(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])


def _reduced(grey: Grey, factor: int) -> Grey:
    """The picture with squares of pixels averaged; the last ones that fill no square are left out."""
    if factor == 1:
        return grey
    rows, columns = (side // factor for side in grey.shape)
    cv2 = opencv()
    whole = grey[: rows * factor, : columns * factor]
    return np.asarray(cv2.resize(whole, (columns, rows), interpolation=cv2.INTER_AREA), np.uint8)


def _looks_like_one(fit: Saddles, guesses: Guesses, sides: Floats) -> NDArray[np.bool_]:
    """Which fits are a whole chessboard corner: (n,).

    A cover, a stain or the edge of a shadow in the window leaves more than the model of a corner can take
    up, compared with the picture's other corners.
    """
    moved = np.hypot(*(fit.centres - guesses.centres).T)
    good = np.asarray(
        fit.still & (fit.contrast > 12) & (moved < np.maximum(3.0, 0.08 * sides)) & (fit.blur < 0.3 * sides)
    )
    good &= np.isfinite(fit.sigma) & (fit.sigma < 0.03 * sides)
    if good.any():
        share = fit.residual / np.maximum(fit.contrast, 1)
        usual = float(np.median(share[good]))
        good &= share < 2.5 * usual + 0.02
        good &= fit.blur < 2.0 * float(np.median(fit.blur[good])) + 0.5
        good &= fit.contrast > 0.2 * float(np.median(fit.contrast[good]))
    return np.asarray(good)


def _guessed(card: Card, codes: Codes) -> tuple[Ints, Guesses]:
    """The corners that have a read code beside them, predicted from it or from both."""
    order = np.argsort(codes.ids)
    known = codes.ids[order]
    planes = _homographies(card.markers(known), codes.quads[order])
    beside = card.beside(card.corner_ids)
    index = np.minimum(np.searchsorted(known, beside), max(len(known) - 1, 0))
    read = known[index] == beside if len(known) else np.zeros(beside.shape, bool)
    some = read.any(1)
    ids, index, weight = card.corner_ids[some], index[some], read[some][:, :, None].astype(float)
    mm = card.corners(ids)
    steps = [np.zeros(2), np.array([1.0, 0.0]), np.array([0.0, 1.0])]
    at, right, up = (
        (np.stack([_applied(planes[index[:, k]], mm + step) for k in (0, 1)], 1) * weight).sum(1)
        / weight.sum(1)
        for step in steps
    )
    return ids, Guesses(at, (right - at) * card.square, (up - at) * card.square * card.turned(ids)[:, None])


def _applied(planes: Floats, points: Floats) -> Floats:
    """Points (n, 2) through homographies (n, 3, 3)."""
    image = np.einsum("nij,nj->ni", planes, np.column_stack([points, np.ones(len(points))]))
    return np.asarray(image[:, :2] / image[:, 2:])


def _homographies(mm: Floats, pixels: Floats) -> Floats:
    """For each quadrangle, (m, 4, 2) to (m, 4, 2), the homography through its corners, shape (m, 3, 3)."""
    middle = mm.mean(1, keepdims=True)
    x, y = np.moveaxis(mm - middle, 2, 0)
    u, v = np.moveaxis(pixels, 2, 0)
    one, none = np.ones_like(x), np.zeros_like(x)
    rows = np.concatenate(
        [
            np.stack([x, y, one, none, none, none, -u * x, -u * y], 2),
            np.stack([none, none, none, x, y, one, -v * x, -v * y], 2),
        ],
        axis=1,
    )
    values = np.linalg.solve(rows, np.concatenate([u, v], 1)[:, :, None])[:, :, 0]
    planes = np.concatenate([values, np.ones((len(values), 1))], 1).reshape(-1, 3, 3)
    shift = np.tile(np.eye(3), (len(planes), 1, 1))
    shift[:, :2, 2] = -middle[:, 0]
    return np.asarray(planes @ shift)
