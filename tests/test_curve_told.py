"""A job whose outline is a curve of chords hears of it once, not chord by chord."""

from __future__ import annotations

from pathlib import Path

import ezdxf

import trimgeo

JOB = """
job = { title = "Oval" }
board = { thickness = 1.6, edge = [[0, 0], [100, 0], [100, 70], [0, 70]] }
cutter = { kind = "wheel", kerf = 1.0, diameter = 38 }
finish = { sanding = 0.5 }
outline = { file = "oval.dxf" }
"""


def test_an_ellipse_as_outline_is_told_in_one_sentence(tmp_path: Path) -> None:
    document = ezdxf.new("R2010", units=4)
    document.modelspace().add_ellipse((50, 35), (30, 0), 0.6)
    document.saveas(tmp_path / "oval.dxf")
    (tmp_path / "job.toml").write_text(JOB, encoding="utf-8")
    plan = trimgeo.plan(trimgeo.prepare(trimgeo.load(tmp_path)))
    assert len(plan.cuts) > 100
    (curve,) = [text for text in plan.warnings if "short chords that follow a curve" in text]
    assert f"{len(plan.cuts)} short chords" in curve
    assert len(plan.warnings) < 5
