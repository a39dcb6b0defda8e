"""What holds: the case the board, the hand the cutter, a hole the blade, relief cuts and clamp the work."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Final

import shapely
from shapely import LineString

from trimgeo.cutting.axle import Pass, passes
from trimgeo.cutting.fit import fit, goes_in
from trimgeo.cutting.hanging import hanging, hanging_sentences
from trimgeo.cutting.holder import Standing, hit_sentences, hits
from trimgeo.cutting.lift import lift_for
from trimgeo.cutting.relief import Obstacle, relief_cuts
from trimgeo.cutting.support import clamp, start_holes
from trimgeo.errors import quoted
from trimgeo.model.board import Board, FaceName, Ring
from trimgeo.model.job import Cutter, Finish
from trimgeo.model.plan import Cut, Fit, Holding, Lift, Lines, Support

TALLEST: Final = 100.0
"""mm: a part of unknown height is taken to be as tall as this, to see whether its height matters."""

OnFace = tuple[FaceName, Standing]


@dataclass(frozen=True)
class Parted:
    """How the waste is parted before all else: its cuts, what is lifted for them, and what to hear of it."""

    relief: tuple[LineString, ...]
    lift: tuple[Lift, ...]
    notes: tuple[str, ...]


def parted(
    board: Board,
    finished: Ring,
    cuts: Sequence[Cut],
    lifted: Sequence[Lift],
    cutter: Cutter,
    finish: Finish,
) -> Parted:
    """Relief cuts, and the whole lift list: what is ``lifted`` already and what they run through."""
    room = finish.sanding + cutter.kerf + cutter.wander
    there = _not_lifted(board, lifted)
    found, notes = relief_cuts(cuts, finished.polygon, board.edge.polygon, room, [one for _, one, _ in there])
    more: dict[int, Lift] = {}
    for each in found:
        for n in each.through:
            face, one, height = there[n]
            more.setdefault(n, lift_for(one, face, height, each.line))
    every = sorted((*lifted, *more.values()), key=lambda lift: (lift.face != "top", lift.name))
    return Parted(tuple(each.line for each in found), tuple(every), notes)


def holding(
    board: Board,
    finished: Ring,
    cuts: Sequence[Cut],
    along: Lines,
    lifted: Sequence[Lift],
    cutter: Cutter,
    finish: Finish,
    apart: Parted,
) -> Holding:
    """Fit, collisions, start holes and support of a cut that is laid; how the waste is ``apart`` is known.

    What stands on the finished board counts for the case, also what is refitted after the cut; all that is
    not lifted counts for the hand-piece, holes and the clamp.  Parts of unknown height count for the walls,
    holes and the clamp alone.
    """
    standing = _standing(board, lifted)
    edge, part, thickness = board.edge.polygon, finished.polygon, board.job.board.thickness
    way = passes(along.tool_centre, cuts, edge, cutter, thickness)
    met = hits(way, [one for face, one in standing if face == cutter.face], cutter, thickness)
    there = [one.area for _, one, _ in _not_lifted(board, lifted)]
    holes, said = start_holes(along.tool_centre, cuts, part, edge, cutter, finish.sanding, there)
    fitted, told = _fitted(board, finished, _staying(board, lifted))
    return Holding(
        fitted,
        met,
        holes,
        Support(apart.relief, clamp(part, there)),
        (
            *hit_sentences(met),
            *said,
            *apart.notes,
            *told,
            *_unknown_heights(board, finished, lifted, way, cutter),
        ),
    )


def _unknown_heights(
    board: Board, finished: Ring, lifted: Sequence[Lift], way: Sequence[Pass], cutter: Cutter
) -> list[str]:
    """What cannot be told of parts whose height nobody gave: under lid and floor, and beside the cutter."""
    gone = {(lift.name, lift.face) for lift in lifted}
    unknown = [
        (face, replace(part, height=TALLEST)) for face, height, part in _every(board) if height is None
    ]
    said = []
    case = board.case
    bounded = {"top": case and case.lid, "bottom": case and case.floor}
    under = [part.name for face, part in _on(finished, unknown) if bounded[face] is not None]
    if under:
        said.append(
            f"Whether the case closes over {_quoted(under)} is not known: give their height with `height`."
        )
    near = [part for face, part in unknown if face == cutter.face and (part.name, face) not in gone]
    met = hits(way, near, cutter, board.job.board.thickness)
    sides = {(hit.cut, hit.side) for hit in met}
    both = {cut for cut, _ in sides if {(cut, "kept"), (cut, "waste")} <= sides}
    beside = dict.fromkeys(hit.name for hit in met if hit.side is None or hit.cut in both)
    if beside:
        said.append(
            f"Whether the cutter's body or its holder clears {_quoted(beside)} is not known: give their "
            "height with `height`, or look before cutting."
        )
    return said


def _quoted(names: Iterable[str]) -> str:
    return ", ".join(quoted(name) for name in names)


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


def _not_lifted(board: Board, lifted: Sequence[Lift]) -> list[tuple[FaceName, Obstacle, float | None]]:
    """All parts that are there while the waste is parted: face, shape, and height as far as it is known."""
    gone = {(lift.name, lift.face) for lift in lifted}
    every: list[tuple[FaceName, Obstacle, float | None]] = [
        (
            each.face or "top",
            Obstacle(each.name, shapely.buffer(each.spine, each.radius), each.may_cut),
            each.height,
        )
        for each in board.keepouts
        if each.kind == "component"
    ]
    every += [(each.face, Obstacle(each.name, each.area, may_go=True), each.height) for each in board.parts]
    return [one for one in every if (one[1].name, one[0]) not in gone]


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
