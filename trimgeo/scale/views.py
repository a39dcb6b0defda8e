"""The views of a job: each picture with its map to the board and what it is worth."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon

from trimgeo.errors import JobError, quoted
from trimgeo.model.board import LengthCheck, View
from trimgeo.model.capture import OriginPlace, PointsScale, ViewTable
from trimgeo.model.job import Job
from trimgeo.model.planemap import PlaneMap
from trimgeo.scale import bound
from trimgeo.scale.determined import names, refuse_undetermined
from trimgeo.scale.dpi import scan_map, scan_resolution, told_resolution
from trimgeo.scale.fit import Fit, density, fit_points
from trimgeo.scale.limits import (
    GREATEST_DENSITY,
    LEAST_APART,
    LEAST_AXIS,
    LEAST_DENSITY,
    MISFIT,
    MOST_LEFT_OUT,
)
from trimgeo.scale.place import placed
from trimgeo.scale.rectify import picture, shown_area
from trimgeo.scale.source import Source, open_source
from trimgeo.tables import COVERAGE_FACTOR

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class _Scaled:
    """A map with what it rests on: ``pivot`` (mm) is where a wrong scale does no harm."""

    to_board: PlaneMap
    method: str
    note: str
    pivot: tuple[float, float]
    warnings: tuple[str, ...] = ()
    residuals: Floats | None = None


def read_views(job: Job, edge: Polygon | None) -> tuple[View, ...]:
    """Every view of the job: reads the pictures' headers, not their pixels.

    ``edge`` is the board edge, mm, where it is known: uncertainties are stated over it.
    Raises `trimgeo.JobError` for a picture that cannot be opened, a pixel off the picture, or a
    scale, a place or a check that cannot be used.
    """
    return tuple(read_view(job, table, edge) for table in job.view)


def read_view(job: Job, table: ViewTable, edge: Polygon | None) -> View:
    """One view, its header read from ``job.folder``; errors and ``edge`` as in `read_views`."""
    where = f'{job.source}, [[view]] "{table.name}"'
    source = open_source(job.folder / table.image, where, table.image)
    scaled = (
        _by_points(source, table, where)
        if isinstance(table.scale, PointsScale)
        else _by_dpi(source, table, where)
    )
    _refuse_horizon(scaled.to_board, where)
    checks, to_board, disagreement = _checked(scaled, source, table, where)
    shown = shown_area(to_board, source.size)
    if edge is not None and shown.intersection(edge).area <= 0:
        left, low, right, high = shown.bounds
        raise JobError(
            where,
            f"its picture shows x {left:.0f} to {right:.0f}, y {low:.0f} to {high:.0f} mm, "
            "and no part of the board",
            "check `place` and `scale` of the view, and `edge` of the board",
        )
    partial = () if edge is None else _told_part(shown, edge)
    rms, most = _residual_figures(scaled.residuals)
    return View(
        name=table.name,
        shows=table.shows,
        method=scaled.method,
        to_board=to_board,
        picture=picture(source, to_board, edge),
        residual_rms=rms,
        residual_max=most,
        uncertainty=bound.bound(to_board, bound.places(to_board, shown, edge)),
        checks=checks,
        note=scaled.note,
        warnings=tuple(f"view {table.name}: {text}" for text in (*scaled.warnings, *disagreement, *partial)),
    )


def _told_part(shown: Polygon, edge: Polygon) -> tuple[str, ...]:
    """A warning where a picture leaves out part of the board: such as width and height swapped."""
    share = shown.intersection(edge).area / edge.area
    if share > 1 - MOST_LEFT_OUT:
        return ()
    return (
        f"its picture shows {math.floor(100 * share)} % of the board: unless that is on purpose, "
        "check `edge` in [board] (width first, in mm) and the scale",
    )


def _by_points(source: Source, table: ViewTable, where: str) -> _Scaled:
    assert isinstance(table.scale, PointsScale)
    points = table.scale.points
    pixels = np.array([point.pixel for point in points])
    at = np.array([point.at for point in points])
    listed = f"{where}, scale.points"
    for n, pixel in enumerate(pixels, start=1):
        _refuse_outside(source, pixel, f"{listed}, point {n}")
    refuse_undetermined(pixels, at, table.shows, listed)
    try:
        fit = fit_points(pixels, at, source.size, turned_over=table.shows == "bottom")
    except np.linalg.LinAlgError as fault:
        raise JobError(listed, "found points that fix no map", "check each pixel and its position") from fault
    _refuse_odd_density(fit, pixels, listed)
    note, warnings = _told_fit(fit, len(points), bool(table.checks))
    if table.place is None:
        x, y = at.mean(axis=0)
        return _Scaled(fit.to_board, "points", note, (float(x), float(y)), warnings, fit.residuals)
    to_board, turned = _placed(fit.to_board, source, table, table.place, where)
    note += "; placed by origin and along, not by the points"
    return _Scaled(to_board, "points", note, (0.0, 0.0), (*warnings, *turned), fit.residuals)


def _by_dpi(source: Source, table: ViewTable, where: str) -> _Scaled:
    assert not isinstance(table.scale, PointsScale)
    asked = table.scale.dpi
    dpi = scan_resolution(source, asked, f"{where}, scale.dpi")
    note = f"scan at {told_resolution(dpi)}"
    note += ", read from the file" if asked == "file" else ""
    note += "; a scanner's own error of 0.25 mm over 150 mm is allowed for"
    warnings: tuple[str, ...] = ()
    if source.camera:
        warnings += ("its picture comes from a camera: dpi fits a flatbed scan only",)
    scaled = scan_map(dpi, table.shows, source.size)
    if table.place is None:
        place = _corner_place(source, table.shows == "bottom")
        warnings += ("no `place`: the lower left corner of its picture is taken for board point (0, 0)",)
        to_board = placed(scaled, place.origin, place.along)
    else:
        to_board, turned = _placed(scaled, source, table, table.place, where)
        warnings += turned
    if not table.checks:
        note += "; nothing was checked"
    return _Scaled(to_board, "dpi", note, (0.0, 0.0), warnings)


def _corner_place(source: Source, mirrored: bool) -> OriginPlace:
    """The lower left corner of the picture as it lies in the board frame, and the corner along its foot."""
    right, low = source.size[0] - 0.5, source.size[1] - 0.5
    ends = ((right, low), (-0.5, low)) if mirrored else ((-0.5, low), (right, low))
    return OriginPlace(origin=ends[0], along=ends[1])


def _placed(
    scaled: PlaneMap, source: Source, table: ViewTable, place: OriginPlace, where: str
) -> tuple[PlaneMap, tuple[str, ...]]:
    """The map placed by two pixels, and a warning where a bottom view would stand on its head."""
    for key, pixel in (("origin", place.origin), ("along", place.along)):
        _refuse_outside(source, np.array(pixel), f"{where}, place.{key}")
    step = np.subtract(place.along, place.origin)
    if np.hypot(*step) < LEAST_AXIS:
        raise JobError(
            f"{where}, place",
            f"found `along` only {np.hypot(*step):.1f} pixels from `origin`",
            "choose a pixel far along the x axis, such as the other end of the board's lower edge",
        )
    to_board = placed(scaled, place.origin, place.along)
    if table.shows == "bottom" and step[0] > abs(step[1]):
        return to_board, (
            "`along` lies to the viewer's right of `origin`: in a bottom view +x runs to the left, "
            "so its picture is taken as standing on its head",
        )
    return to_board, ()


def _checked(
    scaled: _Scaled, source: Source, table: ViewTable, where: str
) -> tuple[tuple[LengthCheck, ...], PlaneMap, tuple[str, ...]]:
    """The checks compared; where one disagrees, the map with that much doubt added, and a warning."""
    if not table.checks:
        return (), scaled.to_board, ()
    ends = np.array([[check.from_, check.to] for check in table.checks])
    for n, (first, second) in enumerate(ends, start=1):
        for key, pixel in (("from", first), ("to", second)):
            _refuse_outside(source, pixel, f"{where}, checks {n}, {key}")
        if np.hypot(*(second - first)) < LEAST_APART:
            raise JobError(f"{where}, checks {n}", "found both ends at one pixel", "choose ends far apart")
    lengths = np.array([check.length for check in table.checks])
    checks, standard = bound.compared(scaled.to_board, ends, lengths)
    bad = bound.disagreeing(checks, standard)
    if not bad:
        return checks, scaled.to_board, ()
    to_board = bound.widened(scaled.to_board, bound.stretch_of(checks, bad), scaled.pivot)
    told = tuple(
        f"check {n + 1} of {checks[n].length:g} mm measures {checks[n].measured:.2f} mm in the picture, off "
        f"by {checks[n].error:+.2f} mm where {COVERAGE_FACTOR * standard[n]:.2f} mm can be explained: "
        "the uncertainty is widened"
        for n in bad
    )
    return checks, to_board, told


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
    rms, most = _residual_figures(fit.residuals)
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


def _residual_figures(residuals: Floats | None) -> tuple[float | None, float | None]:
    if residuals is None:
        return None, None
    lengths = np.hypot(*residuals.T)
    return float(np.sqrt((lengths**2).mean())), float(lengths.max())


def _refuse_outside(source: Source, pixel: Floats, where: str) -> None:
    columns, rows = source.size
    u, v = (float(value) for value in pixel)
    if not (-0.5 <= u <= columns - 0.5 and -0.5 <= v <= rows - 0.5):
        raise JobError(
            where,
            f"found pixel [{u:g}, {v:g}], off the picture {quoted(source.label)} "
            f"of {columns} x {rows} pixels",
            f"give column 0 to {columns - 1} and row 0 to {rows - 1}",
        )


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


def _refuse_horizon(to_board: PlaneMap, where: str) -> None:
    """A picture of a board does not reach the horizon of the board's plane: such a map is a mistake."""
    assert to_board.size is not None
    right, low = to_board.size[0] - 0.5, to_board.size[1] - 0.5
    corners = np.array([[-0.5, -0.5, 1], [right, -0.5, 1], [right, low, 1], [-0.5, low, 1]])
    depth = corners @ to_board.matrix[2]
    if depth.min() * depth.max() <= 0 or depth.max() / depth.min() > 100 or depth.min() / depth.max() > 100:
        raise JobError(
            f"{where}, scale.points",
            "found points that put the horizon inside the picture",
            "check each pixel and its position, and choose points near the corners of the board",
        )
