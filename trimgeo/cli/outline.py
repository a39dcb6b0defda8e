"""``trimgeo outline``: builds an outline, shows the trade of cuts against size."""

from __future__ import annotations

from pathlib import Path

import click

from trimgeo.cli import options
from trimgeo.cli.progress import Progress, prepared


@options.command(
    "Build an outline around all that must live and show the trade of cuts against size.\n\n"
    "Edges along the board's own edge are free and not counted. With --cuts the smallest outline with at "
    "most N new cuts is chosen, else the one that `build` in the job asks for. --write puts the chosen "
    "outline into the job file as points and changes nothing else there.",
    "  trimgeo outline samples/greenhouse --variant display --cuts 3",
)
@options.job
@click.option("--cuts", type=click.IntRange(0, 64), metavar="N", help="At most N new cuts.")
@click.option("--write", is_flag=True, help="Put the chosen outline into the job file.")
@options.variant
@options.json
def command(job: Path, cuts: int | None, write: bool, variant: str | None, as_json: bool) -> None:
    """Build an outline."""
    from trimgeo.jobfile.writing import write_outline
    from trimgeo.model import answer
    from trimgeo.report.summary import trade_lines
    from trimgeo.stages import chosen_outline, trade

    with Progress(4) as progress:
        board = prepared(progress, job, variant)
        progress.step("weighing cuts against size")
        found = trade(board)
        progress.step("choosing")
        chosen = chosen_outline(board, cuts)
    if write:
        write_outline(job, chosen.finished)
    if as_json:
        options.show_json(answer.trade(found))
    else:
        options.show("\n".join(trade_lines(found, chosen)))
        if write:
            options.show(f"Wrote the outline with {chosen.cuts} new cuts into the job file.")
