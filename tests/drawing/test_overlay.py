"""Overlays: the plan on a plain grey picture, measured in its pixels."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import trimgeo
from trimgeo.drawing.canvas import Canvas
from trimgeo.drawing.overlay import overlay
from trimgeo.model.board import FaceName, Picture, View
from trimgeo.model.plan import Plan
from trimgeo.model.planemap import PlaneMap

GREY = 128

JOB = """
[job]
title = "Test"
[board]
thickness = 1.6
edge = [[0, 0], [80, 0], [80, 60], [0, 60]]
[[part]]
name = "relay"
face = "top"
polygon = [[35, 20], [65, 20], [65, 50], [35, 50]]
[[part]]
name = "far away"
face = "top"
polygon = [[70, 5], [76, 5], [76, 15], [70, 15]]
[cutter]
kind = "blade"
kerf = 1.0
[finish]
sanding = 0.3
[outline]
points = [[0, 0], [40, 0], [40, 60], [0, 60]]
"""


@pytest.fixture
def plan(tmp_path: Path) -> Plan:
    path = tmp_path / "job.toml"
    path.write_text(JOB, encoding="utf-8")
    return trimgeo.plan(trimgeo.prepare(trimgeo.load(path)))


def drawn(plan: Plan, shows: FaceName) -> np.ndarray:
    """The overlay in grey, 10 pixels per mm; board point (x, y) is column 50 + 10 x, row 650 - 10 y."""
    blank = np.full((700, 900, 3), GREY, np.uint8)
    picture = Picture(10.0, (50.0, 650.0), (900, 700), lambda: blank)
    to_board = PlaneMap(np.diag([0.1, -0.1, 1.0]), np.zeros((9, 9)))
    return overlay(plan, View("scan", shows, "dpi", to_board, picture, None, None, 0.1)).mean(axis=2)


def right_side(pixels: np.ndarray, x: float, low: float, high: float) -> np.ndarray:
    """Grey levels along the line x = const, y from low to high mm."""
    return pixels[round(650 - 10 * high) : round(650 - 10 * low), round(50 + 10 * x)]


def test_a_part_to_lift_is_drawn_on_the_picture_of_its_face_alone(plan: Plan) -> None:
    assert [part.name for part in plan.lift] == ["relay"]
    side = right_side(drawn(plan, "top"), 65, 22, 48)
    # Dashes of 1.6 mm ink and 0.9 mm gap (the table of signs): 64 % ink on white.
    assert np.mean(side) == pytest.approx(0.36 * 255, abs=0.08 * 255)
    assert side.min() < 32 and side.max() > 224
    # At y = 30 mm a relief cut crosses, which goes through the board: it is on the pictures of both faces.
    assert (right_side(drawn(plan, "bottom"), 65, 31.5, 48) == GREY).all()
    assert (right_side(drawn(plan, "bottom"), 65, 22, 28.5) == GREY).all()


def test_a_part_that_stands_clear_of_the_cut_is_not_marked(plan: Plan) -> None:
    assert (right_side(drawn(plan, "top"), 76, 6, 14) == GREY).all()


def test_a_picture_keeps_its_pixels_where_nothing_is_drawn_and_itself(plan: Plan) -> None:
    pixels = drawn(plan, "top")
    assert (pixels[100:600, 150:300] == GREY).all()  # inside the outline, away from every label
    assert pixels.shape[1] == 900 and pixels.shape[0] > 700  # the legend stands below it


def test_no_label_covers_the_line_to_cut(plan: Plan, monkeypatch: pytest.MonkeyPatch) -> None:
    boxes = []
    label = Canvas.label

    def noted(self: Canvas, text: str, box: tuple[float, float, float, float], size: float) -> None:
        boxes.append((text, box))
        label(self, text, box, size)

    monkeypatch.setattr(Canvas, "label", noted)
    drawn(plan, "top")
    on_board = [box for text, box in boxes if text.startswith(("cut", "lift"))]
    assert len(on_board) == 2
    # The guide line stands at x = 40.3 mm: column 453.
    assert all(not left <= 453 <= right for left, _, right, _ in on_board)
