"""All files of a run: computed whole in memory first, then written one by one, report.json last."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from trimgeo.drawing.dxf import to_dxf
from trimgeo.drawing.lacking import with_lacking_told
from trimgeo.drawing.pdf import to_pdf
from trimgeo.drawing.sheet import Sheet
from trimgeo.drawing.svg import to_svg
from trimgeo.drawing.template import template_sheets
from trimgeo.errors import JobError, quoted
from trimgeo.files import atomic_write, json_bytes, make_folder
from trimgeo.model.plan import Plan
from trimgeo.report.page import report_page
from trimgeo.report.words import title


def template_files(plan: Plan, paper: str, name: str) -> dict[str, bytes]:
    """The template as files: one PDF, or one SVG a sheet with the sheet's name added.

    Raises `trimgeo.JobError` where ``name`` ends in neither .pdf nor .svg.
    """
    stem, suffix = Path(name).stem, Path(name).suffix.lower()
    if suffix not in (".pdf", ".svg"):
        raise JobError("--out", f"found {quoted(name)}", "name a file that ends in .pdf or .svg")
    sheets = template_sheets(with_lacking_told(plan), paper)
    if suffix == ".pdf":
        return {name: to_pdf(sheets, title(plan))}
    return {f"{stem}-{sheet.name}.svg": to_svg(sheet) for sheet in sheets}


def picture_file(sheet: Sheet, about: str, name: str) -> bytes:
    """One sheet as the file of that name: PDF where it ends in .pdf, else SVG.

    >>> picture_file(Sheet("trade", 10.0, 10.0, ()), "the trade", "trade.svg")[:5]
    b'<?xml'
    """
    return to_pdf([sheet], about) if Path(name).suffix.lower() == ".pdf" else to_svg(sheet)


def run_files(plan: Plan, step: Callable[[str], None] = lambda _: None) -> dict[str, bytes]:
    """Every file of a run by name, except report.json."""
    step("drawing the sheets")
    paper = plan.board.job.sheet.paper
    sheets = template_sheets(plan, paper)
    svgs = {f"template-{sheet.name}.svg": to_svg(sheet) for sheet in sheets}
    files = {"template.pdf": to_pdf(sheets, title(plan)), **svgs}
    step("writing the DXF")
    files["outline.dxf"] = to_dxf(plan)
    step("drawing on the pictures")
    pictures = dict(_overlays(plan))
    files |= {f"overlay-{name}.png": png for name, (png, _) in pictures.items()}
    step("writing the report")
    jpegs = {name: jpeg for name, (_, jpeg) in pictures.items()}
    files["report.html"] = report_page(plan, jpegs, svgs).encode()
    return files


def _overlays(plan: Plan) -> Iterator[tuple[str, tuple[bytes, bytes]]]:
    """For each view of a face its name, its overlay as PNG, and a small JPEG of it for the page."""
    for view in plan.board.views:
        if view.shows in ("top", "bottom"):
            # The pixels first: where OpenCV cannot be loaded, this is what says so in a sentence.
            _ = view.picture.pixels
            from trimgeo.drawing.overlay import encode_small_jpeg, overlay
            from trimgeo.drawing.png import encode_png

            pixels = overlay(plan, view)
            yield view.name, (encode_png(pixels, view.picture.pixels_per_mm), encode_small_jpeg(pixels))


def write(plan: Plan, folder: str | Path, step: Callable[[str], None] = lambda _: None) -> dict[str, Any]:
    """Write the files of ``run`` into ``folder`` and return the dict of report.json.

    Each file is replaced whole, report.json last; its ``files`` hold the SHA-256 of the others, so that
    a set which an interruption left half old shows itself.  Letters that the sheets cannot show are a
    warning in them all.
    """
    plan = with_lacking_told(plan)
    files = run_files(plan, step)
    report = plan.report() | {
        "files": [
            {"name": name, "sha256": hashlib.sha256(data).hexdigest()} for name, data in sorted(files.items())
        ]
    }
    target = Path(folder)
    make_folder(target)
    step("writing the files")
    for name, data in files.items():
        atomic_write(target / name, data)
    atomic_write(target / "report.json", json_bytes(report))
    return report
