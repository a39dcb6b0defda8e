"""``trimgeo rectify``: the pictures at true scale."""

from __future__ import annotations

from pathlib import Path

import click

from trimgeo.cli import options
from trimgeo.cli.progress import Progress, prepared


@options.command(
    "Write each view of JOB as a true-scale PNG, NAME.png, in the frame of the board.\n\n"
    "Views of the bottom face are mirrored into the frame of the top face. The resolution stands in the "
    "file, and no detail is invented: it follows the source. NAME-found.png beside it shows the picture as "
    "taken with what was found in it: the card's corners and what their fit leaves, the board's edge, its "
    "holes, a drawn line.",
    "  trimgeo rectify samples/greenhouse --variant display --out true-scale",
)
@options.job
@click.option("--view", metavar="NAME", help="Only this view.")
@options.out_folder("The folder for the pictures; made where it is missing.")
@options.variant
@options.json
def command(job: Path, view: str | None, out: Path, variant: str | None, as_json: bool) -> None:
    """Rectify views."""
    from trimgeo.drawing.found import found
    from trimgeo.drawing.png import encode_png
    from trimgeo.files import atomic_write, make_folder
    from trimgeo.model import answer
    from trimgeo.report.summary import view_lines
    from trimgeo.stages import chosen_views

    with Progress(2) as progress:
        board = prepared(progress, job, variant)
    chosen = chosen_views(board, view)
    with Progress(3 * len(chosen)) as progress:
        pictures = {}
        for each in chosen:
            progress.step(f"straightening {each.name}")
            pictures[f"{each.name}.png"] = encode_png(each.picture.pixels, each.picture.pixels_per_mm)
            progress.step(f"drawing what {each.name} shows")
            pictures[f"{each.name}-found.png"] = encode_png(found(board, each), 1.0)
        make_folder(out)
        for name, data in pictures.items():
            progress.step(f"writing {name}")
            atomic_write(out / name, data)
    if as_json:
        options.show_json([answer.straightened(each, board, f"{each.name}.png") for each in chosen])
    else:
        for each in chosen:
            options.show("\n".join(view_lines(each)))
        options.show_written(pictures)
