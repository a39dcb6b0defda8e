"""A simulated camera: the truth that photogrammetry is judged by, written apart from it.

Load it by path: ``camera = load("…/tests/camera/camera.py")``; it needs nothing but this folder.

    scene = camera.random_scene(3, curl=1.0)    # a frozen value; the same seed, the same scene
    picture = scene.render()                    # uint8 BGR
    scene.save("photo.jpg")
    scene.pixels_of([[0, 0], [150, 0]])         # true pixels of board millimetres, closed form
    scene.card_pixels(...)                      # the same for the card's nominal millimetres
    scene.bars, scene.height_read()             # what a person reads
    camera.more_views(scene, 2)                 # further photos by the same camera of the same things
"""

import sys
from pathlib import Path

_HERE = str(Path(__file__).parent)
if _HERE not in sys.path:
    sys.path.insert(0, _HERE)

from camera_coverage import covered  # noqa: E402
from camera_lens import Camera, turned  # noqa: E402
from camera_random import line, more_views, random_scene  # noqa: E402
from camera_render import board_positions, render  # noqa: E402
from camera_scene import Body, Light, Paint, Part, Scene  # noqa: E402
from camera_sheet import Bend, Sheet, black_boxes  # noqa: E402

__all__ = [
    "Bend",
    "Body",
    "Camera",
    "Light",
    "Paint",
    "Part",
    "Scene",
    "Sheet",
    "black_boxes",
    "board_positions",
    "covered",
    "line",
    "more_views",
    "random_scene",
    "render",
    "turned",
]
