"""The pictures of a proof and of a refusal: lines where they are, numbers beside them, words below."""

from __future__ import annotations

from functools import cache
from itertools import combinations
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
import pytest
import shapely
from shapely import LineString, MultiLineString, Polygon

import trimgeo
from trimgeo.drawing.lettering import text_box
from trimgeo.drawing.pdf import to_pdf
from trimgeo.drawing.proof import proof_sheet
from trimgeo.drawing.refusal import LENS, refusal_sheet
from trimgeo.drawing.sheet import Discs, Filled, Sheet, Strokes
from trimgeo.errors import NoOutlineError
from trimgeo.model.board import Board
from trimgeo.model.plan import Choice, Proof
from trimgeo.plane.fewest import fewest_cuts

JOB = """[job]
title = "Logger"
[board]
thickness = 1.6
edge = [[0, 0], [100, 0], [100, 60], [0, 60]]
[[keepout]]
name = "U1"
kind = "component"
polygon = [[20, 20], [80, 20], [80, 40], [20, 40]]
[cutter]
kind = "blade"
kerf = 1.0
[finish]
sanding = 0.3
"""
CASE = "[case]\ncavity = [[10, 10], [90, 10], [90, 50], [10, 50]]\ngap = 0.5\n"


@cache
def board(more: str = "") -> Board:
    with TemporaryDirectory() as folder:
        path = Path(folder) / "job.toml"
        path.write_text(JOB + more, encoding="utf-8")
        return trimgeo.prepare(trimgeo.load(path))


@cache
def proof() -> Proof:
    """Around a block in a close-fitting cavity four cuts are needed, as nobody doubts."""
    kept, allowed = shapely.box(18, 18, 82, 42), shapely.box(10.5, 10.5, 89.5, 49.5)
    found = fewest_cuts(kept, allowed, np.zeros(4, dtype=bool))
    lines = MultiLineString(list(shapely.linestrings(found.witnesses)))
    outline = found.outline
    choice = Choice(found.count, outline, outline.area, outline.length, 0, 0.5)
    return Proof(choice, found.proved, lines, kept, allowed, "all that is kept")


@cache
def proved() -> Sheet:
    return proof_sheet(board(CASE), proof())


@cache
def refused(meet: bool = True) -> Sheet:
    error = NoOutlineError(
        'no outline can be built: "U1" reaches 0.70 mm over side 2', ((80.7, 30.0), (80.0, 30.0)), 0.7
    )
    if not meet:
        error = NoOutlineError("no outline with at most 1 new cut was found")
    return refusal_sheet(board(), [shapely.box(19.3, 19.3, 80.7, 40.7)], error)


def words(sheet: Sheet) -> str:
    return " ".join(text.text for text in sheet.texts())


def scale_of(sheet: Sheet, hand: Any) -> tuple[float, np.ndarray]:
    """Sheet mm for a board mm, and the board's lower left corner, from the longest board edge drawn."""
    edge = max((np.asarray(path) for path in hand.paths(sheet, "board")), key=lambda xy: np.ptp(xy[:, 0]))
    return float(np.ptp(edge[:, 0])) / 100.0, np.asarray(edge.min(axis=0))


def test_every_witness_is_drawn_where_it_is_and_has_its_number(hand: Any) -> None:
    sheet, lines = proved(), proof().witnesses.geoms
    assert len(lines) >= 3
    scale, zero = scale_of(sheet, hand)
    drawn = shapely.union_all([LineString(path) for path in hand.paths(sheet, "witness")])
    for line in lines:
        on_sheet = LineString(np.asarray(line.coords) * scale + zero)
        # Dashes: most of the line, and nothing off it.
        assert on_sheet.buffer(1e-6).intersection(drawn).length > 0.5 * on_sheet.length
    everything = shapely.union_all([LineString(np.asarray(line.coords) * scale + zero) for line in lines])
    assert drawn.difference(everything.buffer(1e-6)).length < 1e-6
    rings = [item for item in sheet.items if isinstance(item, Discs) and item.kind == "witness-number"]
    assert len(rings) == len(lines)
    for n in range(1, len(lines) + 1):
        assert any(text.text == str(n) for text in sheet.texts())


def test_numbers_stand_on_no_line_that_must_be_seen(hand: Any) -> None:
    sheet = proved()
    lines = [
        LineString(p)
        for kind in ("witness", "cut", "board", "case", "case-gap")
        for p in hand.paths(sheet, kind)
    ]
    for item in sheet.items:
        if isinstance(item, Discs) and item.kind == "witness-number":
            disc = shapely.Point(item.centres[0]).buffer(item.radius)
            assert all(disc.disjoint(line) for line in lines)


def test_the_reason_says_what_is_proved_and_what_is_not() -> None:
    assert "The fewest new cuts found: 4. No outline has fewer: that is proved." in words(proved())
    open_ = Proof(proof().fewest, 3, proof().witnesses, proof().kept, proof().allowed, "all that is kept")
    said = words(proof_sheet(board(), open_))
    assert "Proved: no outline has fewer than 3. Whether one has fewer than 4 is not known." in said
    assert "that is proved" not in said
    whole = Choice(0, board().edge.polygon, 6000.0, 0.0, 0, None)
    nothing = Proof(whole, 0, MultiLineString(), proof().kept, board().edge.polygon, "all that is kept")
    assert "Nothing has to be cut" in words(proof_sheet(board(), nothing))


def test_one_cut_is_said_to_be_needed_since_the_whole_board_does_not_fit() -> None:
    choice = Choice(1, shapely.box(0, 0, 89.5, 60), 5370.0, 60.0, 0, None)
    one = Proof(choice, 1, MultiLineString(), proof().kept, proof().allowed, "all that is kept")
    said = words(proof_sheet(board(CASE), one))
    assert "that is proved." in said
    assert (
        "without a cut the board stays whole, and whole it does not lie in its case, inside the gap" in said
    )


def test_a_place_is_shown_larger_with_how_much_room_it_lacks(hand: Any) -> None:
    sheet = refused()
    (line,) = [item for item in sheet.items if isinstance(item, Strokes) and item.kind == "lacks"]
    length = LineString(line.paths[0]).length
    # 6 mm of the board fill the square: 84 / 6 = 14 times as large.
    assert length == pytest.approx(0.7 * LENS / 6.0)
    assert "0.70 mm" in words(sheet) and f"{LENS / 6.0:.1f} times as large as the board" in words(sheet)
    assert '"U1" reaches 0.70 mm over side 2.' in words(sheet)
    frames = [Polygon(p) for p in hand.paths(sheet, "frame")]
    small, large = sorted(frames, key=lambda each: each.area)
    assert large.contains(LineString(line.paths[0]))
    scale, zero = scale_of(sheet, hand)
    at = (np.asarray([80.35, 30.0]) * scale) + zero
    assert small.centroid.coords[0] == pytest.approx(tuple(at), abs=1e-6)
    assert small.area == pytest.approx((6.0 * scale) ** 2)


def test_what_is_kept_in_the_larger_square_ends_at_its_frame(hand: Any) -> None:
    sheet = refused()
    large = max((Polygon(p) for p in hand.paths(sheet, "frame")), key=lambda each: each.area)
    left = large.bounds[0]
    for item in sheet.items:
        if isinstance(item, Filled) and item.kind in ("kept", "grown"):
            area = Polygon(item.ring)
            assert area.bounds[2] < left or large.buffer(1e-9).covers(area)


def test_a_refusal_without_a_place_is_told_in_words_below_the_board(hand: Any) -> None:
    sheet = refused(False)
    assert "No outline with at most 1 new cut was found." in words(sheet)
    assert not hand.paths(sheet, "frame") and hand.paths(sheet, "board")


@pytest.mark.parametrize("which", ["proved", "refused", "plain"])
def test_no_text_covers_another_or_leaves_the_sheet(which: str) -> None:
    sheet = {"proved": proved(), "refused": refused(), "plain": refused(False)}[which]
    boxes = [shapely.box(*text_box(text)) for text in sheet.texts()]
    assert all(shapely.box(7, 7, sheet.width - 7, sheet.height - 7).contains(box) for box in boxes)
    assert max((a.intersection(b).area for a, b in combinations(boxes, 2)), default=0.0) < 1e-9


def test_on_paper_the_missing_room_is_vermilion_between_keep_out_and_wall(hand: Any) -> None:
    """PDFium draws it: #D55E00 in the middle of the line."""
    sheet = refused()
    (line,) = [item for item in sheet.items if isinstance(item, Strokes) and item.kind == "lacks"]
    page = hand.rendered(to_pdf([sheet], "t"), 0, 150.0).astype(int)
    x, y = LineString(line.paths[0]).centroid.coords[0]
    row, column = round((sheet.height - y) * 150 / 25.4), round(x * 150 / 25.4)
    assert np.median(page[row - 1 : row + 2, column - 3 : column + 4], axis=(0, 1)) == pytest.approx(
        [0xD5, 0x5E, 0x00], abs=12
    )


def test_a_long_way_that_is_seen_as_it_is_gets_no_larger_square(hand: Any) -> None:
    error = NoOutlineError("no outline can be built: it reaches far over", ((80.0, 30.0), (50.0, 30.0)), 30.0)
    sheet = refusal_sheet(board(), [], error)
    (line,) = [item for item in sheet.items if isinstance(item, Strokes) and item.kind == "lacks"]
    scale, _ = scale_of(sheet, hand)
    assert LineString(line.paths[0]).length == pytest.approx(30.0 * scale)
    assert not hand.paths(sheet, "frame") and "30.00 mm" in words(sheet)
    assert "times as large" not in words(sheet)
