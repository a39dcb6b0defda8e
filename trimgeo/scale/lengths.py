"""The scale of a card that nobody measured, from lengths known by caliper on the shown face."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from trimgeo.scale.adjustment import Adjusted, moved_by
from trimgeo.scale.face import Face, face_map
from trimgeo.scale.fit import density
from trimgeo.scale.limits import CALIPER
from trimgeo.tables import PIXEL_READING

Floats = NDArray[np.float64]

_ROUNDS = 3


def with_lengths(fit: Adjusted, v: int, face: Face, ends: Floats, lengths: Floats) -> Adjusted:
    """The adjustment with lengths (k,), mm, between pixels ``ends`` (k, 2, 2) of the face of sight v added.

    Each is a reading of the scale with the caliper's uncertainty and that of two pixels; all parameters
    move by C H' (H C H' + R)⁻¹ times what is left of it, the readings linearised anew in each round (the
    iterated update of a Gaussian; Gelb, Applied Optimal Estimation, 6.1, from memory).
    """
    covariance = fit.covariance
    start, moved = fit.state, np.zeros(fit.layout.count)
    found = fit
    for _ in range(_ROUNDS):
        to_card, slopes = face_map(found, v, face)
        first, second = ends[:, 0], ends[:, 1]
        way = to_card.to_mm(second) - to_card.to_mm(first)
        measured = np.hypot(*way.T)
        unit = way / measured[:, None]
        row = np.einsum("ni,nik->nk", unit, to_card.jacobian(second) - to_card.jacobian(first)) @ slopes
        reading = sum((PIXEL_READING / density(to_card, end)) ** 2 for end in (first, second))
        noise = np.diag(CALIPER**2 + reading)
        left = lengths - measured + row @ moved
        moved = covariance @ row.T @ np.linalg.solve(row @ covariance @ row.T + noise, left)
        found = replace(fit, state=moved_by(fit.layout, start, moved))
    return replace(found, information=fit.information + row.T @ np.linalg.solve(noise, row))
