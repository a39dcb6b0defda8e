"""``trimgeo run``: everything."""

from __future__ import annotations

from pathlib import Path

from trimgeo.cli import options
from trimgeo.cli.progress import Progress, prepared


@options.command(
    "Compute the plan of JOB and write all of it into a folder.\n\n"
    "Writes template.pdf, the template's sheets as SVG, outline.dxf, report.html, an overlay for each view "
    "of a face, and last report.json, which holds the SHA-256 of the others. Exit status 1 where something "
    "is breached.",
    "  trimgeo run samples/greenhouse --variant display --out out",
)
@options.job
@options.out_folder("The folder for all files; made where it is missing.")
@options.variant
@options.json
def command(job: Path, out: Path, variant: str | None, as_json: bool) -> int:
    """Run the whole job."""
    import trimgeo
    from trimgeo.drawing.lacking import with_lacking_told
    from trimgeo.report.summary import check_lines

    with Progress(8) as progress:
        board = prepared(progress, job, variant)
        progress.step("planning the cut")
        plan = with_lacking_told(trimgeo.plan(board))
        report = trimgeo.write(plan, out, progress.step)
    if as_json:
        options.show_json(report)
    else:
        options.show("\n".join(check_lines(plan)))
        options.show_written([*(each["name"] for each in report["files"]), "report.json"])
    return 1 if plan.state == "breached" else 0
