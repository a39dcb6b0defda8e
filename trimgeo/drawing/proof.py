"""What proves that no outline has fewer cuts, as a picture with its reason in words."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from trimgeo.drawing.captioned import AIR, MARGIN, WIDTH, captioned
from trimgeo.drawing.caselines import case_lines
from trimgeo.drawing.cells import room
from trimgeo.drawing.labels import Form, Place, Wish, place
from trimgeo.drawing.naming import CUT_LABEL, HALF_CAPITAL, RING
from trimgeo.drawing.panel import extent, fill, fitted, ground, outline_area, outline_items, sides, strokes
from trimgeo.drawing.sheet import XY, Box, Discs, Item, Sheet, Text
from trimgeo.drawing.signs import CASE_WALL, GROWN_FILL, LINES
from trimgeo.drawing.strokes import hatched
from trimgeo.model.board import Board
from trimgeo.model.plan import Proof
from trimgeo.tables import EDGE_TOLERANCE


def proof_sheet(board: Board, proof: Proof) -> Sheet:
    """What is kept and allowed, the outline with the fewest cuts found, and the lines that prove the bound.

    Not true to scale.  The lines are numbered, and the words below say why they prove it.
    """
    kinds = {"cut", "board", "kept", "around"} | ({"witness"} if proof.witnesses.length else set())
    kinds |= {"case", "case-gap"} if board.case is not None else set()
    laid = captioned(board, "Fewest cuts", frozenset(kinds), _reason(board, proof))
    at = fitted(extent(board), laid.window)
    kept, allowed, edge = at.lay([proof.kept, proof.allowed.exterior, board.edge.polygon.exterior])
    lines = list(at.lay(list(proof.witnesses.geoms)))
    left, bottom, right, top = MARGIN, laid.window[1] - AIR, WIDTH - MARGIN, laid.window[3] + AIR
    # A number stands on none of these; on the case it could hardly be read.
    barred = [*lines, *at.lay([proof.fewest.finished.exterior]), edge]
    if board.case is not None:
        shown = case_lines(board.case, CASE_WALL)
        barred += [*at.lay([shown.wall, shown.gap]), *hatched(list(at.lay([shown.solid])), 0.0, 1.0).geoms]
    items = [
        *outline_area(at, proof.fewest.finished),
        *fill("grown", [kept], GROWN_FILL),
        *ground(board, at, shapely.box(0.0, 0.0, WIDTH, laid.height)),
        strokes("case-gap", shapely.difference(allowed, edge.buffer(EDGE_TOLERANCE))),
        *outline_items(board, at, proof.fewest.finished),
        *(strokes("witness", line) for line in lines),
        *_numbers(lines, barred, (left, bottom, right, top)),
    ]
    return Sheet("proof", WIDTH, laid.height, (*items, *laid.items))


def _reason(board: Board, proof: Proof) -> list[str]:
    """Why there are no fewer cuts, in words."""
    found, proved = proof.fewest.cuts, proof.proved
    if not found:
        return ["Nothing has to be cut: all that is kept has room as the board is."]
    exact = "No outline has fewer: that is proved."
    more = f"Proved: no outline has fewer than {proved}. Whether one has fewer than {found} is not known."
    said = [f"The fewest new cuts found: {found}. {exact if proved >= found else more}"]
    if not proof.witnesses.length:
        return [*said, _without_lines(board)] if found == proved == 1 else said
    free = bool(sides(proof.fewest.finished, board.edge.polygon)[1].length)
    said.append(_argument(proof.around, len(proof.witnesses.geoms), free))
    if free:
        said.append(
            "Where an outline follows the board's own edge nothing is cut: there the count begins anew."
        )
    said.append("So it is on the way around with the fewest cuts; every other way was counted alike.")
    return said


def _without_lines(board: Board) -> str:
    """Why one cut is needed: without one the outline is the board's edge."""
    past = "its case, inside the gap" if board.case is not None and board.case.gap else "its case"
    if board.case is None:
        return "Why: without a cut the board stays as it is, and as it is it may not stay."
    return f"Why: without a cut the board stays whole, and whole it does not lie in {past}."


def _argument(around: str, lines: int, free: bool) -> str:
    """Why so many cuts are needed, of ``lines`` that every outline passes."""
    if lines > 1:
        passed = "the numbered lines, one after the other"
        begun = "on or before one of them" + (", or on the board's edge before the first," if free else "")
        barred = f"No straight cut that begins {begun} gets past the next one"
    else:
        passed = "the numbered line"
        begun = "on the board's edge before it" if free else "before it"
        barred = f"No straight cut that begins {begun} gets past it"
    return (
        f"Why: every outline leads around {around} and passes {passed}. {barred}, however it is laid: what "
        "is kept, and the border, stand in its way."
    )


def _numbers(lines: Sequence[BaseGeometry], barred: Sequence[BaseGeometry], window: Box) -> list[Item]:
    """A number in a ring beside each line, with a pointer where it stands away from it."""
    size = 2 * RING + 0.6
    wishes = [Wish(_along(line), (Form(size, size),)) for line in lines]
    items: list[Item] = []
    for n, put in enumerate(place(room(window, strong=barred), wishes), start=1):
        if put is not None:
            items += _ringed(str(n), put)
    return items


def _along(line: BaseGeometry) -> tuple[XY, ...]:
    shares = np.array([0.5, 0.35, 0.65, 0.2, 0.8, 1.0])
    spread = shapely.line_interpolate_point(line, shares, normalized=True)
    return tuple((float(x), float(y)) for x, y in shapely.get_coordinates(spread))


def _ringed(text: str, put: Place) -> list[Item]:
    x, y = (put.box[0] + put.box[2]) / 2, (put.box[1] + put.box[3]) / 2
    items: list[Item] = []
    if put.pointer is not None:
        away = shapely.difference(
            shapely.LineString([(x, y), put.pointer[1]]), shapely.Point(x, y).buffer(RING)
        )
        items.append(strokes("leader", away))
    return [
        *items,
        Discs("witness-number", ((x, y),), RING, LINES["witness"].colour, 0.3),
        Text((x, y - CUT_LABEL * HALF_CAPITAL), text, CUT_LABEL, "middle"),
    ]
