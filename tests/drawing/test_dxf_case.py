"""The case in the drawing: cavity and posts on layers of their own, only where the job has a case."""

from __future__ import annotations

import io
from pathlib import Path

import ezdxf
import pytest
from shapely import Polygon

import trimgeo
from trimgeo.drawing.dxf import to_dxf

JOB = """[job]
title = "t"
[board]
thickness = 1.6
edge = [[0, 0], [100, 0], [100, 80], [0, 80]]
[cutter]
kind = "bit"
kerf = 2.0
[finish]
sanding = 0.3
[outline]
points = [[0, 0], [60, 0], [60, 80], [0, 80]]
"""
CASE = """[case]
cavity = [[-1, -1], [61.5, -1], [61.5, 81], [-1, 81]]
gap = 0.3
holes = [{ at = [65, 40], diameter = 6 }, [[-1, -1], [4, -1], [-1, 4]]]
"""


def drawn(folder: Path, text: str, release: str) -> ezdxf.document.Drawing:
    (folder / "job.toml").write_text(text, encoding="utf-8")
    plan = trimgeo.plan(trimgeo.prepare(trimgeo.load(folder / "job.toml")))
    data = to_dxf(plan, release)
    return ezdxf.read(io.StringIO(data.decode("utf-8" if release != "R12" else "cp1252")))


@pytest.mark.parametrize("release", ["R2018", "R12"])
def test_cavity_and_posts_lie_on_their_own_layers(tmp_path: Path, release: str) -> None:
    space = drawn(tmp_path, JOB + CASE, release).modelspace()
    (cavity,) = space.query('*[layer=="CASE"]')
    points = (
        cavity.get_points("xy") if release != "R12" else [tuple(v.dxf.location)[:2] for v in cavity.vertices]
    )
    assert Polygon(points).bounds == (-1, -1, 61.5, 81)
    circle, corner = sorted(space.query('*[layer=="POSTS"]'), key=lambda post: post.dxftype())
    assert circle.dxftype() == "CIRCLE"
    assert (tuple(circle.dxf.center)[:2], circle.dxf.radius) == ((65, 40), 3)
    assert corner.dxftype() in ("LWPOLYLINE", "POLYLINE")


def test_without_a_case_there_are_no_such_layers(tmp_path: Path) -> None:
    document = drawn(tmp_path, JOB, "R2018")
    assert not {"CASE", "POSTS"} & {layer.dxf.name for layer in document.layers}


def test_the_drawing_of_a_case_can_be_read_back_as_one(tmp_path: Path) -> None:
    document = drawn(tmp_path, JOB + CASE, "R2018")
    document.saveas(tmp_path / "case.dxf")
    job = JOB + '[case]\ncavity = { file = "case.dxf" }\ngap = 0.3\n'
    (tmp_path / "job.toml").write_text(job, encoding="utf-8")
    board = trimgeo.prepare(trimgeo.load(tmp_path / "job.toml"))
    assert board.case is not None and len(board.case.posts) == 2
    assert board.case.cavity.polygon.bounds == (-1, -1, 61.5, 81)
    report = trimgeo.plan(board).report()
    assert report["fit"]["fits"] is False  # the corner post takes the board's corner
