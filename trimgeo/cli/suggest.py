"""``trimgeo suggest``: keep-outs proposed from a photo."""

from __future__ import annotations

from pathlib import Path

import click

from trimgeo.cli import options
from trimgeo.cli.progress import Progress, prepared


@options.command(
    "Propose keep-outs of JOB from the picture of a view: bodies of parts, pads and holes.\n\n"
    "They are printed, most confident first, with tables to paste into the job file. Nothing is entered "
    "into the job: look at each, and mark by hand what was not found. The confidence of a part is the "
    "share of such parts that were right on drawn boards; below 0.5 none is shown.\n\n"
    "With --json, a list with an object for each: name; kind (component, pad or hole); polygon, corners "
    "in mm on the board, or circle with at and diameter in mm; pixels, the same corners or the middle in the "
    'view\'s picture; confidence, 0 to 1; traced, "top" for a part that a camera saw from aside, whose '
    "height must be measured before its foot is known, else null.",
    "  trimgeo suggest samples/greenhouse --view scan-top --variant display",
)
@options.job
@click.option("--view", required=True, metavar="NAME", help="The view of a face to look at.")
@options.variant
@options.json
def command(job: Path, view: str, variant: str | None, as_json: bool) -> None:
    """Suggest keep-outs."""
    from trimgeo.report.suggested import named, suggested_json, suggested_lines
    from trimgeo.stages import suggestions

    with Progress(3) as progress:
        board = prepared(progress, job, variant)
        progress.step("looking for parts")
        seen, proposals = suggestions(board, view)
    found = named(proposals, {each.name for each in (*board.keepouts, *board.ignored)})
    if as_json:
        options.show_json(suggested_json(seen, found))
    else:
        options.show("\n".join(suggested_lines(seen, found, board.job.board.layers)))
