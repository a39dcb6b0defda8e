"""Small patches of one picture found again in another, to a few hundredths of a pixel.

Pictures are grey, uint8, shape (rows, columns).  A patch is guessed at a place of the second picture
with a linear map (2 x 2) that takes steps in the first picture to steps in the second, so that pictures
turned or scaled against each other are compared upright.
"""

from __future__ import annotations

from dataclasses import dataclass
from types import ModuleType
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Grey = NDArray[np.uint8]

_BLUR: Final = 1.0
"""Pixels: both pictures are smoothed by this much, so that what interpolation does to them is alike."""
_STEPS_PER_PIXEL: Final = 32
"""OpenCV's interpolation knows positions to 1/32 of a pixel: guesses are rounded to that, so that it is
the guess that is known, and not the interpolation that is off."""
_CORRELATED: Final = float(np.sqrt(4 * np.pi * _BLUR**2))
"""Smoothed noise is alike over 4 pi s^2 pixels, so its mean looks that much surer than it is."""
_LEAST_CONTRAST: Final = 3.0
"""Grey levels, rms of the gradient over a patch in its weaker direction: below it there is only noise."""
_ROUNDS: Final = 3
_BATCH: Final = 200
"""Patches measured at a time: all together would take more memory than the scans."""
_SETTLED: Final = 0.1
"""Pixels: from a guess this near one step of least squares ends within a hundredth of a pixel."""
_TINY: Final = 1e-9


@dataclass(frozen=True, eq=False)
class Matches:
    """Patches found again: ``at`` and ``to`` (n, 2), pixels of the first and of the second picture.

    ``sd``, shape (n,), pixels, is the standard uncertainty of ``to`` in its worse direction as the grey
    levels tell it; ``score`` the correlation of the two patches, 1 for equal ones, nan for none.
    """

    at: Floats
    to: Floats
    sd: Floats
    score: Floats

    def chosen(self, which: NDArray[np.bool_]) -> Matches:
        """Only some of them."""
        return Matches(self.at[which], self.to[which], self.sd[which], self.score[which])


def shrunk(cv2: ModuleType, picture: Grey, factor: int) -> Grey:
    """The picture with each ``factor`` x ``factor`` pixels averaged; the rest at the right and foot is cut.

    A pixel p of the picture lies at (p + 1/2) / factor - 1/2.
    """
    if factor == 1:
        return picture
    rows, columns = (length // factor for length in picture.shape)
    part = picture[: rows * factor, : columns * factor]
    return np.asarray(cv2.resize(part, (columns, rows), interpolation=cv2.INTER_AREA), dtype=np.uint8)


def textured(cv2: ModuleType, picture: Grey, half: int, cell: float, margin: int) -> NDArray[np.int64]:
    """Where patches of (2 half + 1)² pixels show most: the best place in each cell, shape (n, 2).

    Judged by the weaker direction of the gradient (the lesser eigenvalue of the structure tensor:
    Shi and Tomasi, Good features to track, 1994); a cell without contrast both ways gives none.
    ``margin`` pixels along the rim are left out.
    """
    factor = max(1, half // 6)
    small = shrunk(cv2, picture, factor)
    smooth = cv2.GaussianBlur(small, (0, 0), _BLUR)
    across = cv2.Scharr(smooth, cv2.CV_32F, 1, 0) / 32
    down = cv2.Scharr(smooth, cv2.CV_32F, 0, 1) / 32
    side = 2 * (half // factor) + 1
    xx, yy, xy = (cv2.boxFilter(p, -1, (side, side)) for p in (across * across, down * down, across * down))
    weaker = (xx + yy) / 2 - np.sqrt(((xx - yy) / 2) ** 2 + xy**2)
    rim = -(-margin // factor)
    rows, columns = weaker.shape
    found = []
    step = max(cell / factor, 1.0)
    for top in np.arange(rim, rows - rim, step):
        for left in np.arange(rim, columns - rim, step):
            low, right = min(int(top + step), rows - rim), min(int(left + step), columns - rim)
            part = weaker[int(top) : low, int(left) : right]
            if part.size == 0:
                continue
            best = int(part.argmax())
            if part.flat[best] * factor**-2 > (_LEAST_CONTRAST / 4) ** 2 / factor**2:
                row, column = divmod(best, part.shape[1])
                found.append((int(left) + column, int(top) + row))
    places = np.array(found, dtype=np.float64).reshape(-1, 2)
    return np.rint((places + 0.5) * factor - 0.5).astype(np.int64)


def searched(
    cv2: ModuleType, first: Grey, second: Grey, at: Floats, to: Floats, linear: Floats, half: int, reach: int
) -> Matches:
    """Patches of (2 half + 1)² pixels looked for within ``reach`` pixels of a guess: whole pixels.

    ``at``, ``to`` (n, 2) and ``linear`` (n, 2, 2).  The best normalised correlation counts; where a
    second place, not beside it, is nearly as good (a row of like pads), the score is nan.
    """
    found, scores = to.astype(np.float64).copy(), np.full(len(at), np.nan)
    for n, (place, guess) in enumerate(zip(at, to, strict=True)):
        patch = _cut(cv2, first, place, np.eye(2), half)
        window = _cut(cv2, second, guess, linear[n], half + reach)
        if patch is None or window is None or patch.std() < _TINY:
            continue
        values = cv2.matchTemplate(window, patch, cv2.TM_CCOEFF_NORMED)
        values[~np.isfinite(values)] = -1.0
        row, column = divmod(int(values.argmax()), values.shape[1])
        best = float(values[row, column])
        aside = values.copy()
        aside[max(row - 3, 0) : row + 4, max(column - 3, 0) : column + 4] = -1.0
        if float(aside.max()) < 0.9 * best or reach <= 3:
            scores[n] = best
            found[n] = guess + linear[n] @ (np.array([column, row]) - reach)
    return Matches(at.astype(np.float64), found, np.full(len(at), 0.5), scores)


def refined(
    cv2: ModuleType, first: Grey, second: Grey, at: Floats, to: Floats, linear: Floats, half: int
) -> Matches:
    """Patches of (2 half + 1)² pixels whose guess is good to a pixel or two, to a few hundredths.

    ``at`` (n, 2) whole pixels, ``to`` (n, 2), ``linear`` (n, 2, 2).  Least squares of the grey levels
    with shift, gain and offset free (Lucas and Kanade 1981; Gruen 1985), the slope being the mean of
    both pictures' so that neither's noise pulls the shift.  A patch off a picture, or one that runs away
    from its guess, has the score nan.
    """
    batches = [slice(n, n + _BATCH) for n in range(0, max(len(at), 1), _BATCH)]
    parts = [_refined(cv2, first, second, at[b], to[b], linear[b], half) for b in batches]
    return Matches(
        np.concatenate([part.at for part in parts]),
        np.concatenate([part.to for part in parts]),
        np.concatenate([part.sd for part in parts]),
        np.concatenate([part.score for part in parts]),
    )


def _refined(
    cv2: ModuleType, first: Grey, second: Grey, at: Floats, to: Floats, linear: Floats, half: int
) -> Matches:
    """The same for a few of them."""
    steady = _stack(cv2, first, at, np.broadcast_to(np.eye(2), linear.shape), half)
    known = np.asarray(np.isfinite(steady).all(axis=(1, 2)), dtype=np.bool_)
    found = to.astype(np.float64).copy()
    sd, score = np.full(len(at), np.inf), np.full(len(at), np.nan)
    moving = known.copy()
    for _ in range(_ROUNDS):
        chosen = np.flatnonzero(moving)
        guess = np.rint(found[chosen] * _STEPS_PER_PIXEL) / _STEPS_PER_PIXEL
        moved = _stack(cv2, second, guess, linear[chosen], half)
        inside = np.isfinite(moved).all(axis=(1, 2))
        known[chosen[~inside]] = False
        chosen, guess, moved = chosen[inside], guess[inside], moved[inside]
        if len(chosen) == 0:
            break
        shift, sd[chosen], score[chosen] = _shifts(steady[chosen], moved)
        found[chosen] = guess + np.einsum("nij,nj->ni", linear[chosen], np.clip(shift, -2.0, 2.0))
        moving[:] = False
        moving[chosen] = np.hypot(*shift.T) > _SETTLED
    away = np.hypot(*(found - to).T) > 3.0
    score[~known | away] = np.nan
    return Matches(at.astype(np.float64), found, sd, score)


def _shifts(steady: Singles, moved: Singles) -> tuple[Floats, Floats, Floats]:
    """Shift (n, 2), its standard uncertainty (n,) and correlation (n,) of patches, shape (n, k, k)."""
    side = steady.shape[1]
    window = np.hanning(side + 2)[1:-1]
    weight = np.outer(window, window)[1:-1, 1:-1].ravel()
    weight /= weight.sum()

    def levelled(patches: Singles) -> Singles:
        flat = patches - np.float32(patches.mean())
        mean = (flat[:, 1:-1, 1:-1].reshape(len(flat), -1) @ weight)[:, None, None]
        flat = flat - mean
        spread = np.sqrt((flat[:, 1:-1, 1:-1] ** 2).reshape(len(flat), -1) @ weight)
        return np.asarray(flat / np.maximum(spread, _TINY)[:, None, None], dtype=np.float32)

    a, b = levelled(steady), levelled(moved)
    mean = (a + b) / 2
    columns = np.stack(
        [
            (mean[:, 1:-1, 2:] - mean[:, 1:-1, :-2]).reshape(len(mean), -1) / 2,
            (mean[:, 2:, 1:-1] - mean[:, :-2, 1:-1]).reshape(len(mean), -1) / 2,
            mean[:, 1:-1, 1:-1].reshape(len(mean), -1),
            np.ones((len(mean), weight.size), np.float32),
        ],
        axis=1,
    ).astype(np.float64)
    miss = (a - b)[:, 1:-1, 1:-1].reshape(len(mean), -1).astype(np.float64)
    weighed = columns * weight
    normal = weighed @ columns.transpose(0, 2, 1) + 1e-12 * np.eye(4)
    right = np.einsum("nkp,np->nk", weighed, miss)
    solved = np.linalg.solve(normal, right[:, :, None])[:, :, 0]
    rest = miss - np.einsum("nk,nkp->np", solved, columns)
    variance = (rest**2) @ weight
    inverse = np.linalg.inv(normal)[:, :2, :2]
    spread = (weight**2).sum()
    sd = _CORRELATED * np.sqrt(variance * spread * np.linalg.eigvalsh(inverse)[:, -1])
    flat_a, flat_b = (p[:, 1:-1, 1:-1].reshape(len(p), -1) for p in (a, b))
    return solved[:, :2], sd, (flat_a * flat_b) @ weight


def _stack(cv2: ModuleType, picture: Grey, at: Floats, linear: Floats, half: int) -> Singles:
    """The patches round places, shape (n, 2 half + 3, 2 half + 3), nan where off the picture."""
    side = 2 * half + 3
    patches = np.full((len(at), side, side), np.nan, np.float32)
    for n, place in enumerate(at):
        patch = _cut(cv2, picture, place, linear[n], half + 1)
        if patch is not None:
            patches[n] = patch
    return patches


def _cut(cv2: ModuleType, picture: Grey, at: Floats, linear: Floats, half: int) -> Singles | None:
    """The smoothed patch round a place, upright by ``linear``, or None where the picture ends before."""
    reach = np.abs(linear).sum(axis=1) * half
    low = np.floor(at - reach).astype(int) - 4
    high = np.ceil(at + reach).astype(int) + 5
    rows, columns = picture.shape
    if (low < -4).any() or high[0] > columns + 4 or high[1] > rows + 4:
        return None
    first, last = np.maximum(low, 0), np.minimum(high, [columns, rows])
    part = picture[first[1] : last[1], first[0] : last[0]].astype(np.float32)
    part = cv2.GaussianBlur(part, (0, 0), _BLUR)
    matrix = np.column_stack([linear, at - linear @ [half, half] - first])
    # linear, not cubic: OpenCV's cubic moves a picture by up to 0.045 pixels (measured), linear by 0.003
    patch = cv2.warpAffine(
        part,
        matrix,
        (2 * half + 1, 2 * half + 1),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REPLICATE,
    )
    return np.asarray(patch, dtype=np.float32)
