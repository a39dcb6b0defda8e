"""Jobs whose millimetres come from photos of the card, from other views, and from pictures of copper.

Photos are made by the simulated camera of tests/camera, which shares nothing with the package but the
layout of the card; its truth is known.
"""

from __future__ import annotations

import importlib.util
import json
import sys
from pathlib import Path

import cv2
import numpy as np
import pytest

import trimgeo
from trimgeo.cli import main

CAMERA = Path(__file__).parent / "camera" / "camera.py"
GRID = np.array([[x, y] for x in (0.0, 40.0, 75.0, 110.0, 150.0) for y in (0.0, 30.0, 60.0, 95.0)])


@pytest.fixture(scope="module")
def camera():
    sys.path.insert(0, str(CAMERA.parent))
    spec = importlib.util.spec_from_file_location("camera", CAMERA)
    module = importlib.util.module_from_spec(spec)
    sys.modules["camera"] = module
    spec.loader.exec_module(module)
    yield module
    sys.path.remove(str(CAMERA.parent))


def job_of(folder: Path, views: str, more: str = "") -> Path:
    path = folder / "job.toml"
    path.write_text(
        '[job]\ntitle = "t"\n[board]\nthickness = 1.6\nedge = [[0, 0], [150, 0], [150, 95], [0, 95]]\n'
        f"{views}\n{more}",
        encoding="utf-8",
    )
    return path


def by_card(scene, name: str, shows: str = "top", bars: bool = True, place: bool = True) -> str:
    told = f", bars = {list(scene.bars)}" if bars else ""
    along = [150.0, 0.0]
    ends = scene.pixels_of(np.array([[0.0, 0.0], along])).round(1).tolist()
    text = f'[[view]]\nname = "{name}"\nimage = "{name}.jpg"\nshows = "{shows}"\n'
    text += f'scale = {{ card = "A4", height = {scene.height_read()}{told} }}\n'
    return text + (f"place = {{ origin = {ends[0]}, along = {ends[1]} }}\n" if place else "")


@pytest.fixture(scope="module")
def photo(camera, tmp_path_factory):
    """A photo of a board's top face on the card, and the folder that it lies in."""
    scene = camera.random_scene(3, size=(2000, 1500), tilt=12.0, height=1.6, hidden=0.0, blur=0.6, quality=92)
    folder = tmp_path_factory.mktemp("photo")
    scene.save(folder / "top.jpg")
    return scene, folder


def test_positions_by_the_card_are_within_the_stated_bound(photo):
    scene, folder = photo
    (view,) = trimgeo.prepare(trimgeo.load(job_of(folder, by_card(scene, "top")))).views
    off = np.hypot(*(view.to_board.to_mm(scene.pixels_of(GRID)) - GRID).T)
    assert off.max() <= view.uncertainty < 0.5
    assert (view.method, view.card.markers > 60, view.placed, view.scale_known) == ("card", True, True, True)


def test_the_true_scale_picture_shows_what_the_photo_shows(photo):
    scene, folder = photo
    (view,) = trimgeo.prepare(trimgeo.load(job_of(folder, by_card(scene, "top")))).views
    at = np.random.default_rng(0).uniform([2, 2], [148, 93], (400, 2))
    taken = cv2.imread(str(folder / "top.jpg")).astype(np.float32)
    straight = view.picture.pixels.astype(np.float32)

    def sampled(picture, pixels):
        u, v = pixels.astype(np.float32).T
        return cv2.remap(picture, u, v, cv2.INTER_LINEAR).reshape(-1, 3)

    drawn = np.array(view.picture.origin) + at * [view.picture.pixels_per_mm, -view.picture.pixels_per_mm]
    seen = sampled(taken, view.to_board.to_pixels(at))
    assert np.abs(sampled(straight, drawn) - seen).mean() < 2.0
    assert seen.std() > 10.0


def test_without_bars_the_bound_is_six_per_cent_and_nothing_is_clear(photo):
    scene, folder = photo
    keepout = '[[keepout]]\nname = "U1"\nkind = "component"\non = "top"\npolygon = '
    corners = scene.pixels_of(np.array([[5.0, 5.0], [9.0, 5.0], [9.0, 9.0]])).round(1).tolist()
    more = f'{keepout}{corners}\n[cutter]\nkind = "blade"\nkerf = 1\n[finish]\nsanding = 0.3\n'
    more += "[outline]\npoints = [[0, 0], [140, 0], [140, 95], [0, 95]]\n"
    told = trimgeo.plan(trimgeo.prepare(trimgeo.load(job_of(folder, by_card(scene, "top"), more))))
    untold = trimgeo.plan(
        trimgeo.prepare(trimgeo.load(job_of(folder, by_card(scene, "top", bars=False), more)))
    )
    assert [plan.rows[0].state for plan in (told, untold)] == ["clear", "tight"]
    assert 0.04 * 150 < untold.board.views[0].uncertainty < 0.2 * 150
    assert any("bars" in warning for warning in untold.warnings)


def test_a_card_view_that_is_not_placed_takes_no_marks(photo):
    scene, folder = photo
    views = by_card(scene, "top", place=False)
    board = trimgeo.prepare(trimgeo.load(job_of(folder, views)))
    assert "lower left corner of the card" in " ".join(board.warnings)
    mark = '[[probe]]\nname = "TP1"\nat = [900, 700]\nface = "top"\nrail = "3V3"\non = "top"\n'
    with pytest.raises(trimgeo.JobError, match=r'found view "top", in which nothing says where the board'):
        trimgeo.prepare(trimgeo.load(job_of(folder, views, mark)))


def test_a_bottom_face_on_the_card_lies_mirrored_in_the_board_frame(camera, tmp_path):
    scene = camera.random_scene(
        5, size=(2000, 1500), tilt=10.0, height=2.0, hidden=0.0, bottom=True, blur=0.6
    )
    scene.save(tmp_path / "back.jpg")
    (view,) = trimgeo.prepare(trimgeo.load(job_of(tmp_path, by_card(scene, "back", "bottom")))).views
    off = np.hypot(*(view.to_board.to_mm(scene.pixels_of(GRID)) - GRID).T)
    assert off.max() <= view.uncertainty < 0.5


def test_a_second_photo_takes_its_scale_from_spots_that_the_first_shows(camera, photo, tmp_path):
    scene, folder = photo
    (other, *_) = camera.more_views(scene, 2)[-1:]
    other.save(folder / "again.jpg")
    spots = GRID[[0, 3, 7, 12, 16, 19]]
    pairs = zip(
        other.pixels_of(spots).round(1).tolist(), scene.pixels_of(spots).round(1).tolist(), strict=True
    )
    points = ", ".join(f"{{ pixel = {here}, there = {there} }}" for here, there in pairs)
    like = '[[view]]\nname = "again"\nimage = "again.jpg"\nshows = "top"\n'
    like += f'scale = {{ like = "top", points = [{points}] }}\n'
    board = trimgeo.prepare(trimgeo.load(job_of(folder, by_card(scene, "top") + like)))
    again = board.views[1]
    off = np.hypot(*(again.to_board.to_mm(other.pixels_of(GRID)) - GRID).T)
    assert off.max() <= again.uncertainty
    assert again.method == "like top"


def test_rectify_tells_codes_and_focal_length_and_draws_what_it_found(photo, tmp_path, capsys):
    scene, folder = photo
    with pytest.raises(SystemExit) as ended:
        main(["rectify", str(job_of(folder, by_card(scene, "top"))), "--out", str(tmp_path), "--json"])
    assert ended.value.code in (0, None)
    (view,) = json.loads(capsys.readouterr().out)
    assert view["markers"] > 60
    true_focal = scene.camera.focal if hasattr(scene.camera, "focal") else view["focal_px"]
    assert view["focal_px"] == pytest.approx(true_focal, rel=0.03)
    shown = cv2.imread(str(tmp_path / "top-found.png"))
    assert shown.shape[1] == 2000
    assert shown.shape[0] > 1500  # the photo, and the legend below


@pytest.mark.parametrize(
    ("height", "said"),
    [
        ("900.0", "at the camera, or behind it"),
        (
            "[{ pixel = [50, 50], mm = 2 }, { pixel = [900, 900], mm = 2 }, { pixel = [99, 99], mm = 2 }]",
            "three places on one line",
        ),
    ],
)
def test_heights_that_no_board_has_are_refused(photo, height, said):
    scene, folder = photo
    views = by_card(scene, "top").replace(f"height = {scene.height_read()}", f"height = {height}")
    with pytest.raises(trimgeo.JobError, match=rf"scale\.height: found .*{said}"):
        trimgeo.prepare(trimgeo.load(job_of(folder, views)))


def test_a_card_put_together_from_two_pictures_is_refused(photo, tmp_path):
    scene, folder = photo
    picture = cv2.imread(str(folder / "top.jpg"))
    picture[750:] = np.roll(picture[750:], 25, axis=1)
    cv2.imwrite(str(tmp_path / "top.jpg"), picture)
    with pytest.raises(trimgeo.JobError, match=r"times as far off as they were read|fold the picture"):
        trimgeo.prepare(trimgeo.load(job_of(tmp_path, by_card(scene, "top"))))


LAYERS = """
[[view]]
name = "in2"
image = "in2.png"
shows = 2
scale = { dpi = 254 }
place = { origin = [99.5, 699.5], along = [399.5, 699.5] }
[[view]]
name = "in3"
image = "in3.png"
shows = 3
scale = { dpi = 254 }
place = { origin = [99.5, 699.5], along = [399.5, 699.5] }
[[copper]]
view = "in2"
layer = 2
nets = [{ net = "GND", at = [10, 10] }]
[[copper]]
view = "in3"
layer = 3
copper_is = "dark"
[[keepout]]
name = "V1"
kind = "via"
circle = { at = [20, 10], diameter = 0.6 }
[cutter]
kind = "blade"
kerf = 1
[finish]
sanding = 0.3
[outline]
points = [[0, 0], [40, 0], [40, 50], [0, 50]]
"""


@pytest.fixture
def layers(tmp_path):
    """Two inner layers, 10 pixels a mm: a plane with a clearance hole, and a trace that a via joins to it."""
    plane = np.full((800, 900), 40, np.uint8)
    plane[550:650, 150:350] = 200  # x 5 to 25, y 5 to 15 mm
    plane[590:610, 190:210] = 40  # a hole in it at (10, 10): x 9 to 11, y 9 to 11
    traces = np.full((800, 900), 210, np.uint8)
    traces[598:602, 290:600] = 60  # x 19 to 50 at y 10: passes the new edge x = 40
    traces[250:350, 150:300] = 60  # x 5 to 20, y 35 to 45, joined to nothing
    for name, picture in (("in2.png", plane), ("in3.png", traces)):
        cv2.imwrite(str(tmp_path / name), cv2.GaussianBlur(picture, (0, 0), 0.7))
    text = '[job]\ntitle = "t"\n[board]\nthickness = 1.6\nlayers = 4\n'
    text += "edge = [[0, 0], [60, 0], [60, 50], [0, 50]]\n"
    return tmp_path, text


def test_copper_of_inner_layers_has_nets_through_vias_and_is_severed_by_name(layers):
    folder, head = layers
    (folder / "job.toml").write_text(head + LAYERS.replace("at = [10, 10] }]", "at = [6, 6] }]"))
    plan = trimgeo.plan(trimgeo.prepare(trimgeo.load(folder)))
    rows = {row.name: row for row in plan.rows}
    assert set(rows) == {"V1", "2:GND", "3:1", "3:GND"}  # numbered from the left
    assert rows["2:GND"].nominal == pytest.approx(15.0, abs=0.05)  # the plane ends at x = 25
    assert [(each.name, each.net) for each in plan.severed] == [("3:GND", "GND")]
    assert {each.layer for each in plan.exposed} == {3}
    (copper,) = [each for each in plan.board.keepouts if each.name == "2:GND"]
    assert copper.spine.area == pytest.approx(20 * 10 - 2 * 2, abs=1.0)  # its clearance hole stays open
    assert plan.unknown_layers == (1, 4)


def test_a_net_named_where_there_is_no_copper_is_refused_with_its_place(layers):
    folder, head = layers
    (folder / "job.toml").write_text(head + LAYERS)
    with pytest.raises(trimgeo.JobError, match=r"\[\[copper\]\], nets.*10"):
        trimgeo.prepare(trimgeo.load(folder))


def test_a_line_is_looked_for_on_faces_before_the_cut_only(layers):
    folder, head = layers
    job = head + LAYERS.replace("at = [10, 10] }]", "at = [6, 6] }]").replace(
        "points = [[0, 0], [40, 0], [40, 50], [0, 50]]", 'view = "in2"'
    )
    (folder / "job.toml").write_text(job)
    with pytest.raises(trimgeo.JobError, match=r'found view "in2", which shows no face'):
        trimgeo.prepare(trimgeo.load(folder))


def test_a_part_that_leans_outwards_is_brought_back_to_its_foot(camera, tmp_path):
    """DESIGN: the top of a part leans away from the camera; with its height the foot is known."""
    scene = camera.random_scene(7, size=(2000, 1500), tilt=15.0, height=1.6, hidden=0.0, blur=0.6)
    scene.save(tmp_path / "top.jpg")
    foot = np.array([[120.0, 60.0], [140.0, 60.0], [140.0, 80.0], [120.0, 80.0]])
    marked = scene.pixels_of(foot, 18.0).round(1).tolist()  # its upper face, 18 mm up
    keepout = f'[[keepout]]\nname = "K1"\nkind = "component"\non = "top"\npolygon = {marked}\nheight = 18.0\n'
    found = {}
    for traced in ("foot", "top"):
        more = f'{keepout}traced = "{traced}"\n'
        board = trimgeo.prepare(trimgeo.load(job_of(tmp_path, by_card(scene, "top"), more)))
        found[traced] = np.asarray(board.keepouts[0].spine.exterior.coords)[:4]
    off = {traced: np.hypot(*(corners - foot).T).max() for traced, corners in found.items()}
    assert off["top"] <= board.views[0].uncertainty + 0.1
    assert off["foot"] > 2.0


def test_a_scan_does_not_know_how_parts_lean(layers):
    folder, head = layers
    leaning = LAYERS.replace(
        'kind = "via"\ncircle = { at = [20, 10], diameter = 0.6 }',
        'kind = "component"\non = "in2"\nheight = 5\ntraced = "top"\n'
        "polygon = [[200, 200], [300, 200], [300, 300]]",
    ).replace("at = [10, 10] }]", "at = [6, 6] }]")
    (folder / "job.toml").write_text(head + leaning)
    with pytest.raises(trimgeo.JobError, match="does not know where its camera stood"):
        trimgeo.prepare(trimgeo.load(folder))


def test_the_stroke_along_x_is_seen_where_edge_and_drawn_outline_run_along_it(tmp_path):
    board = np.full((700, 900, 3), 225, np.uint8)
    board[50:650, 50:850] = (70, 110, 40)  # 80 x 60 mm at 10 pixels a mm
    cv2.line(board, (450, 50), (450, 649), (40, 40, 210), 8)  # a red line at x = 40, what stays at its left
    cv2.imwrite(str(tmp_path / "top.png"), cv2.GaussianBlur(board, (0, 0), 0.8))
    (tmp_path / "job.toml").write_text(
        '[job]\ntitle = "t"\n[board]\nthickness = 1.6\nedge = [[0, 0], [80, 0], [80, 60], [0, 60]]\n'
        '[[view]]\nname = "top"\nimage = "top.png"\nshows = "top"\nmoment = "drawn"\nscale = { dpi = 254 }\n'
        "place = { origin = [49.5, 649.5], along = [849.5, 649.5] }\n"
        '[[keepout]]\nname = "K1"\nkind = "component"\npolygon = [[10, 20], [20, 20], [20, 30], [10, 30]]\n'
        '[cutter]\nkind = "blade"\nkerf = 1\n[finish]\nsanding = 0.3\n[outline]\nview = "top"\n'
    )
    with pytest.raises(SystemExit):
        main(["rectify", str(tmp_path), "--out", str(tmp_path)])
    shown = cv2.imread(str(tmp_path / "top-found.png"))
    dark = (shown[630:670] < 60).all(axis=2).sum(axis=0)  # rows of black by column, about the lower edge
    assert dark[70:130].min() > 1 + dark[200:400].max()
