"""``trimgeo template``: the 1:1 sheets."""

from __future__ import annotations

from pathlib import Path

import click

from trimgeo.cli import options
from trimgeo.cli.progress import Progress, prepared

PAPER = "Paper; else what [sheet] says."


@options.command(
    "Write the 1:1 sheets to tape onto the board, as PDF or as SVG (one file a sheet).\n\n"
    "Print at 100 % with no fitting to the page, then measure both 100 mm bars before you tape: a printer "
    "that stretches is undone with `stretch` in [sheet].",
    "  trimgeo template samples/greenhouse --variant display --out sheets.pdf",
)
@options.job
@click.option("--paper", type=click.Choice(["A4", "A3", "letter"], case_sensitive=False), help=PAPER)
@options.out_file("A .pdf file, or an .svg file to which each sheet's name is added.")
@options.variant
def command(job: Path, paper: str | None, out: Path, variant: str | None) -> None:
    """Write the template."""
    import trimgeo
    from trimgeo.files import atomic_write
    from trimgeo.report.files import template_files

    with Progress(4) as progress:
        board = prepared(progress, job, variant)
        progress.step("planning the cut")
        plan = trimgeo.plan(board)
        progress.step("drawing the sheets")
        files = template_files(plan, paper or plan.board.job.sheet.paper, out.name)
    for name, data in files.items():
        atomic_write(out.with_name(name), data)
    options.show_written(files)
    options.show("Print at 100 %, then measure both bars.")
