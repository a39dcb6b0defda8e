"""Keep-outs wholly off the board: a warning, a row without figures, and no effect."""

from __future__ import annotations

from pathlib import Path

import trimgeo

JOB = """
[job]
title = "Off the board"
[board]
thickness = 1.6
edge = [[0, 0], [80, 0], [80, 60], [0, 60]]
[[keepout]]
name = "here"
kind = "component"
polygon = [[10, 10], [20, 10], [20, 20], [10, 20]]
[[keepout]]
name = "elsewhere"
kind = "component"
polygon = [[110, 10], [120, 10], [120, 20], [110, 20]]
[cutter]
kind = "bit"
kerf = 1.0
diameter = 2.0
[finish]
sanding = 0.3
[outline]
points = [[0, 0], [40, 0], [40, 60], [0, 60]]
"""


def test_it_is_warned_of_has_a_row_of_nulls_and_decides_nothing(tmp_path: Path) -> None:
    (tmp_path / "job.toml").write_text(JOB, encoding="utf-8")
    report = trimgeo.plan(trimgeo.prepare(trimgeo.load(tmp_path))).report()
    here, elsewhere = report["clearance"]["keepouts"]
    assert here["name"] == report["clearance"]["minimum"]["name"] == "here"
    assert [elsewhere[key] for key in ("name", "nominal_mm", "worst_mm", "at", "state")] == [
        "elsewhere",
        None,
        None,
        None,
        "clear",
    ]
    assert report["lift"] == [] and any("elsewhere" in warning for warning in report["warnings"])


def test_a_bit_thicker_than_its_kerf_is_warned_of(tmp_path: Path) -> None:
    (tmp_path / "job.toml").write_text(JOB, encoding="utf-8")
    warnings = trimgeo.plan(trimgeo.prepare(trimgeo.load(tmp_path))).warnings
    assert any("bit is 2.00 mm thick" in warning for warning in warnings)
