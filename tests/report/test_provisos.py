"""What is wrong although every clearance holds stands at the head of terminal, page and sheet."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import trimgeo
from trimgeo.drawing.lists import blocks
from trimgeo.model.plan import Plan
from trimgeo.report.page import report_page
from trimgeo.report.summary import check_lines, lost_lines

JOB = """
job = { title = "Logger" }
board = { thickness = 1.6, edge = [[0, 0], [100, 0], [100, 70], [0, 70]] }
cutter = { kind = "wheel", kerf = 1.0, diameter = 38 }
finish = { sanding = 0.5 }
outline = { points = [[5, 5], [50, 5], [50, 50], [5, 50]] }
[[keepout]]
name = "U1"
kind = "component"
layers = [1, 2]
polygon = [[20, 20], [30, 20], [30, 30], [20, 30]]
"""

FAR = """
[[keepout]]
name = "{0}"
kind = "component"
circle = {{ at = [210, 30], diameter = 5 }}
may_cut = {1}
"""


def planned(folder: Path, more: str) -> Plan:
    (folder / "job.toml").write_text(JOB + more, encoding="utf-8")
    return trimgeo.plan(trimgeo.prepare(trimgeo.load(folder)))


def heads(plan: Plan) -> tuple[str, str, str]:
    """What stands before the answer: on the terminal, on the page, on the sheet."""
    terminal = " ".join(check_lines(plan)).split("CLEAR:")[0].split("NOT COMPARED:")[0]
    page = re.split(r'class="answer"', report_page(plan, {}, {}))[0]
    taping = next(each for each in blocks(plan, "top", [], []) if each.heading == "Before taping")
    sheet = " ".join(entry.text for entry in taping.entries).split("CLEAR:")[0]
    return " ".join(terminal.split()), page, sheet


@pytest.mark.parametrize(
    ("names", "told"),
    [
        (["J1"], "OFF THE BOARD: J1 lies wholly off the board and was not compared: mend its position."),
        (["J1", "J2"], "OFF THE BOARD: J1 and J2 lie wholly off the board and were not compared"),
        (["J1", "J2", "J3", "J4", "J5"], "OFF THE BOARD: J1, J2 and 3 more lie wholly off the board"),
    ],
)
def test_keepouts_off_the_board_are_told_before_the_answer(
    tmp_path: Path, names: list[str], told: str
) -> None:
    plan = planned(tmp_path, "".join(FAR.format(name, "false") for name in names))
    assert plan.state == "clear"
    assert all(told in head for head in heads(plan))


def test_what_may_be_cut_may_lie_off_the_board(tmp_path: Path) -> None:
    assert all("OFF THE BOARD" not in head for head in heads(planned(tmp_path, FAR.format("plane", "true"))))


def test_a_keepout_off_the_board_is_not_called_clear_in_the_table(tmp_path: Path) -> None:
    plan = planned(tmp_path, FAR.format("J1", "false"))
    (line,) = [line for line in check_lines(plan) if line.startswith("J1 ")]
    assert line.endswith("off the board")
    page = report_page(plan, {}, {})
    assert '<td class="state">off the board</td><td class="name">J1' in page
    states = {row["name"]: row["state"] for row in plan.report()["clearance"]["keepouts"]}
    assert states == {"U1": "clear", "J1": "clear"}  # as the contract has it


def test_where_every_keepout_lies_off_the_board_nothing_is_clear(tmp_path: Path) -> None:
    text = JOB.replace("[[20, 20], [30, 20], [30, 30], [20, 30]]", "[[120, 20], [130, 20], [130, 30]]")
    (tmp_path / "job.toml").write_text(text, encoding="utf-8")
    plan = trimgeo.plan(trimgeo.prepare(trimgeo.load(tmp_path)))
    lines = check_lines(plan)
    assert any(line.startswith("NOT COMPARED: every keep-out lies off the board") for line in lines)
    assert not any(line.startswith("CLEAR") for line in lines)
    assert "<strong>Not compared</strong>" in report_page(plan, {}, {})


def test_an_outline_is_said_to_be_built_without_what_lies_off_the_board(tmp_path: Path) -> None:
    plan = planned(tmp_path, FAR.format("J1", "false"))
    assert " ".join(lost_lines(plan.board)).startswith("OFF THE BOARD: J1 lies wholly off the board")
    assert lost_lines(planned(tmp_path, "").board) == []


def test_a_board_that_does_not_fit_its_case_is_told_before_the_answer(tmp_path: Path) -> None:
    # A square of 45 in one of 20 with a gap of 0.3: at best 0.3 + (45 - 20) / 2 = 12.8 mm are lacking on each
    # side where it lies square; turned by 45° its corners reach further.
    plan = planned(tmp_path, "[case]\ncavity = [[0, 0], [20, 0], [20, 20], [0, 20]]\ngap = 0.3\n")
    found = plan.holding.fit
    assert found is not None and not found.fits and plan.state == "clear"
    assert found.spare <= -12.8 + 1e-6
    assert all(f"DOES NOT FIT its case: it lacks {-found.spare:.2f} mm." in head for head in heads(plan))


def test_a_part_too_high_for_the_case_is_told_before_the_answer(tmp_path: Path) -> None:
    tall = "height = 12\n[case]\ncavity = [[0, 0], [60, 0], [60, 60], [0, 60]]\ngap = 0.3\nlid = 9.5\n"
    assert all(
        "DOES NOT FIT its case: U1 is 2.5 mm too high." in head for head in heads(planned(tmp_path, tall))
    )


TALL = """
[[{0}]]
name = "J1 power"
{1}
polygon = [[44, 43], [50, 43], [50, 48], [44, 48]]
height = 15
"""


def in_the_wheel_s_way(folder: Path, table: str, more: str) -> Plan:
    """An L with J1 beyond its inside corner at (40, 45), on kept board: √(19² - 1.9²) = 18.9 mm of a wheel of
    radius 19 lie ahead of its axle at J1's height, and it stops 8.7 mm before the corner.
    """
    ell = "[[0, 0], [60, 0], [60, 70], [40, 70], [40, 45], [0, 45]]"
    text = JOB.replace("[[5, 5], [50, 5], [50, 50], [5, 50]]", ell) + TALL.format(table, more)
    (folder / "job.toml").write_text(text, encoding="utf-8")
    return trimgeo.plan(trimgeo.prepare(trimgeo.load(folder)))


def test_a_part_that_must_survive_in_the_wheel_s_way_is_told_before_the_answer(tmp_path: Path) -> None:
    plan = in_the_wheel_s_way(tmp_path, "keepout", 'kind = "component"\nlayers = [1]')
    assert plan.state == "clear"
    assert all(
        "IN THE WAY: the wheel runs into J1 power, which must survive." in head for head in heads(plan)
    )
    (said,) = [text for text in plan.warnings if "the wheel runs into J1 power" in text]
    assert "stop short and saw that end, or cut from the other face" in said and "take it off" not in said


def test_a_part_that_may_be_lost_in_the_wheel_s_way_is_taken_off(tmp_path: Path) -> None:
    plan = in_the_wheel_s_way(tmp_path, "part", 'face = "top"')
    assert all("IN THE WAY" not in head for head in heads(plan))
    (said,) = [text for text in plan.warnings if "the wheel runs into J1 power" in text]
    assert "take it off, or saw that end" in said
