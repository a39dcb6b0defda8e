"""Views scaled by the resolution of a flatbed scan."""

from __future__ import annotations

from trimgeo.model.capture import DpiScale, ViewTable
from trimgeo.scale.dpi import scan_map, scan_resolution, told_resolution
from trimgeo.scale.scaled import Scaled
from trimgeo.scale.source import Source


def by_dpi(source: Source, table: ViewTable, scale: DpiScale, where: str) -> Scaled:
    """The map of a scan; raises `trimgeo.JobError` where its resolution cannot be used."""
    dpi = scan_resolution(source, scale.dpi, f"{where}, scale.dpi")
    note = f"scan at {told_resolution(dpi)}"
    note += ", read from the file" if scale.dpi == "file" else ""
    note += "; a scanner's own error of 0.25 mm over 150 mm is allowed for"
    warnings: tuple[str, ...] = ()
    if source.camera:
        warnings += ("its picture comes from a camera: dpi fits a flatbed scan only",)
    if not table.checks:
        note += "; nothing was checked"
    return Scaled(scan_map(dpi, table.shows, source.size), "dpi", note, (0.0, 0.0), warnings)
