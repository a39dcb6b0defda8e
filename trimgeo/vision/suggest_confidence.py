"""How often a body of a score is right, for each way by which bodies are found."""

from __future__ import annotations

import numpy as np

from trimgeo.vision.suggest_pieces import Shape

LEAST = 0.5
"""Bodies that are wrong more often than right are not proposed."""

_RIGHT = {
    "rim": ((0.70, 0.0), (0.80, 0.25), (0.86, 0.65), (0.92, 0.72), (0.95, 0.92), (0.965, 0.985), (1.0, 0.99)),
    "caps": (
        (0.80, 0.3),
        (0.88, 0.55),
        (0.93, 0.65),
        (0.95, 0.72),
        (0.965, 0.86),
        (0.975, 0.95),
        (1.0, 0.98),
    ),
    "pads": ((0.0, 0.75), (1.0, 0.75)),
    "leads": ((0.0, 0.82), (1.0, 0.82)),
}
"""Scores, and the share of bodies of such a score that overlap a true one by 0.8: read off the 1431
proposals on 60 boards of `tests/vision/populated.py`, seeds 0 to 59; `tests/bench/suggestions.py` judges them
on others."""


def right_of(shape: Shape) -> float:
    """Share of bodies found this way and with this score that are right, on drawn boards.

    >>> corners = np.zeros((4, 2))
    >>> right_of(Shape(corners, None, 1.0, 9.0, confidence=0.95)), right_of(Shape(corners, None, 1.0, 9.0))
    (0.92, 0.0)
    """
    scores, shares = zip(*_RIGHT[shape.told_by], strict=True)
    return float(np.interp(shape.confidence, scores, shares))
