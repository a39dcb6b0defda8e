"""Curved outlines are as large and as long as their true arcs, not as the chords that stand for them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import trimgeo
from trimgeo.model.plan import Plan

# A board of 60 x 40 mm with a half circle of radius 20 mm at its right end, cut 5 mm inside the bow.
JOB = """
[job]
title = "Bow"
[board]
thickness = 1.6
edge = { file = "edge.svg" }
[cutter]
kind = "bit"
kerf = 1.0
[finish]
sanding = 0.3
[outline]
file = "cut.svg"
"""
SVG = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="40mm" viewBox="0 0 60 40">'
    '<path d="M0 {low} L40 {low} A{r} {r} 0 0 1 40 {high} L0 {high} Z"/></svg>'
)


@pytest.fixture
def plan(tmp_path: Path) -> Plan:
    (tmp_path / "job.toml").write_text(JOB, encoding="utf-8")
    (tmp_path / "edge.svg").write_text(SVG.format(low=0, high=40, r=20), encoding="utf-8")
    (tmp_path / "cut.svg").write_text(SVG.format(low=5, high=35, r=15), encoding="utf-8")
    return trimgeo.plan(trimgeo.prepare(trimgeo.load(tmp_path)))


def test_areas_are_rectangle_and_half_disc(plan: Plan) -> None:
    report = plan.report()
    assert report["board"]["area_mm2"] == pytest.approx(40 * 40 + np.pi * 20**2 / 2, rel=1e-9)
    assert report["outline"]["area_mm2"] == pytest.approx(40 * 30 + np.pi * 15**2 / 2, rel=1e-9)


def test_a_bow_is_one_cut_as_long_as_half_its_circle(plan: Plan) -> None:
    bows = [cut for cut in plan.cuts if cut.circle is not None]
    assert [cut.length for cut in bows] == [pytest.approx(np.pi * 15, rel=1e-9)]
    assert plan.report()["outline"]["cut_length_mm"] == pytest.approx(np.pi * 15 + 2 * 40, rel=1e-9)
