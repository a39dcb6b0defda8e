"""The scale of a flatbed scan from its resolution."""

from __future__ import annotations

import numpy as np

from trimgeo.errors import JobError, quoted
from trimgeo.model.board import FaceName
from trimgeo.model.planemap import PlaneMap
from trimgeo.scale.limits import GREATEST_DENSITY, LEAST_DENSITY, PLACEHOLDER_DPI, SCANNER_SCALE
from trimgeo.scale.source import Source
from trimgeo.tables import MM_PER_INCH

Resolution = tuple[float, float]


def scan_resolution(source: Source, asked: float | Resolution | str, where: str) -> Resolution:
    """Dots per inch, x and y, as the job gives them or as the file has them.

    Raises `trimgeo.JobError` where the file has none, or one that says nothing about the board:
    the placeholder of a program, a camera's, or one that no scanner makes.

    >>> from pathlib import Path
    >>> scan = Source(Path("a.png"), "top", "a.png", "PNG", (3508, 2480), 1, (300.0, 301.5), camera=False)
    >>> scan_resolution(scan, "file", "scale"), scan_resolution(scan, 600, "scale")
    ((300.0, 301.5), (600.0, 600.0))
    """
    dpi = _from_file(source, where) if isinstance(asked, str) else asked
    x, y = dpi if isinstance(dpi, tuple) else (dpi, dpi)
    for value in (x, y):
        if not LEAST_DENSITY <= value / MM_PER_INCH <= GREATEST_DENSITY:
            raise JobError(
                where,
                f"found {value:g} dpi, which no scanner makes",
                "give the dots per inch of the scan, such as 300",
            )
    return float(x), float(y)


def told_resolution(dpi: Resolution) -> str:
    """Resolution for a person: one number where both are equal.

    >>> told_resolution((299.9994, 299.9994)), told_resolution((300.0, 301.5))
    ('300 dpi', '300 x 301.5 dpi')
    """
    x, y = (f"{round(value, 2):.6g}" for value in dpi)
    return f"{x} dpi" if x == y else f"{x} x {y} dpi"


def scan_map(dpi: Resolution, shows: FaceName | int, size: tuple[int, int]) -> PlaneMap:
    """The map of a scan before it is placed: y up, and x to the viewer's left for the bottom face.

    Its covariance has the scanner's own scale error, `SCANNER_SCALE` in x and in y apart; reading
    errors come with the placing.

    >>> scan_map((254.0, 254.0), "bottom", (100, 100)).to_mm([[10.0, 20.0]]).round(9)
    array([[-1., -2.]])
    """
    x, y = (MM_PER_INCH / value for value in dpi)
    matrix = np.diag([-x if shows == "bottom" else x, -y, 1.0])
    covariance = np.zeros((9, 9))
    covariance[0, 0], covariance[4, 4] = (SCANNER_SCALE * x) ** 2, (SCANNER_SCALE * y) ** 2
    return PlaneMap(matrix, covariance, size)


def _from_file(source: Source, where: str) -> Resolution:
    if source.dpi is None:
        raise JobError(
            where,
            f"found no resolution in {quoted(source.label)}",
            "give the dots per inch of the scan, such as dpi = 300",
        )
    if source.camera:
        raise JobError(
            where,
            f"found the resolution of a camera in {quoted(source.label)}, which says nothing about the board",
            "give points = [...] whose board positions were measured",
        )
    if round(source.dpi[0], 1) in PLACEHOLDER_DPI and round(source.dpi[1], 1) in PLACEHOLDER_DPI:
        told = told_resolution(source.dpi)
        raise JobError(
            where,
            f"found {told} in {quoted(source.label)}, which programs write where they know none",
            f"give the dots per inch of the scan (dpi = {round(source.dpi[0])} if it is true) or points",
        )
    return source.dpi
