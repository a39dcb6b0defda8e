"""Views scaled by the resolution of a flatbed scan, its bends taken out where it was scanned turned too."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from trimgeo.errors import JobError, quoted
from trimgeo.model.board import Pixels
from trimgeo.model.capture import DpiScale, ViewTable
from trimgeo.scale.checked import check_ends
from trimgeo.scale.dpi import Resolution, scan_map, scan_resolution, told_resolution
from trimgeo.scale.scaled import Scaled
from trimgeo.scale.shot import shot_of
from trimgeo.scale.source import Source, open_source

if TYPE_CHECKING:
    from trimgeo.scale.turned import TurnedFit


def by_dpi(source: Source, table: ViewTable, scale: DpiScale, folder: Path, where: str) -> Scaled:
    """The map of a scan; of a turned one, whose bends are known, `checks` show the even scale.

    ``folder`` is the job's: a second scan is named from there.  Raises `trimgeo.JobError` where the
    resolution cannot be used, and where a second scan does not show the same face turned by 180 degrees.
    """
    dpi = scan_resolution(source, scale.dpi, f"{where}, scale.dpi")
    to_board = scan_map(dpi, table.shows, source.size)
    note = f"scan at {told_resolution(dpi)}"
    note += ", read from the file" if scale.dpi == "file" else ""
    warnings: tuple[str, ...] = ()
    if source.camera:
        warnings += ("its picture comes from a camera: dpi fits a flatbed scan only",)
    if scale.turned is None:
        note += "; a scanner's own error of 0.25 mm over 150 mm is allowed for"
        note += "" if table.checks else "; nothing was checked"
        return Scaled(to_board, "dpi", note, (0.0, 0.0), warnings)
    from trimgeo.scale.turned import turned_map
    from trimgeo.scale.turned_lengths import even_scale, with_lengths

    fit = _by_turning(source, folder / scale.turned, scale.turned, dpi, where)
    bare = turned_map(to_board, fit)
    to_board = with_lengths(bare, *check_ends(source, table, where))
    note += (
        f"; {fit.note}; an even error of scale hides from turning, and {100 * even_scale(to_board):.2f} % "
    )
    note += "is allowed for it" if to_board is bare else "of it is left by the lengths in `checks`"
    return Scaled(to_board, "dpi", note, (0.0, 0.0), (*warnings, *fit.warnings), fit.residuals)


def _by_turning(source: Source, path: Path, name: str, dpi: Resolution, where: str) -> TurnedFit:
    from trimgeo.scale.turned import turned_fit

    at = f"{where}, scale.turned"
    with _placed_at(at):
        second = open_source(path, where, name)
    _refuse_unlike(source, second, at)
    first_grey = shot_of(source).grey()
    with _placed_at(at):
        second_grey: Pixels = shot_of(second).grey()
    return turned_fit(first_grey, second_grey, dpi, at, name, source.label)


def _refuse_unlike(source: Source, second: Source, at: str) -> None:
    """What the headers of two scans already show: one file twice, or another area or resolution."""
    told = f"found {quoted(second.label)}"
    if second.path.samefile(source.path):
        raise JobError(
            at,
            f"{told}, the very file of `image`",
            "turn the face by 180 degrees on the glass, scan it again and name that file",
        )
    if second.size != source.size:
        columns, rows = second.size
        raise JobError(
            at,
            f"{told} of {columns} x {rows} pixels, and {quoted(source.label)} has "
            f"{source.size[0]} x {source.size[1]}",
            "scan both over the same area of the glass, at the same resolution, and crop neither",
        )


@contextmanager
def _placed_at(at: str) -> Iterator[None]:
    """What is at fault with a picture is told of the key that names it."""
    try:
        yield
    except JobError as fault:
        raise JobError(at, fault.found, fault.fix) from fault
