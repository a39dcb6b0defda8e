"""report.html: what a person reads, in a page of no other file, that fits a phone."""

from __future__ import annotations

import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest

import trimgeo
from trimgeo.model.board import LengthCheck, Picture, View
from trimgeo.model.plan import Plan
from trimgeo.model.planemap import PlaneMap
from trimgeo.report.page import report_page
from trimgeo.report.summary import check_lines

JOB = """
[job]
title = "Logger <A>"
[board]
thickness = 1.6
layers = 4
edge = [[0, 0], [80, 0], [80, 60], [0, 60]]
[[keepout]]
name = "T1"
kind = "trace"
layers = [2]
path = { points = [[10, 10], [30, 10]], width = 0.5 }
[cutter]
kind = "blade"
kerf = 1.0
[finish]
sanding = 0.3
[outline]
points = [[0, 0], [CUT, 0], [CUT, 60], [0, 60]]
"""


class Reader(HTMLParser):
    """The texts of a page, the cells of its rows, and all that a browser would fetch."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.rows: list[list[str]] = []
        self.fetched: list[str] = []
        self.in_cell = False
        self.text = ""
        self.feed(page)
        self.rows = [[" ".join(cell.split()) for cell in row] for row in self.rows]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag == "tr":
            self.rows.append([])
        if tag in ("td", "th"):
            self.rows[-1].append("")
            self.in_cell = True
        self.fetched += [value or "" for key, value in attrs if key in ("src", "href")]

    def handle_endtag(self, tag: str) -> None:
        if tag in ("td", "th"):
            self.in_cell = False

    def handle_data(self, data: str) -> None:
        self.text += data
        if self.in_cell:
            self.rows[-1][-1] += data


def made(folder: Path, cut: float) -> Plan:
    path = folder / "job.toml"
    path.write_text(JOB.replace("CUT", str(cut)), encoding="utf-8")
    return trimgeo.plan(trimgeo.prepare(trimgeo.load(path)))


@pytest.mark.parametrize(("cut", "state"), [(40, "Clear"), (30.8, "Tight"), (30.3, "Breached")])
def test_the_answer_stands_before_every_table_and_unknown_layers_before_the_answer(
    tmp_path: Path, cut: float, state: str
) -> None:
    text = Reader(report_page(made(tmp_path, cut), {}, {})).text
    places = [text.index(words) for words in ("UNKNOWN: copper layers 1, 3, 4", state, "Clearances")]
    assert places == sorted(places)


def test_the_least_clearance_to_inner_copper_is_said_with_its_uncertainty(tmp_path: Path) -> None:
    # 40 - (30 + 0.5 / 2) = 9.75 mm; 2 * sqrt(0.10² + 0.15² + 0.10²) = 0.41 mm (placing as the job leaves it).
    text = Reader(report_page(made(tmp_path, 40), {}, {})).text
    assert "1 new edge, 60.0 mm to cut" in text
    assert "9.75 mm ± 0.41 mm (required 0.45 mm), trace T1" in text


def test_inner_layers_without_a_mark_are_said_to_be_compared_with_nothing(tmp_path: Path) -> None:
    """A picture makes a layer known; where nobody marked copper on it there is nothing to be clear of."""
    plan = made(tmp_path, 40)
    bare = replace(plan, rows=(), inner_minimum=None, unknown_layers=(4,))
    text = Reader(report_page(bare, {}, {})).text
    assert "no copper is marked on the inner layers" in text
    assert "UNKNOWN: copper layer 4: no picture or keep-out describes it" in text


def test_a_page_fetches_nothing_and_a_title_is_no_markup(tmp_path: Path) -> None:
    page = report_page(made(tmp_path, 40), {"scan": b"\xff\xd8"}, {})
    assert all(source.startswith("data:") for source in Reader(page).fetched)
    assert not re.search(r"https?://|@import|url\(", page)
    assert "Logger &lt;A&gt;" in page and "<A>" not in page


def test_whoever_is_about_to_cut_is_told_of_dust_cells_mains_and_capacitors(tmp_path: Path) -> None:
    """Dust: extraction or wet work, N95 / FFP2, eyes (NIOSH recommendation, FR-4 safety data sheets)."""
    text = Reader(report_page(made(tmp_path, 40), {}, {})).text
    for needed in ("extraction", "N95", "FFP2", "eye protection", "lithium", "mains", "capacitors"):
        assert needed in text


def test_a_view_has_four_narrow_columns_and_its_notes_below_them(tmp_path: Path) -> None:
    """More columns do not fit a phone: the bound of a position was the one that fell off."""
    plan = made(tmp_path, 40)
    picture = Picture(11.81, (0.0, 0.0), (1, 1), lambda: np.zeros((1, 1, 3), np.uint8))
    view = View(
        "scan",
        "bottom",
        "dpi",
        PlaneMap(np.eye(3), np.zeros((9, 9))),
        picture,
        None,
        None,
        0.32,
        (LengthCheck(130.0, 129.998),),
        "scan at 300 dpi",
    )
    rows = Reader(report_page(replace(plan, board=replace(plan.board, views=(view,))), {}, {})).rows
    at = next(n for n, row in enumerate(rows) if row[0].startswith("scan"))
    assert rows[at] == ["scanbottom face", "11.81", "none", "0.32 mm"]
    assert rows[at + 1] == [
        "Scale by dpi: scan at 300 dpi. Check: 130.00 mm measured as 130.00 mm (0.00 mm)."
    ]


def test_what_may_be_cut_stands_below_all_that_must_live(tmp_path: Path) -> None:
    plan = made(tmp_path, 40)
    (row,) = plan.rows
    plane = row._replace(name="plane", nominal=-25.0, may_cut=True)
    near = row._replace(name="near", nominal=1.0)
    tight = row._replace(name="tight", nominal=5.0, state="tight")
    lines = check_lines(replace(plan, rows=(plane, row, near, tight)))
    table = lines[next(n for n, line in enumerate(lines) if line.startswith("keep-out")) + 1 :]
    assert [line.split()[0] for line in table[:4]] == ["tight", "near", "T1", "plane"]


def test_what_may_be_cut_bears_no_ring_of_clear(tmp_path: Path) -> None:
    plan = made(tmp_path, 40)
    (row,) = plan.rows
    page = report_page(replace(plan, rows=(row._replace(nominal=-25.0, may_cut=True),)), {}, {})
    (cell,) = re.findall(r'<td class="state">(.*?)</td>', page)
    assert "may be cut" in cell and "<circle" not in cell and "<path" in cell
    (cell,) = re.findall(r'<td class="state">(.*?)</td>', report_page(plan, {}, {}))
    assert "<circle" in cell


def test_numbers_of_corners_are_explained(tmp_path: Path) -> None:
    plan = made(tmp_path, 40)
    text = " ".join(Reader(report_page(plan, {}, {})).text.split())
    finished = [each.n for each in plan.set_out if each.line == "finished" and each.at[0] == 40.0]
    board = [each.n for each in plan.set_out if each.line == "finished" and each.at[0] != 40.0]
    assert (finished, board) == ([1, 2], [3, 4])
    assert "1 and 2: corners of the finished edge; 5 and 6: corners of the guide line" in text
    assert "3 and 4: corners that the board has already." in text
    # The guide line lies 0.3 mm beside: one label for two places.
    assert "1/5 on the drawing: places that lie side by side" in text


def test_only_corners_that_are_not_the_boards_own_are_listed_to_set_out(tmp_path: Path) -> None:
    plan = made(tmp_path, 40)
    rows = [row for row in Reader(report_page(plan, {}, {})).rows if "finished edge" in row]
    # The report's dict has all four corners; (0, 0) and (0, 60) are there already.
    assert sum(each.line == "finished" for each in plan.set_out) == 4
    assert sorted(row[2] for row in rows) == ["40.00, 0.00", "40.00, 60.00"]


def test_no_position_reads_minus_nothing(tmp_path: Path) -> None:
    """A board edge a micrometre below 0, as a picture may show it, rounds to 0 and not to -0."""
    path = tmp_path / "job.toml"
    text = JOB.replace("CUT", "40").replace("[0, 0], [80, 0]", "[0, -0.001], [80, -0.001]")
    path.write_text(text.replace("[[0, 0], [40, 0]", "[[0, -0.001], [40, -0.001]"), encoding="utf-8")
    page = report_page(trimgeo.plan(trimgeo.prepare(trimgeo.load(path))), {}, {})
    assert "40.00, 0.00<" in page and ">-0.00" not in page and "40.00, -0.00" not in page
