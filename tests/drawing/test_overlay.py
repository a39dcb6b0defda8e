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
    assert (right_side(drawn(plan, "bottom"), 65, 22, 48) == GREY).all()


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


HITTING = """
[job]
title = "Test"
[board]
thickness = 1.6
edge = [[0, 0], [80, 0], [80, 60], [0, 60]]
[[part]]
name = "pin row"
face = "top"
height = 12
polygon = [[39, 52], [44, 52], [44, 58], [39, 58]]
[cutter]
kind = "wheel"
kerf = 1.0
diameter = 38
[finish]
sanding = 0.3
[outline]
points = [[0, 0], [80, 0], [80, 30], [42, 30], [42, 46], [0, 46]]
"""


def labels(plan: Plan, monkeypatch: pytest.MonkeyPatch) -> dict[str, tuple[float, float, float, float]]:
    boxes = {}
    label = Canvas.label

    def noted(self: Canvas, text: str, box: tuple[float, float, float, float], size: float) -> None:
        boxes[text] = box
        label(self, text, box, size)

    monkeypatch.setattr(Canvas, "label", noted)
    drawn(plan, "top")
    return boxes


def planned(folder: Path, text: str) -> Plan:
    path = folder / "job.toml"
    path.write_text(text, encoding="utf-8")
    return trimgeo.plan(trimgeo.prepare(trimgeo.load(path)))


def test_what_is_in_the_cutters_way_is_not_hidden_by_its_label(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    plan = planned(tmp_path, HITTING)
    boxes = labels(plan, monkeypatch)
    (left, top, right, bottom), *_ = [box for text, box in boxes.items() if text.startswith("in the cutter")]
    # x 39 to 44 and y 52 to 58 mm.
    assert right <= 50 + 390 or left >= 50 + 440 or bottom <= 650 - 580 or top >= 650 - 520


KEPT = """
[[keepout]]
name = "trace NAME"
kind = "trace"
layers = [1]
path = { points = [[5, Y], [X, Y]], width = 0.4 }
"""


def test_the_three_least_clearances_are_dimensioned_where_they_lie_apart(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Traces that end 2, 3, 4 and 5 mm before the cut, the second one 1 mm beside the first."""
    ends = {"A": (38, 10), "B": (37, 11), "C": (36, 30), "D": (35, 50), "E": (34, 20)}
    added = "".join(
        KEPT.replace("NAME", name).replace("X", str(x)).replace("Y", str(y)) for name, (x, y) in ends.items()
    )
    boxes = labels(planned(tmp_path, JOB + added), monkeypatch)
    told = [text for text in boxes if text.startswith("trace")]
    assert [text.split()[1] for text in told] == ["A", "C", "D"]
    assert [float(text.split()[2]) for text in told] == pytest.approx([1.8, 3.8, 4.8])


def test_the_legend_shows_keep_outs_in_their_casing_on_a_dark_ground(plan: Plan) -> None:
    strip = drawn(plan, "top")[700:]
    # Left of the line there is the ground alone, the neutral ink: (0x6E + 0x6E + 0x6E) / 3.
    ground = np.flatnonzero(np.abs(strip[:, 4] - 0x6E) < 2)
    assert len(ground) >= 5
    within = strip[ground.min() : ground.max() + 1, 10]
    assert within.max() > 240  # the casing, which would not show on white
    assert np.count_nonzero(np.abs(within - 0x6E) < 8) >= 2
