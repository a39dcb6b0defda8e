"""Board shapes laid on sheets: what is an area on the board is one on every sheet."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import shapely

import trimgeo
from trimgeo.drawing.boardlines import drawn
from trimgeo.drawing.placement import Placement, scale_of

JOB = """[job]
title = "a cut that meets the edge almost square"
[board]
thickness = 1.6
edge = [[0, 0], [40, 0], [40, 5], [48, 5], [48, 0], [100, 0], [100, 60], [90, 70], [0, 70]]
[[keepout]]
name = "U"
kind = "component"
polygon = [[10, 10], [20, 10], [20, 20], [10, 20]]
[cutter]
kind = "wheel"
kerf = 1.0
diameter = 38
[finish]
sanding = 0.5
[outline]
points = [
    [62.963970008987985, 48.60515379260593], [40.93665144503935, 63.24268102572826],
    [40.93738622513637, 70.0], [24.055654932048114, 70.0], [0.0, 40.96069567870034],
    [0.0, 24.09403657364436], [13.522860921914049, 24.09940242625364],
    [17.27465934389725, 10.379897622804911], [66.54203551637207, 2.003881134925365],
]
"""


@pytest.mark.parametrize("face", ["top", "bottom"])
def test_a_band_whose_ring_all_but_touches_itself_is_drawn_wherever_it_is_laid(
    face: str, tmp_path: Path
) -> None:
    path = tmp_path / "job.toml"
    path.write_text(JOB, encoding="utf-8")
    plan = trimgeo.plan(trimgeo.prepare(trimgeo.load(path)))
    draw, band = np.random.RandomState(0), plan.lines.kerf_band
    for _ in range(40):
        at = Placement(scale_of(face, tuple(draw.uniform(0.99, 1.01, 2))), tuple(draw.uniform(0, 200, 2)))
        (laid,) = at.lay([band])
        assert laid.is_valid
        assert laid.area == pytest.approx(band.area * abs(at.scale[0] * at.scale[1]), rel=1e-9)
    assert drawn(plan, (), at, shapely.box(0, 0, 400, 400)).strong
