"""Draws the photo of ``samples/phone`` with the simulated camera of the tests, and writes its job.

Run: python samples/draw_phone.py   (needs the test requirements)
"""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import numpy as np

HERE = Path(__file__).parent
FOLDER = HERE / "phone"
CAMERA = HERE.parent / "tests" / "camera" / "camera.py"
EDGE = [(0.0, 0.0), (96.0, 0.0), (96.0, 24.0), (110.0, 24.0), (110.0, 70.0), (0.0, 70.0)]
BODIES = {
    "U1 radio": ((12.0, 40.0, 30.0, 58.0), 3.0, (40, 38, 36)),
    "J1 terminal": ((2.0, 10.0, 12.0, 32.0), 9.0, (60, 120, 60)),
    "C7 capacitor": ((44.0, 44.0, 52.0, 52.0), 11.0, (50, 46, 44)),
    "K1 relay": ((74.0, 34.0, 92.0, 52.0), 15.0, (170, 120, 40)),
}
"""Left, low, right, high on the board and height, mm; blue, green, red."""
STAYS = ("U1 radio", "J1 terminal", "C7 capacitor")


def main() -> None:
    camera = _camera()
    from shapely import Polygon, box

    parts = tuple(camera.Part(box(*where), high, colour) for where, high, colour in BODIES.values())
    scene = camera.random_scene(
        8,
        size=(2400, 1800),
        board=Polygon(EDGE),
        parts=parts,
        height=1.6,
        tilt=11.0,
        hidden=0.0,
        colour=(70, 110, 40),
        light="even",
        blur=0.7,
        quality=88,
    )
    FOLDER.mkdir(exist_ok=True)
    scene.save(FOLDER / "photo.jpg")
    (FOLDER / "job.toml").write_text(job(scene), encoding="utf-8", newline="\n")


def job(scene) -> str:  # type: ignore[no-untyped-def]
    """The job, its pixels read off the photo to half a pixel as a person would."""

    def read(points: object, above: float = 0.0) -> list[list[float]]:
        found: list[list[float]] = (np.round(2 * scene.pixels_of(np.array(points), above)) / 2).tolist()
        return found

    origin, along = read([(0.0, 0.0), (96.0, 0.0)])
    text = _HEAD.format(
        height=round(scene.height_read(), 2), bars=list(scene.bars), origin=origin, along=along
    )
    for name in BODIES:
        (left, low, right, high), tall, _ = BODIES[name]
        corners = read([(left, low), (right, low), (right, high), (left, high)], tall)
        header = "[[keepout]]" if name in STAYS else "[[part]]"
        kind = 'kind = "component"\n' if name in STAYS else ""
        traced = 'traced = "top"\n' if name in STAYS else ""
        text += f'\n{header}\nname = "{name}"\n{kind}on = "photo"\n'
        text += f"polygon = {corners}\nheight = {tall:g}\n{traced}"
    return text + _TAIL


_HEAD = """\
# A board photographed by phone on the reference card (card.pdf: trimgeo card --out card.pdf).  The
# photo is drawn by ../draw_phone.py, which knows its truth; board and parts are invented.
#
#     trimgeo rectify samples/phone --out out
#     trimgeo run samples/phone --out out

[job]
title = "Weather relay"

[board]
thickness = 1.6
edge = [[0, 0], [96, 0], [96, 24], [110, 24], [110, 70], [0, 70]]   # by caliper

[[view]]
name = "photo"
image = "photo.jpg"
shows = "top"
# the face that is seen lies a board's thickness above the card; the card's bars by caliper
scale = {{ card = "A4", height = {height}, bars = {bars} }}
place = {{ origin = {origin}, along = {along} }}   # the lower left and the lower right corner

# Standing parts lean outwards in a photo: their tops are marked, and with their heights the tool finds
# the foot of each.
"""

_TAIL = """
[cutter]
kind = "wheel"
kerf = 1.0
diameter = 38

[finish]
sanding = 0.3

[outline]
build = { cuts = 3 }
"""


def _camera() -> ModuleType:
    sys.path.insert(0, str(CAMERA.parent))
    spec = importlib.util.spec_from_file_location("camera", CAMERA)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["camera"] = module
    spec.loader.exec_module(module)
    return module


if __name__ == "__main__":
    main()
