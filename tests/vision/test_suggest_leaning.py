"""Standing bodies seen from aside: their tops come apart from their walls, and their feet are found.

Photos are made by the simulated camera of tests/camera, boards in true scale by populated.py; neither shares
code with the package, and both know where each body stands.
"""

import importlib.util
import sys
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import shapely

import trimgeo
from trimgeo.model.board import Picture
from trimgeo.plane.leaning import feet_of
from trimgeo.report.suggested import named, suggested_json
from trimgeo.stages import suggestions
from trimgeo.vision.suggest import suggest

TESTS = Path(__file__).parents[1]
TALL = {"left": ((20, 20, 38, 40), 6.0), "right": ((110, 15, 130, 30), 12.0), "far": ((60, 70, 75, 88), 18.0)}


def load(name, path):
    spec = importlib.util.spec_from_file_location(name, path)
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


populated = load("populated", Path(__file__).with_name("populated.py"))


@cache
def drawn(seed):
    board = populated.populated_board(seed, leaning=True)
    picture = Picture(board.pixels_per_mm, board.origin, board.pixels.shape[1::-1], lambda: board.pixels)
    return board, [
        each for each in suggest(picture, board.edge, board.eye, "top") if each.kind == "component"
    ]


@pytest.fixture(scope="module")
def camera():
    folder = TESTS / "camera"
    sys.path.insert(0, str(folder))
    yield load("camera", folder / "camera.py")
    sys.path.remove(str(folder))


def off(one, two):
    rings = [shapely.segmentize(shape.exterior, 0.1) for shape in (one, two)]
    return shapely.hausdorff_distance(*rings)


def test_tops_traced_in_a_photo_land_within_the_bound_at_their_feet(camera, tmp_path):
    """Done-when 10: heights of 6 to 18 mm, at three places of the board, the whole way through the job."""
    parts = tuple(camera.Part(shapely.box(*where), high) for where, high in TALL.values())
    scene = camera.random_scene(
        11, size=(2000, 1500), tilt=14.0, height=1.6, hidden=0.0, blur=0.6, parts=parts
    )
    scene.save(tmp_path / "top.jpg")
    ends = scene.pixels_of(np.array([[0.0, 0.0], [150.0, 0.0]])).round(1).tolist()
    text = '[job]\ntitle = "t"\n[board]\nthickness = 1.6\nedge = [[0, 0], [150, 0], [150, 95], [0, 95]]\n'
    text += '[[view]]\nname = "top"\nimage = "top.jpg"\nshows = "top"\n'
    text += f'scale = {{ card = "A4", height = {scene.height_read()}, bars = {list(scene.bars)} }}\n'
    text += f"place = {{ origin = {ends[0]}, along = {ends[1]} }}\n"
    for name, (where, high) in TALL.items():
        corners = shapely.get_coordinates(shapely.box(*where))[:4]
        marked = scene.pixels_of(corners, high).round(1).tolist()
        text += f'[[keepout]]\nname = "{name}"\nkind = "component"\non = "top"\npolygon = {marked}\n'
        text += f'height = {high}\ntraced = "top"\n'
    (tmp_path / "job.toml").write_text(text, encoding="utf-8")
    board = trimgeo.prepare(trimgeo.load(tmp_path))
    (view,) = board.views
    eye = view.to_board.eye
    for keepout in board.keepouts:
        where, high = TALL[keepout.name]
        foot = shapely.box(*where)
        assert off(keepout.spine, foot) <= view.uncertainty
        lean = np.hypot(*(np.array(foot.centroid.coords[0]) - eye[:2])) * high / eye[2]
        assert lean > 4 * view.uncertainty  # its top left where it is would be off by far more


def test_accepted_suggestions_of_a_photo_land_at_the_feet_of_what_they_show():
    """The photo of samples/phone: two tall bodies and a flat one whose walls show beside their tops."""
    samples = TESTS.parent / "samples"
    script = load("draw_phone", samples / "draw_phone.py")
    board = trimgeo.prepare(trimgeo.load(samples / "phone"))
    view, found = suggestions(board, "photo")
    told = {each["name"]: each for each in suggested_json(view, named(found, ()))}
    pixels = [view.to_board.to_mm(np.array(each["pixels"])) for each in told.values() if each["traced"]]
    for name in ("U1 radio", "C7 capacitor", "K1 relay"):
        where, high, _ = script.BODIES[name]
        feet = [shapely.Polygon(feet_of(xy, view.to_board.eye, high)) for xy in pixels if len(xy) > 2]
        # Finding the top of a body adds up to two pixels of the true-scale picture to the view's bound.
        least = view.uncertainty + 2 / view.picture.pixels_per_mm
        assert min(off(foot, shapely.box(*where)) for foot in feet) <= least


def test_feet_of_tops_found_on_drawn_boards_are_where_they_were_drawn():
    """All but one in ten within 0.4 mm; tests/bench/suggestions.py tells the rest."""
    far = []
    for seed in (102, 105):
        board, found = drawn(seed)
        assert {each.traced for each in found} == {"top"}
        for body in board.bodies:
            share = [
                each.shape.intersection(body.top).area / each.shape.union(body.top).area for each in found
            ]
            best = found[int(np.argmax(share))].shape
            if max(share) >= 0.8:
                foot = shapely.transform(
                    best, lambda xy, high=body.height, eye=board.eye: feet_of(xy, eye, high)
                )
                far.append(off(foot, body.foot))
    assert len(far) > 38
    assert np.median(far) < 0.15 and np.quantile(far, 0.9) < 0.4
