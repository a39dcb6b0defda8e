"""How a sheet of paper is not flat, and how much of that its corners ask for."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_POWERS: Final = [(i, degree - i) for degree in (2, 3, 4) for i in range(degree, -1, -1)]
_SHARES: Final = {2: 1.0, 3: 0.6, 4: 0.5}

TERMS: Final = len(_POWERS)
LOWEST: Final = 3
"""The terms of degree two stand first."""


def shapes(offsets: Floats, half: Floats) -> Floats:
    """Heights, shape (n, TERMS), of each bend of 1 mm, at offsets from the card's middle, shape (n, 2), mm.

    Powers u^i v^j of degree 2 to 4 of the offsets over half the sheet, ``half``: they leave height
    and slope of the middle, where the board lies, alone.

    >>> shapes(np.array([[105.0, 0.0], [105.0, 74.25]]), np.array([105.0, 148.5]))[:, :3]
    array([[1.  , 0.  , 0.  ],
           [1.  , 0.5 , 0.25]])
    """
    u, v = ([np.ones(len(w)), w, w * w, w * w * w, w * w * w * w] for w in (offsets / half).T)
    return np.column_stack([u[i] * v[j] for i, j in _POWERS])


def usual() -> Floats:
    """How the terms go down with their degree, shape (TERMS,): paper bends smoothly."""
    return np.array([_SHARES[i + j] for i, j in _POWERS])


def evidence(information: Floats, pull: Floats, prior: Floats, off: Floats) -> float:
    """Log of how likely the readings are under a Gaussian prior, up to what no prior changes.

    ``information`` (p, p) and ``pull`` (p,) are of the readings about where they were linearised:
    they cost pull·d + d'Id/2; ``prior`` (p,) is the prior's precision (0: none) about a place that
    lies ``off`` (p,) behind.  The Gaussian integral (MacKay 1992, Bayesian interpolation):
    -min(cost) + log|P|/2 - log|I + P|/2.

    >>> one, seen = np.ones((1, 1)), np.array([-300.0])
    >>> likely = [evidence(one * 100, seen, np.array([1 / s**2]), np.zeros(1)) for s in (1, 3, 9)]
    >>> int(np.argmax(likely))  # a value of 3 +- 0.1 speaks for a spread of 3
    1
    """
    total = information + np.diag(prior)
    slope = pull + prior * off
    scale = np.sqrt(np.diag(total))
    small = total / np.outer(scale, scale)
    gain = 0.5 * (slope / scale) @ np.linalg.solve(small, slope / scale)
    held = prior > 0
    determinants = np.log(prior[held]).sum() - np.linalg.slogdet(small)[1] - 2 * np.log(scale).sum()
    return float(gain - 0.5 * (prior * off**2).sum() + 0.5 * determinants)
