"""Views scaled by pixels whose board positions were measured."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from trimgeo.errors import JobError
from trimgeo.model.capture import PointsScale, ViewTable
from trimgeo.scale.determined import names, refuse_undetermined
from trimgeo.scale.fit import Fit, density, fit_points
from trimgeo.scale.limits import GREATEST_DENSITY, LEAST_DENSITY, MISFIT
from trimgeo.scale.scaled import Scaled, refuse_outside, residual_figures
from trimgeo.scale.source import Source

Floats = NDArray[np.float64]


def by_points(source: Source, table: ViewTable, scale: PointsScale, where: str) -> Scaled:
    """The map from measured points; raises `trimgeo.JobError` where they fix none."""
    points = scale.points
    pixels = np.array([point.pixel for point in points])
    at = np.array([point.at for point in points])
    listed = f"{where}, scale.points"
    for n, pixel in enumerate(pixels, start=1):
        refuse_outside(source, pixel, f"{listed}, point {n}")
    refuse_undetermined(pixels, at, table.shows, listed)
    try:
        fit = fit_points(pixels, at, source.size, turned_over=table.shows == "bottom")
    except np.linalg.LinAlgError as fault:
        raise JobError(listed, "found points that fix no map", "check each pixel and its position") from fault
    _refuse_odd_density(fit, pixels, listed)
    note, warnings = _told_fit(fit, len(points), bool(table.checks))
    x, y = at.mean(axis=0)
    pivot = (float(x), float(y))
    if table.place is not None:
        note += "; placed by `place`, not by the points"
    return Scaled(
        fit.to_board, "points", note, pivot, warnings, fit.residuals, in_board_frame=table.place is None
    )


def _told_fit(fit: Fit, count: int, checked: bool) -> tuple[str, tuple[str, ...]]:
    """What a fit rests on, in words, and what a person must hear about it."""
    note = f"{fit.kind} map from {count} points"
    if fit.residuals is None:
        note += "; they leave no residual, so reading errors of half a pixel are assumed"
        if checked:
            return note, ()
        return note + "; nothing was checked", (
            f"nothing checks its scale from {count} points: add `checks` (lengths measured by caliper), "
            "or give five points or more",
        )
    rms, most = residual_figures(fit.residuals)
    note += f"; residuals {rms:.3f} mm rms, {most:.3f} mm at most"
    unchecked = np.flatnonzero(np.isnan(fit.left_out))
    if len(unchecked) < count:
        worst = int(np.nanargmax(fit.left_out))
        note += (
            f"; each point predicted from the others: {np.sqrt(np.nanmean(fit.left_out**2)):.3f} mm rms, "
            f"{fit.left_out[worst]:.3f} mm at most (point {worst + 1})"
        )
    if len(unchecked):
        note += (
            f"; no other checks {'point' if len(unchecked) == 1 else 'points'} {names(unchecked.tolist())}"
        )
    warnings = []
    suspect = int(np.nanargmax(fit.blame)) if len(unchecked) < count else None
    if suspect is not None and fit.left_out_pixels[suspect] > MISFIT:
        warnings.append(
            f"point {suspect + 1} lies {fit.left_out_pixels[suspect]:.0f} pixels "
            f"({fit.left_out[suspect]:.2f} mm) "
            "from where the others put it: read and measure it again, unless the lens or a bent board is why"
        )
    return note, tuple(warnings)


def _refuse_odd_density(fit: Fit, pixels: Floats, where: str) -> None:
    if not np.isfinite(fit.to_board.matrix).all() or not np.isfinite(fit.to_board.covariance).all():
        raise JobError(where, "found points that fix no map", "check each pixel and its position")
    per_mm = float(np.median(density(fit.to_board, pixels)))
    if not LEAST_DENSITY <= per_mm <= GREATEST_DENSITY:
        raise JobError(
            where,
            f"found points that mean {per_mm:.3g} pixels per mm",
            "give pixels as `pixel` and millimetres as `at`",
        )
