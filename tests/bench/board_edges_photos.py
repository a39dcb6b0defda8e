"""Edges of boards in simulated photos on the reference card, by way of a job: Hausdorff distance, mm.

Run as ``python tests/bench/board_edges_photos.py [count] [first]``.  The photos are those of tests/camera
(12 megapixels, any lens, light and JPEG, the board over any part of the card) with boards and parts as in
board_edges.py; the finder was tuned on photos 0 to 9.  The bound is that of the edge and that of its
view together (root of the sum of squares).
"""

import importlib.util
import os
import sys
import tempfile
import time
from functools import partial
from pathlib import Path

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import cv2
import numpy as np
import shapely

import trimgeo
from trimgeo import seen
from trimgeo.errors import JobError
from trimgeo.scale import Seeing, views_and_edge
from trimgeo.tables import COVERAGE_FACTOR

THICKNESS = 1.6
MASKS = ("green", "blue", "red", "yellow", "purple")
BODIES = ((40, 38, 38), (64, 66, 70), (205, 205, 200), (150, 90, 60))
METALS = ((190, 140, 92), (206, 176, 96), (202, 200, 196))


def loaded(path):
    """A helper of the tests, by path."""
    spec = importlib.util.spec_from_file_location(path.stem + "_of_tests", path)
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


def helpers():
    """The simulated camera and the drawn boards."""
    tests = Path(__file__).parents[1]
    return loaded(tests / "camera" / "camera.py"), loaded(tests / "vision" / "boards_seen.py")


def bodies(camera, board, rng):
    """Parts with legs, flat on the face, some of them reaching over its rim, cut off there."""
    x0, y0, x1, y1 = board.bounds
    metal = METALS[rng.integers(3)]
    taken, paint = shapely.Polygon(), []
    for _ in range(12):
        w, h = rng.uniform(1.5, 12), rng.uniform(1, 9)
        x, y = rng.uniform(x0 + 1.5, x1 - 1.5 - w), rng.uniform(y0 + 1.5, y1 - 1.5 - h)
        body = shapely.box(x, y, x + w, y + h)
        colour = BODIES[rng.integers(4)]
        if body.buffer(1.0).intersects(taken):
            continue
        taken = taken.union(body.buffer(1.2))
        legs = [
            shapely.box(x + k, y + side, x + k + 0.6, y + side + 0.5)
            for side in (-0.5, h)
            for k in np.arange(0.4, w - 0.4, 1.27)
        ]
        for area, tone in ((shapely.union_all(legs) if legs else None, metal), (body, colour)):
            shown = None if area is None else area.intersection(board)
            if shown is not None and not shown.is_empty and shown.area > 0.01:
                whole = [each for each in shapely.get_parts(shown) if each.geom_type == "Polygon"]
                paint.append(camera.Paint(shapely.MultiPolygon(whole), tone))
    return paint


def scene(camera, boards, seed):
    """A photo of a board with notches, tabs and rounded corners, lying on a card."""
    rng = np.random.default_rng(1000 + seed)
    board = boards.random_board(rng)
    colour = boards.MASKS[MASKS[rng.integers(len(MASKS))]][::-1]
    return camera.random_scene(
        seed,
        paper=("A4", "letter", "A4", "A3")[rng.integers(4)],
        board=board,
        colour=colour,
        paint=bodies(camera, board, rng),
        height=THICKNESS,
        thickness=THICKNESS,
    )


def job_of(photo, folder):
    """The job that names the photo as the one that shows the edge; placed by two true pixels."""
    photo.save(folder / "photo.jpg")
    origin, along = photo.pixels_of(np.array([[0.0, 0.0], [60.0, 0.0]])).round(3).tolist()
    text = (
        f'[job]\ntitle = "bench"\n[board]\nthickness = {THICKNESS}\nedge = {{ view = "photo" }}\n'
        f'[[view]]\nname = "photo"\nimage = "photo.jpg"\nshows = "top"\n'
        f'scale = {{ card = "{photo.sheet.paper}", height = {photo.height_read()}, '
        f"bars = {list(photo.bars)} }}\n"
        f"place = {{ origin = {origin}, along = {along} }}\n"
    )
    (folder / "job.toml").write_text(text)
    return trimgeo.load(folder / "job.toml")


def measured(photo):
    """The edge found, its own bound, and its view's, mm."""
    stated = []

    def edge(*args):
        found = seen.edge_seen(THICKNESS, *args)
        stated.append(COVERAGE_FACTOR * found.uncertainty)
        return found

    with tempfile.TemporaryDirectory() as folder:
        job = job_of(photo, Path(folder))
        read = views_and_edge(job, None, Seeing(edge, partial(seen.holes_seen, THICKNESS)))
        return read.edge.polygon, stated[0], read.views[0].uncertainty


def main() -> int:
    """Print each photo's figures and how many keep the bound; 1 where fewer than 95 % do."""
    cv2.setNumThreads(1)
    camera, boards = helpers()
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 40
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 40
    errors, bounds, took = [], [], 0.0
    for seed in range(first, first + count):
        photo = scene(camera, boards, seed)
        began, said = time.process_time(), ""
        try:
            found, own, view = measured(photo)
            dense = [shapely.segmentize(each.exterior, 0.05) for each in (found, photo.body.polygon)]
            error, bound = shapely.hausdorff_distance(*dense), float(np.hypot(own, view))
        except JobError as fault:
            error, bound, said = np.inf, np.inf, f"refused: {str(fault)[-150:]}"
        took += time.process_time() - began
        errors.append(error)
        bounds.append(bound)
        if said or error > bound:
            print(f"{seed:4} {photo.sheet.paper:6} {photo.strata['light']:8} {error:.3f} {bound:.3f} {said}")
    errors, bounds = np.array(errors), np.array(bounds)
    given = np.isfinite(errors)
    kept = int((given & (errors <= bounds)).sum())
    print(
        f"{kept} of {count} within the bound; {count - given.sum()} refused; error median "
        f"{np.median(errors[given]):.3f}, 95 % {np.percentile(errors[given], 95):.3f}, "
        f"most {errors[given].max():.3f}; "
        f"bound median {np.median(bounds[given]):.3f}, most {bounds[given].max():.3f} mm; "
        f"{took / count:.1f} s of processor time a photo"
    )
    return int(kept < 0.95 * count)


if __name__ == "__main__":
    sys.exit(main())
