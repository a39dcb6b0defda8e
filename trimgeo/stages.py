"""The order of work: `prepare` is where pixels and files end, `plan` is pure plane geometry."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from itertools import chain
from pathlib import Path

import numpy as np

from trimgeo import seen
from trimgeo.choosing import asked_for
from trimgeo.cutting.chords import curves, told_curves
from trimgeo.cutting.clearance import LineOnBoard, minima, rows
from trimgeo.cutting.corners import corners, impossible
from trimgeo.cutting.edges import chains, new_edges
from trimgeo.cutting.exposure import exposed, severed
from trimgeo.cutting.holding import holding, parted
from trimgeo.cutting.lift import lift_list
from trimgeo.cutting.lines import lines
from trimgeo.cutting.order import order_cuts
from trimgeo.cutting.remarks import (
    NECK,
    crossed_holes,
    odd_bit,
    odd_lengths,
    short_cuts,
    thin_waste,
    weak_places,
)
from trimgeo.cutting.setout import set_out
from trimgeo.errors import JobError, quoted
from trimgeo.jobfile import entries, need, need_to_cut
from trimgeo.model.board import Board, Ring, View
from trimgeo.model.job import Job
from trimgeo.model.plan import Corner, Cut, Lift, Lines, Plan, Row
from trimgeo.model.proposal import Proposal
from trimgeo.scale import Seeing, views_and_edge


def prepare(job: Job) -> Board:
    """The board in millimetres: reads the pictures' sizes and the files that the job names.

    Raises `trimgeo.JobError` where a shape, a picture or a scale is at fault.

    >>> bare = {"thickness": 1.6, "edge": [[0, 0], [60, 0], [60, 40], [0, 40]]}
    >>> board = prepare(Job(job={"title": "Plain"}, board=bare | {"layers": 4}))
    >>> board.edge.polygon.area, [round(depth, 2) for depth in board.depths]
    (2400.0, [0.0, 0.53, 1.07, 1.6])
    """
    thickness = job.board.thickness
    seeing = Seeing(partial(seen.edge_seen, thickness), partial(seen.holes_seen, thickness))
    given = entries.edge_given(job)
    read = views_and_edge(job, given.ring, seeing)
    edge, views = read.edge, read.views
    assert edge is not None  # given by the job, or found in the view that it names
    by_name = {view.name: view for view in views}
    found = entries.keepouts(job, by_name, edge)
    holes = entries.holes(job, by_name)
    case, told_of_case = entries.case_given(job)
    line = entries.outline_given(job, by_name, edge)
    copper, told = seen.copper_seen(job, by_name, edge, holes, found.kept)
    board = Board(
        job=job,
        edge=edge,
        depths=_depths(job),
        holes=holes,
        views=views,
        keepouts=(*found.kept, *copper),
        ignored=found.ignored,
        parts=entries.parts(job, by_name),
        probes=entries.probes(job, by_name),
        outline=line.ring,
        described_layers=entries.described_layers(job, found.kept),
        warnings=(
            *entries.told_size(edge),
            *given.warnings,
            *line.warnings,
            *told_of_case,
            *found.warnings,
            *told,
            *chain.from_iterable(view.warnings for view in views),
        ),
        edge_view=read.edge_view,
        found_holes=read.holes,
        case=case,
    )
    if job.outline is not None and job.outline.view is not None:
        return with_drawn_line(board, job.outline.view, f"{job.source}, [outline], view")
    return board


def with_outline(board: Board, path: Path) -> Board:
    """The same board with the outline that a DXF or SVG file gives.

    >>> from tempfile import TemporaryDirectory
    >>> bare = {"thickness": 1.6, "edge": [[0, 0], [60, 0], [60, 40], [0, 40]]}
    >>> sheet = '<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="40mm" viewBox="0 0 60 40">'
    >>> with TemporaryDirectory() as folder:
    ...     written = Path(folder, "half.svg").write_text(sheet + '<rect width="30" height="40"/></svg>')
    ...     halved = with_outline(prepare(Job(job={"title": "T"}, board=bare)), Path(folder, "half.svg"))
    >>> [round(side, 6) for side in halved.outline.polygon.bounds]
    [0.0, 0.0, 30.0, 40.0]
    """
    by_name = {view.name: view for view in board.views}
    line = entries.outline_given(board.job, by_name, board.edge, path=path)
    told = (*board.warnings, *(text for text in line.warnings if text not in board.warnings))
    return replace(board, outline=line.ring, drawn=None, warnings=told)


def with_drawn_line(board: Board, name: str, where: str = "--photo") -> Board:
    """The same board with the outline that is drawn on it in the picture of a view.

    Raises `trimgeo.JobError` where there is no such view, and where no line can be told for sure.
    """
    (view,) = chosen_views(board, name)
    asked = board.job.outline
    own = asked is not None and asked.view == name
    near, pen = (asked.near, asked.pen) if asked is not None and own else (None, None)
    ring, drawn, told = seen.line_seen(board.job, view, board.edge, board.keepouts, near, pen, where)
    return replace(board, outline=ring, drawn=drawn, warnings=(*board.warnings, *told))


def plan(board: Board) -> Plan:
    """Everything that follows from a board and its outline, which is built where the job says so.

    Pure: no files, no pixels.  Raises `trimgeo.JobError` where the job lacks a table,
    `trimgeo.NoOutlineError` where no outline can be built.

    >>> bare = {"thickness": 1.6, "edge": [[0, 0], [60, 0], [60, 40], [0, 40]]}
    >>> line = {"points": [[0, 0], [36, 0], [36, 40], [0, 40]]}
    >>> how = {"cutter": {"kind": "blade", "kerf": 0.6}, "finish": {"sanding": 0.3}, "outline": line}
    >>> found = plan(prepare(Job(job={"title": "T"}, board=bare, **how)))
    >>> [(cut.start, cut.end) for cut in found.cuts], [list(line.coords) for line in found.lines.guide]
    ([((36.0, 0.0), (36.0, 40.0))], [[(36.3, -2.0), (36.3, 42.0)]])
    """
    job = board.job
    if board.outline is None:
        need(job, "outline")
    cutter, finish = need_to_cut(job), need(job, "finish")
    finished = board.outline or _built(board)
    unordered = new_edges(finished, board.edge)
    linked = chains(unordered, finished)
    cuts = order_cuts(unordered, linked, board.edge)
    along = lines(finished, board.edge, cuts, cutter, finish, job.board.thickness)
    clearances = _clearances(board, finished, cuts)
    minimum, inner_minimum = minima(clearances, job.board.layers)
    turns = corners(cuts, linked, cutter, finish, job.board.thickness, board.edge)
    apart = parted(board, finished, cuts, _lifted(board, along, clearances), cutter, finish)
    held = holding(board, finished, cuts, along, apart.lift, cutter, finish, apart)
    return Plan(
        board=board,
        finished=finished,
        cuts=cuts,
        lines=along,
        rows=clearances,
        minimum=minimum,
        inner_minimum=inner_minimum,
        lift=apart.lift,
        severed=severed(board.keepouts, [cut.line for cut in cuts]),
        exposed=exposed(board.keepouts, finished.polygon, cuts),
        corners=turns,
        set_out=set_out(finished, along.guide, board.edge, board.holes, cuts),
        unknown_layers=tuple(n for n in range(1, job.board.layers + 1) if n not in board.described_layers),
        warnings=(
            *board.warnings,
            *along.notes,
            *odd_lengths(cutter, job.board.thickness),
            *_about_cuts(board, finished, cuts, turns),
            *held.notes,
        ),
        holding=held,
    )


def _about_cuts(
    board: Board, finished: Ring, cuts: Sequence[Cut], turns: Sequence[Corner]
) -> tuple[str, ...]:
    """Warnings about cuts and what they leave; the chords of a curve are told together."""
    job = board.job
    cutter, finish = need(job, "cutter"), need(job, "finish")
    edge, reach = board.edge.polygon, finish.sanding + cutter.kerf
    found = curves(cuts)
    chords = {cut.n for curve in found for cut in curve.cuts}
    others = [cut for cut in cuts if cut.n not in chords]
    return (
        *impossible(cuts, turns, finish, chords),
        *crossed_holes(board.holes, [cut.line for cut in cuts]),
        *told_curves(found, edge, reach, cutter.kerf),
        *thin_waste(others, edge, reach),
        *short_cuts(others, cutter.kerf),
        *odd_bit(cutter),
        *weak_places(finished.polygon, cuts, job.outline.neck if job.outline else NECK),
    )


def _clearances(board: Board, finished: Ring, cuts: Sequence[Cut]) -> tuple[Row, ...]:
    return rows(
        (*board.keepouts, *board.ignored),
        finished.polygon,
        [cut.line for cut in cuts],
        board.edge.polygon,
        need(board.job, "cutter").wander,
        need(board.job, "finish").sanding,
        board.job.placing,
        _line_on_board(board),
    )


def _line_on_board(board: Board) -> LineOnBoard | None:
    """The line that is on the board already, where the outline was found in a picture."""
    if board.drawn is None:
        return None
    view = next(each for each in board.views if each.name == board.drawn.view)
    return LineOnBoard(view.name, view.to_board, board.drawn.uncertainty, view.scale_known)


def _lifted(board: Board, along: Lines, clearances: Sequence[Row]) -> tuple[Lift, ...]:
    breached = {row.name for row in clearances if row.state == "breached"}
    return lift_list(board.parts, board.keepouts, along.swept_band, board.edge.polygon, breached)


def _built(board: Board) -> Ring:
    return Ring(asked_for(board, None).finished, board.edge.circles)


def _depths(job: Job) -> tuple[float, ...]:
    """The depths that the job gives, else copper layers evenly spaced through the board."""
    if job.board.depths is not None:
        return job.board.depths
    return tuple(float(depth) for depth in np.linspace(0.0, job.board.thickness, job.board.layers))


def chosen_views(board: Board, name: str | None) -> tuple[View, ...]:
    """The view of that name, or all; raises `trimgeo.JobError` where there is none.

    >>> bare = {"thickness": 1.6, "edge": [[0, 0], [60, 0], [60, 40], [0, 40]]}
    >>> chosen_views(prepare(Job(job={"title": "T"}, board=bare)), "top")
    Traceback (most recent call last):
    trimgeo.errors.JobError: job.toml, [[view]]: found no view named "top"; add a [[view]] ...
    """
    found = tuple(view for view in board.views if name in (None, view.name))
    if not found:
        known = ", ".join(view.name for view in board.views)
        raise JobError(
            f"{board.job.source}, [[view]]",
            f"found no view{'' if name is None else f' named {quoted(name)}'}",
            f"name one of: {known}" if known else "add a [[view]] with a picture and its scale",
        )
    return found


def suggestions(board: Board, name: str) -> tuple[View, tuple[Proposal, ...]]:
    """Keep-outs that the picture of a view suggests; nothing is entered into the job.

    Raises `trimgeo.JobError` where there is no such view, or it shows no face.
    """
    (view,) = chosen_views(board, name)
    return view, seen.suggested(board.job, view, board.edge)
