"""``trimgeo rectify``: the pictures at true scale."""

from __future__ import annotations

from pathlib import Path

import click

from trimgeo.cli import options
from trimgeo.cli.progress import Progress


@options.command(
    "Write each view of JOB as a true-scale PNG, NAME.png, in the frame of the board.\n\n"
    "Views of the bottom face are mirrored into the frame of the top face. The resolution stands in the "
    "file, and no detail is invented: it follows the source.",
    "  trimgeo rectify samples/greenhouse --variant display --out true-scale",
)
@options.job
@click.option("--view", metavar="NAME", help="Only this view.")
@options.out_folder("The folder for the pictures; made where it is missing.")
@options.variant
@options.json
def command(job: Path, view: str | None, out: Path, variant: str | None, as_json: bool) -> None:
    """Rectify views."""
    import trimgeo
    from trimgeo.drawing.png import encode_png
    from trimgeo.files import atomic_write, make_folder
    from trimgeo.model import answer
    from trimgeo.report.summary import view_lines
    from trimgeo.stages import chosen_views

    board = trimgeo.prepare(trimgeo.load(job, variant=variant))
    chosen = chosen_views(board, view)
    with Progress(2 * len(chosen)) as progress:
        pictures = []
        for each in chosen:
            progress.step(f"straightening {each.name}")
            pictures.append((f"{each.name}.png", encode_png(each.picture.pixels, each.picture.pixels_per_mm)))
        make_folder(out)
        for name, data in pictures:
            progress.step(f"writing {name}")
            atomic_write(out / name, data)
    if as_json:
        options.show_json(
            [
                {**answer.view(each), "image": name, "origin": list(each.picture.origin)}
                for each, (name, _) in zip(chosen, pictures, strict=True)
            ]
        )
    else:
        for each in chosen:
            options.show("\n".join(view_lines(each)))
