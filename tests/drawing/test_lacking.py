"""Letters that the typeface lacks are told once, with the texts that have them."""

from __future__ import annotations

import json
from pathlib import Path

import trimgeo
from trimgeo.drawing.lacking import lacking

JOB = """
job = { title = "電池 board" }
board = { thickness = 1.6, edge = [[0, 0], [100, 0], [100, 70], [0, 70]] }
cutter = { kind = "blade", kerf = 0.6 }
finish = { sanding = 0.3 }
outline = { points = [[0, 0], [50, 0], [50, 70], [0, 70]] }
[[keepout]]
name = "\\U0001F50B cell"
kind = "component"
polygon = [[10, 10], [20, 10], [20, 20], [10, 20]]
[[keepout]]
name = "Größe Ω №1"
kind = "component"
polygon = [[30, 10], [40, 10], [40, 20], [30, 20]]
"""


def test_a_run_tells_in_one_warning_which_texts_it_cannot_print(tmp_path: Path) -> None:
    (tmp_path / "job.toml").write_text(JOB, encoding="utf-8")
    plan = trimgeo.plan(trimgeo.prepare(trimgeo.load(tmp_path)))
    trimgeo.write(plan, tmp_path / "out")
    report = json.loads((tmp_path / "out" / "report.json").read_text(encoding="utf-8"))
    (said,) = [text for text in report["warnings"] if "typeface" in text]
    assert '"電池 board"' in said and '"\U0001f50b cell"' in said and "Größe" not in said
    assert "the typeface of the sheets lacks letters" in (tmp_path / "out" / "report.html").read_text("utf-8")


def test_many_texts_are_counted_and_latin_greek_and_cyrillic_are_not_told() -> None:
    assert lacking(["R1", "Ω", "Плата", "Ł é ü"]) == ()
    (said,) = lacking([f"板 {n}" for n in range(9)])
    assert "and 3 more" in said
