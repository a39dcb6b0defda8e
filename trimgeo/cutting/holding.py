"""What holds: the case the board, the hand the cutter, a hole the blade, relief cuts and clamp the work."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import shapely
from shapely.geometry.base import BaseGeometry

from trimgeo.cutting.axle import passes
from trimgeo.cutting.fit import fit, goes_in
from trimgeo.cutting.hanging import hanging, hanging_sentences
from trimgeo.cutting.holder import Standing, hit_sentences, hits
from trimgeo.cutting.support import clamp, relief_cuts, start_holes
from trimgeo.model.board import Board, FaceName, Ring
from trimgeo.model.job import Cutter, Finish
from trimgeo.model.plan import Cut, Fit, Holding, Lift, Lines, Support

OnFace = tuple[FaceName, Standing]


def holding(
    board: Board,
    finished: Ring,
    cuts: Sequence[Cut],
    along: Lines,
    lifted: Sequence[Lift],
    cutter: Cutter,
    finish: Finish,
) -> Holding:
    """Fit, collisions, start holes and support of a cut that is laid.

    What stands on the finished board counts for the case, also what is refitted after the cut; all that is
    not lifted counts for the hand-piece and the clamp.  Parts of unknown height count for the walls alone.
    """
    standing = _standing(board, lifted)
    edge, part, thickness = board.edge.polygon, finished.polygon, board.job.board.thickness
    way = passes(along.tool_centre, cuts, edge, cutter, thickness)
    met = hits(way, [one for face, one in standing if face == cutter.face], cutter, thickness)
    holes, said = start_holes(along.tool_centre, cuts, part, edge, cutter, finish.sanding)
    fitted, told = _fitted(board, finished, _staying(board, lifted))
    room = finish.sanding + cutter.kerf + cutter.wander
    relief, passed = relief_cuts(cuts, part, edge, room, _not_lifted(board, lifted))
    return Holding(
        fitted,
        met,
        holes,
        Support(
            relief,
            clamp(part, [shapely.buffer(one.spine, one.radius) for _, one in standing]),
        ),
        (*hit_sentences(met), *said, *passed, *told),
    )


def fits(board: Board, finished: Ring) -> bool | None:
    """Whether a finished outline goes into the case with all that must stay on it; None without a case."""
    if board.case is None:
        return None
    standing = _on(finished, _standing(replace(board, parts=()), ()))
    return goes_in(finished, board.case, standing)


def _standing(board: Board, lifted: Sequence[Lift]) -> tuple[OnFace, ...]:
    """What stands on each face while it is cut, as far as its height is known."""
    gone = {(lift.name, lift.face) for lift in lifted}
    return tuple(
        (face, part)
        for face, height, part in _every(board)
        if height is not None and (part.name, face) not in gone
    )


def _staying(board: Board, lifted: Sequence[Lift]) -> tuple[OnFace, ...]:
    """What is on each face in the end: all that is not lifted, or refitted because it must survive."""
    back = {(each.name, each.face or "top") for each in board.keepouts if not each.may_cut}
    gone = {(lift.name, lift.face) for lift in lifted} - back
    return tuple((face, part) for face, _, part in _every(board) if (part.name, face) not in gone)


def _every(board: Board) -> list[tuple[FaceName, float | None, Standing]]:
    """All parts, with their heights as far as known."""
    every: list[tuple[FaceName, float | None, Standing]] = [
        (
            each.face or "top",
            each.height,
            Standing(each.name, each.height or 0.0, each.spine, each.radius, not each.may_cut),
        )
        for each in board.keepouts
        if each.kind == "component"
    ]
    every += [
        (each.face, each.height, Standing(each.name, each.height or 0.0, each.area)) for each in board.parts
    ]
    return every


def _not_lifted(board: Board, lifted: Sequence[Lift]) -> list[tuple[str, BaseGeometry]]:
    """All parts of both faces that are there while the waste is parted, of whatever height."""
    gone = {(lift.name, lift.face) for lift in lifted}
    every: list[tuple[str, FaceName, BaseGeometry]] = [
        (each.name, each.face or "top", shapely.buffer(each.spine, each.radius))
        for each in board.keepouts
        if each.kind == "component"
    ]
    every += [(part.name, part.face, part.area) for part in board.parts]
    return [(name, area) for name, face, area in every if (name, face) not in gone]


def _on(finished: Ring, standing: Sequence[OnFace]) -> list[OnFace]:
    """What stands on the finished board."""
    return [
        (face, part) for face, part in standing if shapely.dwithin(finished.polygon, part.spine, part.radius)
    ]


def _fitted(board: Board, finished: Ring, standing: Sequence[OnFace]) -> tuple[Fit | None, tuple[str, ...]]:
    """How the finished board goes into its case, where the job has one, and warnings."""
    case = board.case
    if case is None:
        return None, ()
    there = _on(finished, standing)
    found = fit(finished, case, there)
    over = hanging(finished, case, [part for _, part in there], found)
    said = hanging_sentences(over, case.gap, found)
    return found, said if found.fits else (*found.notes, *said)
