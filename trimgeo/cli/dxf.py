"""``trimgeo dxf``: the outline for enclosure design."""

from __future__ import annotations

from pathlib import Path

import click

from trimgeo.cli import options
from trimgeo.cli.progress import Progress, prepared


@options.command(
    "Write the finished outline, the lines of the cut, holes and keep-outs as DXF in millimetres.\n\n"
    "Components are closed lines whose thickness is their height, so that they extrude.",
    "  trimgeo dxf samples/greenhouse --variant display --out outline.dxf",
)
@options.job
@options.out_file("The .dxf file to write.")
@click.option(
    "--release",
    type=click.Choice(["R2018", "R12"]),
    default="R2018",
    show_default=True,
    help="DXF release; R12 for old programs.",
)
@options.variant
def command(job: Path, out: Path, release: str, variant: str | None) -> None:
    """Write the DXF."""
    import trimgeo
    from trimgeo.drawing.dxf import to_dxf
    from trimgeo.errors import JobError, quoted
    from trimgeo.files import atomic_write

    if out.suffix.lower() != ".dxf":
        raise JobError("--out", f"found {quoted(out.name)}", "name a file that ends in .dxf")
    with Progress(4) as progress:
        board = prepared(progress, job, variant)
        progress.step("planning the cut")
        plan = trimgeo.plan(board)
        progress.step("writing the DXF")
        data = to_dxf(plan, release)
    atomic_write(out, data)
    options.show_written([out.name])
