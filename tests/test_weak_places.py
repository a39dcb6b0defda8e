"""A job whose outline leaves a neck: the plan and its report say where, by the width that the job names."""

from __future__ import annotations

from pathlib import Path

import pytest

import trimgeo

JOB = """
job = { title = "Waist" }
board = { thickness = 1.6, edge = [[0, 0], [80, 0], [80, 60], [0, 60]] }
cutter = { kind = "blade", kerf = 0.6 }
finish = { sanding = 0.3 }
[outline]
points = [[0, 0], [80, 0], [80, 40], [45, 40], [45, 3.5], [35, 3.5], [35, 39.6], [35.4, 40], [0, 40]]
"""


def warnings(folder: Path, more: str) -> list[str]:
    (folder / "job.toml").write_text(JOB + more, encoding="utf-8")
    return list(trimgeo.plan(trimgeo.prepare(trimgeo.load(folder))).report()["warnings"])


@pytest.mark.parametrize(("more", "told"), [("", True), ("neck = 3.6", True), ("neck = 3.4", False)])
def test_a_neck_narrower_than_the_job_allows_is_in_the_report(tmp_path: Path, more: str, told: bool) -> None:
    found = [text for text in warnings(tmp_path, more) if "only 3.50 mm wide near (35.00, 1.75)" in text]
    assert len(found) == told


def test_a_cut_shorter_than_the_kerf_is_in_the_report(tmp_path: Path) -> None:
    (found,) = [text for text in warnings(tmp_path, "") if "mm long and the kerf" in text]
    assert "0.57 mm long" in found  # 0.4 mm times the square root of 2
