"""What is told about a drawing that was read: a unit that was guessed, loops that were left out."""

from __future__ import annotations

from pathlib import Path

import ezdxf
import pytest

import trimgeo

JOB = """
job = { title = "t" }
board = { thickness = 1.6, edge = EDGE, holes = [{ name = "H1", at = [6, 6], diameter = 3.2 }] }
[outline]
"""
SQUARE = "[[0, 0], [100, 0], [100, 80], [0, 80]]"


def told(folder: Path, outline: str, edge: str = SQUARE) -> str:
    (folder / "job.toml").write_text(JOB.replace("EDGE", edge) + outline, encoding="utf-8")
    return "\n".join(trimgeo.prepare(trimgeo.load(folder)).warnings)


def drawn(path: Path, unit: int, holes: int = 0) -> str:
    document = ezdxf.new("R2010", units=unit)
    space = document.modelspace()
    space.add_lwpolyline([(0, 0), (60, 0), (60, 45.5), (0, 45.5)], close=True)
    for n in range(holes):
        space.add_circle((6 + 9 * n, 6), 1.6)
    document.saveas(path)
    return path.name


@pytest.mark.parametrize(("unit", "guessed"), [(0, True), (4, False)])  # $INSUNITS 0: unitless, 4: mm
def test_a_dxf_without_a_unit_is_told_with_the_size_read(tmp_path: Path, unit: int, guessed: bool) -> None:
    name = drawn(tmp_path / "o.dxf", unit)
    words = "o.dxf says no unit, taken for mm: the outline is 60 x 45.5 mm"
    assert (words in told(tmp_path, f'file = "{name}"')) == guessed
    words = words.replace("the outline", "the board edge")
    assert (words in told(tmp_path, "build = 'smallest'", f'{{ file = "{name}" }}')) == guessed


@pytest.mark.parametrize(
    ("page", "guessed"),
    [('width="200" height="200"', True), ('width="200px" height="200px"', True), ('width="60mm"', False)],
)
def test_an_svg_in_pixels_is_told_with_the_size_read(tmp_path: Path, page: str, guessed: bool) -> None:
    path = '<path d="M0 200 h96 v-48 h-96 z"/>'  # 96 pixels are 25.4 mm, W3C CSS Values 3, 5.2
    svg = f'<svg xmlns="http://www.w3.org/2000/svg" {page} viewBox="0 0 200 200">{path}</svg>'
    (tmp_path / "o.svg").write_text(svg, encoding="utf-8")
    found = told(tmp_path, 'file = "o.svg"')
    words = "o.svg gives its page in pixels, taken for 1/96 inch each: the outline is 25.4 x 12.7 mm"
    assert (words in found) == guessed


def test_loops_within_an_outline_are_told_with_count_and_places(tmp_path: Path) -> None:
    name = drawn(tmp_path / "o.dxf", 4, holes=6)
    assert (
        "o.dxf has 6 closed loops within the largest, at (6, 6), (15, 6), (24, 6), "
        "(33, 6) and 2 more, which are left out: only its outer line is cut"
    ) in told(tmp_path, f'file = "{name}"')


@pytest.mark.parametrize("holes", [1, 2])
def test_holes_of_a_drawn_board_that_the_job_lists_are_not_told(tmp_path: Path, holes: int) -> None:
    name = drawn(tmp_path / "edge.dxf", 4, holes)
    found = told(tmp_path, "build = 'smallest'", f'{{ file = "{name}" }}')
    assert ("1 closed loop within the largest, at (15, 6), which is left out" in found) == (holes == 2)
