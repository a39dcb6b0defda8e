"""``trimgeo new``: a job folder to begin with."""

from __future__ import annotations

from pathlib import Path

import click

from trimgeo.cli import options


@options.command(
    "Start the job folder DIR from a photo or scan.\n\n"
    "Writes DIR/job.toml, in which every key is explained and the lines to fill in are marked, and puts a "
    "copy of the picture beside it.",
    "  trimgeo new my-board --photo scan-top.png",
)
@click.argument("dir", type=click.Path(), callback=options.as_path)
@click.option(
    "--photo",
    required=True,
    type=click.Path(),
    callback=options.as_path,
    metavar="FILE",
    help="A picture of the board's top face.",
)
def command(dir: Path, photo: Path) -> None:
    """Start a job folder."""
    from trimgeo.jobfile.starter import start_folder
    from trimgeo.scale import picture_size

    written = start_folder(dir, photo, picture_size(photo, "--photo"))
    shown = f'"{dir}"' if " " in str(dir) else str(dir)
    options.show(f"Wrote {written}. Replace each FILL IN there, then: trimgeo check {shown}")
