"""``trimgeo check``: clearances of an outline."""

from __future__ import annotations

from pathlib import Path

import click

from trimgeo.cli import options
from trimgeo.cli.progress import Progress, prepared


@options.command(
    "Clearances of the outline of JOB to all that must live, inner copper first.\n\n"
    "With --outline an outline that was drawn elsewhere is judged instead of the job's own, with --photo the "
    "line that is drawn on the board in a picture. A picture in which nothing is looked for is not decoded, "
    "only its size is read: damage in it shows in run. Exit status 1 where something is breached.",
    "  trimgeo check samples/greenhouse --variant display\n  trimgeo check samples/plain --outline drawn.dxf",
)
@options.job
@click.option(
    "--outline",
    type=click.Path(),
    callback=options.as_path,
    metavar="FILE",
    help="A DXF or SVG file with the outline to judge.",
)
@click.option("--photo", metavar="VIEW", help="A view in whose picture the line is drawn on the board.")
@options.variant
@options.json
def command(job: Path, outline: Path | None, photo: str | None, variant: str | None, as_json: bool) -> int:
    """Check clearances."""
    import trimgeo
    from trimgeo.report.summary import check_lines
    from trimgeo.stages import with_drawn_line, with_outline

    if outline is not None and photo is not None:
        raise click.UsageError("--outline and --photo name two lines: give one of them")
    with Progress(3) as progress:
        board = prepared(progress, job, variant)
        progress.step("comparing")
        if outline is not None:
            board = with_outline(board, outline)
        elif photo is not None:
            board = with_drawn_line(board, photo)
        plan = trimgeo.plan(board)
    if as_json:
        options.show_json(plan.report())
    else:
        options.show("\n".join(check_lines(plan)))
    return 1 if plan.state == "breached" else 0
