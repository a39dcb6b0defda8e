"""The picture of the trade: as many frames as choices, the figures of each, one of them marked."""

from __future__ import annotations

from functools import cache
from itertools import combinations
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
import pytest
import shapely
from shapely import LineString, Polygon

import trimgeo
from trimgeo.drawing.lettering import text_box
from trimgeo.drawing.pdf import to_pdf
from trimgeo.drawing.sheet import Filled, Sheet, Strokes
from trimgeo.drawing.trade import trade_sheet
from trimgeo.model.board import Board
from trimgeo.model.plan import Choice, Trade

JOB = """[job]
title = "Logger"
revision = "C"
[board]
thickness = 1.6
edge = [[0, 0], [100, 0], [100, 50], [0, 50]]
[[keepout]]
name = "U1"
kind = "component"
polygon = [[10, 10], [30, 10], [30, 20], [10, 20]]
[[keepout]]
name = "plane"
kind = "copper"
layers = [2]
may_cut = true
polygon = [[5, 5], [90, 5], [90, 45], [5, 45]]
[cutter]
kind = "blade"
kerf = 1.0
[finish]
sanding = 0.3
"""


def choice(cuts: int, *corners: tuple[float, float], **more: Any) -> Choice:
    shape = Polygon(corners)
    given = {"cut_length": 50.0, "inside_corners": 0, "clearance": 0.5} | more
    return Choice(cuts=cuts, finished=shape, area=float(shape.area), **given)


CHOICES = (
    choice(0, (0, 0), (100, 0), (100, 50), (0, 50), clearance=None, cut_length=0.0),
    choice(1, (0, 0), (40, 0), (40, 50), (0, 50)),
    choice(2, (0, 0), (40, 0), (40, 25), (0, 25), cut_length=65.0, fits=False),
    choice(4, (0, 0), (40, 0), (40, 25), (20, 25), (20, 22), (0, 22), cut_length=68.0, inside_corners=1),
)


@cache
def board(more: str = "") -> Board:
    with TemporaryDirectory() as folder:
        path = Path(folder) / "job.toml"
        path.write_text(JOB + more, encoding="utf-8")
        return trimgeo.prepare(trimgeo.load(path))


@cache
def sheet(count: int = 4, more: str = "") -> Sheet:
    return trade_sheet(board(more), Trade(CHOICES[:count], fewest=0, proved=0), CHOICES[min(2, count - 1)])


def words(drawn: Sheet) -> list[str]:
    return [text.text for text in drawn.texts()]


def frames(drawn: Sheet) -> list[tuple[float, ...]]:
    rings = [i for i in drawn.items if isinstance(i, Strokes) and i.kind in ("frame", "chosen")]
    return [Polygon(ring.paths[0]).bounds for ring in rings]


def test_each_choice_has_its_figures_in_its_own_frame() -> None:
    drawn = sheet()
    assert len(frames(drawn)) == 4
    for box, said in zip(
        frames(drawn),
        (
            {"no cuts", "50.00 cm², 0.0 mm to cut", "no inside corners, no new edge"},
            {"1 cut", "20.00 cm², 50.0 mm to cut", "no inside corners, least clearance 0.50 mm"},
            {"2 cuts", "10.00 cm², 65.0 mm to cut", "does not fit the case"},
            {"4 cuts", "9.40 cm², 68.0 mm to cut", "1 inside corner, least clearance 0.50 mm"},
        ),
        strict=True,
    ):
        inside = {t.text for t in drawn.texts() if shapely.box(*box).contains(shapely.box(*text_box(t)))}
        assert said <= inside


def test_the_chosen_one_is_marked_by_a_word_and_a_thick_frame() -> None:
    drawn = sheet()
    thick = [i for i in drawn.items if isinstance(i, Strokes) and i.kind == "chosen"]
    thin = [i for i in drawn.items if isinstance(i, Strokes) and i.kind == "frame"]
    assert len(thick) == 1 and len(thin) == 3 and thick[0].width > 5 * thin[0].width
    (flag,) = [text for text in drawn.texts() if text.text == "chosen"]
    marked = shapely.box(*Polygon(thick[0].paths[0]).bounds)
    assert marked.contains(shapely.Point(flag.at))
    assert any(t.text == "2 cuts" and marked.contains(shapely.Point(t.at)) for t in drawn.texts())


def test_cuts_are_drawn_thick_and_as_long_as_they_are(hand: Any) -> None:
    drawn = sheet()
    scale = dict.fromkeys(frames(drawn), 0.0)
    for frame in scale:
        box = shapely.box(*frame)
        edges = [Polygon(p) for p in hand.paths(drawn, "board") if box.contains(LineString(p))]
        (edge,) = edges
        scale[frame] = (edge.bounds[2] - edge.bounds[0]) / 100.0
        assert edge.bounds[3] - edge.bounds[1] == pytest.approx(50.0 * scale[frame])
    cuts = [LineString(path) for path in hand.paths(drawn, "cut")]
    lengths = [
        sum(cut.length for cut in cuts if shapely.box(*frame).contains(cut)) / scale[frame] for frame in scale
    ]
    assert lengths == pytest.approx([0.0, 50.0, 65.0, 68.0])


def test_what_may_be_cut_is_not_shown_as_kept() -> None:
    kept = [
        Polygon(item.ring).area for item in sheet(1).items if isinstance(item, Filled) and item.kind == "kept"
    ]
    (edge,) = [i for i in sheet(1).items if isinstance(i, Strokes) and i.kind == "board"]
    assert kept == pytest.approx([200.0 / 5000.0 * Polygon(edge.paths[0]).area])


@pytest.mark.parametrize("count", [1, 2, 4])
def test_no_text_covers_another_or_leaves_the_sheet(count: int) -> None:
    drawn = sheet(count)
    boxes = [shapely.box(*text_box(text)) for text in drawn.texts()]
    assert all(shapely.box(0, 0, drawn.width, drawn.height).contains(box) for box in boxes)
    assert max((a.intersection(b).area for a, b in combinations(boxes, 2)), default=0.0) < 1e-9


def test_a_case_is_shown_in_each_frame_and_in_the_legend(hand: Any) -> None:
    case = "[case]\ncavity = [[-3, -3], [60, -3], [60, 53], [-3, 53]]\ngap = 0.3\n"
    with_case = sheet(2, case)
    walls = [LineString(path) for path in hand.paths(with_case, "case")]
    for frame in frames(with_case):
        assert any(shapely.box(*frame).contains(wall) for wall in walls)
    assert "wall or post of the case" in words(with_case)
    assert "wall or post of the case" not in words(sheet(2))


def test_on_paper_a_cut_is_black_and_the_area_below_it_is_paler_than_what_is_kept(hand: Any) -> None:
    """PDFium draws the second frame: along its middle from left to right."""
    drawn = sheet()
    page = hand.rendered(to_pdf([drawn], "t"), 0, 150.0).astype(int).mean(axis=2)
    pixels = 150.0 / 25.4
    frame = frames(drawn)[1]
    (edge,) = [
        Polygon(p).bounds for p in hand.paths(drawn, "board") if shapely.box(*frame).contains(LineString(p))
    ]
    scale = (edge[2] - edge[0]) / 100.0

    def grey(x: float, y: float) -> float:
        column, row = (edge[0] + x * scale) * pixels, (drawn.height - edge[1] - y * scale) * pixels
        return float(np.median(page[round(row) - 1 : round(row) + 2, round(column) - 1 : round(column) + 2]))

    assert grey(40, 30) < 60  # the cut
    assert grey(20, 15) < grey(35, 35) - 20 < grey(60, 30)  # kept, finished, waste


def test_a_tall_board_makes_no_tall_frames(hand: Any) -> None:
    with TemporaryDirectory() as folder:
        path = Path(folder) / "job.toml"
        text = JOB.replace("[[0, 0], [100, 0], [100, 50], [0, 50]]", "[[0, 0], [40, 0], [40, 400], [0, 400]]")
        path.write_text(text, encoding="utf-8")
        tall = trimgeo.prepare(trimgeo.load(path))
    whole = choice(0, (0, 0), (40, 0), (40, 400), (0, 400), clearance=None, cut_length=0.0)
    drawn = trade_sheet(tall, Trade((whole,)), whole)
    (frame,) = frames(drawn)
    (edge,) = [Polygon(path) for path in hand.paths(drawn, "board") if len(path) > 2]
    assert drawn.height < 150 and shapely.box(*frame).contains(edge)
    assert edge.bounds[2] - edge.bounds[0] == pytest.approx((edge.bounds[3] - edge.bounds[1]) / 10)
