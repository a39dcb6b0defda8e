"""``trimgeo outline``: builds an outline, shows the trade of cuts against size."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from trimgeo.cli import options
from trimgeo.cli.progress import Progress, prepared

if TYPE_CHECKING:
    from trimgeo.errors import NoOutlineError
    from trimgeo.model.board import Board
    from trimgeo.model.plan import Choice, Trade


@options.command(
    "Build an outline around all that must live and show the trade of cuts against size.\n\n"
    "Edges along the board's own edge are free and not counted. With --cuts the smallest outline with at "
    "most N new cuts is chosen, else the one that `build` in the job asks for. --write puts the chosen "
    "outline into the job file as points and changes nothing else there.\n\n"
    "--picture draws the trade; --proof draws why there are no fewer cuts, or what stands in the way of "
    "any outline; --compare sets the trades of all variants side by side, and beside them that of one "
    "outline that serves them all.",
    "  trimgeo outline samples/greenhouse --variant display --cuts 3",
)
@options.job
@click.option("--cuts", type=click.IntRange(0, 64), metavar="N", help="At most N new cuts.")
@click.option("--write", is_flag=True, help="Put the chosen outline into the job file.")
@options.drawing("--picture", "Draw the trade (.svg or .pdf).")
@options.drawing("--proof", "Draw what proves the fewest cuts (.svg or .pdf).")
@click.option("--compare", is_flag=True, help="All variants side by side.")
@options.variant
@options.json
def command(
    job: Path,
    cuts: int | None,
    write: bool,
    picture: Path | None,
    proof: Path | None,
    compare: bool,
    variant: str | None,
    as_json: bool,
) -> int:
    """Build an outline."""
    if compare:
        _alone({"cuts": cuts, "write": write or None, "picture": picture, "proof": proof, "variant": variant})
        return _compare(job, as_json)
    with Progress(6) as progress:
        board = prepared(progress, job, variant)
        found, chosen, files = _weighed(progress, board, cuts, picture, proof)
    _write(job, chosen if write else None, files)
    _show(board, found, chosen, as_json)
    if not as_json and write:
        others = [name for name in board.job.job.variants or () if name != variant]
        shared = f"; it stands for every variant now, {', '.join(others)} as well" if others else ""
        options.show(f"Wrote the outline with {chosen.cuts} new cuts into the job file{shared}.")
    if not as_json and files:
        options.show_written(path.name for path in files)
    return 0


def _alone(others: dict[str, object]) -> None:
    for option, given in others.items():
        if given is not None:
            raise click.UsageError(f"--compare is about all variants: leave --{option} out")


def _weighed(
    progress: Progress, board: Board, cuts: int | None, picture: Path | None, proof: Path | None
) -> tuple[Trade, Choice, dict[Path, bytes]]:
    """The trade, the chosen outline, and the pictures that are asked for."""
    from trimgeo import choosing
    from trimgeo.drawing.proof import proof_sheet
    from trimgeo.drawing.trade import trade_sheet
    from trimgeo.errors import NoOutlineError
    from trimgeo.report.files import picture_file

    about, files = board.job.job.title, {}
    try:
        progress.step("weighing cuts against size")
        found = choosing.trade(board)
        progress.step("choosing")
        chosen = choosing.chosen_outline(board, cuts, found)
        found = choosing.with_chosen(found, chosen)
    except NoOutlineError as refused:
        if proof is not None:
            _write_refusal(board, refused, proof)
        raise
    progress.step("drawing")
    if picture is not None:
        files[picture] = picture_file(trade_sheet(board, found, chosen), about, picture.name)
    if proof is not None:
        files[proof] = picture_file(proof_sheet(board, choosing.proof(board)), about, proof.name)
    return found, chosen, files


def _write_refusal(board: Board, refused: NoOutlineError, path: Path) -> None:
    """Draw what stands in the way; where nothing is kept there is nothing to draw."""
    from trimgeo import choosing
    from trimgeo.drawing.refusal import refusal_sheet
    from trimgeo.errors import NoOutlineError
    from trimgeo.files import atomic_write
    from trimgeo.report.files import picture_file

    try:
        grown = choosing.grown_keepouts(board)
    except NoOutlineError:
        grown = ()
    atomic_write(path, picture_file(refusal_sheet(board, grown, refused), board.job.job.title, path.name))


def _write(job: Path, chosen: Choice | None, files: dict[Path, bytes]) -> None:
    from trimgeo.files import atomic_write
    from trimgeo.jobfile.writing import write_outline

    for path, data in files.items():
        atomic_write(path, data)
    if chosen is not None:
        write_outline(job, chosen.finished)


def _show(board: Board, found: Trade, chosen: Choice, as_json: bool) -> None:
    from trimgeo.model import answer
    from trimgeo.report.summary import lost_lines, trade_lines

    if as_json:
        options.show_json(answer.trade(found))
    else:
        options.show("\n".join([*lost_lines(board), *trade_lines(found, chosen)]))


def _compare(job: Path, as_json: bool) -> int:
    """The trade of every variant, and of one outline for all; status 1 where one of them has none."""
    import trimgeo
    from trimgeo.choosing import weighed
    from trimgeo.jobfile import load_variants
    from trimgeo.model import answer
    from trimgeo.report.summary import comparison_lines

    jobs, together = load_variants(job)
    with Progress(len(jobs) + 1) as progress:
        found = []
        for each in (*jobs, together):
            progress.step(f"weighing {each.variant or 'all together'}")
            found.append(weighed(trimgeo.prepare(each)))
    if as_json:
        options.show_json(answer.comparison(found[:-1], found[-1]))
    else:
        options.show("\n".join(comparison_lines(found[:-1], found[-1])))
    return 1 if any(each.chosen is None for each in found) else 0
