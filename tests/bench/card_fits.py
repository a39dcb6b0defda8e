"""Fits of made-up photos of the card from their corners: shape errors, how often the stated bound covers.

    python tests/bench/card_fits.py [count] [kind ...]

Corners come straight from the simulated camera of tests/camera (no rendering), with Gaussian errors of the
stated sigma.  Shape error: rms distance over the board after the best rigid motion.  Coverage: the largest
error over the board, placed by two pixels read to 0.5 px, against the stated bound.
"""

import importlib.util
import os
import sys
import time
from pathlib import Path

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np

from trimgeo.scale import bound
from trimgeo.scale.cardfit import CardShot, fit_cards
from trimgeo.scale.place import placed

EDGE = np.array([[0.0, 0], [150, 0], [150, 95], [0, 95]])


def simulated():
    spec = importlib.util.spec_from_file_location(
        "camera_of_tests", Path(__file__).resolve().parents[1] / "camera" / "camera.py"
    )
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def shot_of(scene, *, bars=True, noise=0.08, taken_by=None, focal=True, checks=False):
    random = np.random.default_rng([scene.seed, 500])
    ids, pixels = scene.corners
    sigma = noise * random.uniform(0.6, 1.6, len(ids))
    seen = pixels + random.normal(0, 1, pixels.shape) * sigma[:, None]
    height = scene.height_read()
    if abs(scene.body.turn[2, 2]) < 0.9999:
        at = np.array([[5.0, 5.0], [145.0, 5.0], [75.0, 90.0]])
        read = scene.read_off(at, stream=81)
        height = tuple((tuple(p), scene.height_read(a)) for p, a in zip(read, at, strict=True))
    ends = (np.zeros((0, 2, 2)), np.zeros(0))
    if checks:
        at = np.array([[[5.0, 5.0], [145.0, 5.0]], [[75.0, 3.0], [75.0, 92.0]]])
        read = scene.read_off(at.reshape(-1, 2), stream=82).reshape(2, 2, 2)
        ends = (read, np.hypot(*(at[:, 1] - at[:, 0]).T) + random.uniform(-0.03, 0.03, 2))
    told = round(scene.strata["focal"]) if focal else None
    return CardShot(
        ids, seen, sigma, scene.size, scene.sheet.paper, height,
        bars=scene.bars if bars else None, focal_35mm=told, taken_by=taken_by,
        mirrored=scene.body.bottom, checks=ends,
    )  # fmt: skip


def grid():
    x, y = np.meshgrid(np.linspace(0, 150, 11), np.linspace(0, 95, 9))
    return np.column_stack([x.ravel(), y.ravel()])


def shape_error(to_card, scene):
    at = grid()
    found = to_card.to_mm(scene.pixels_of(at))
    a, b = at - at.mean(axis=0), found - found.mean(axis=0)
    left, _, right = np.linalg.svd(b.T @ a)
    turn = left @ right
    return float(np.sqrt(((b @ turn - a) ** 2).sum(axis=1).mean()))


def judged(fit, scene):
    """Shape error, largest error of the board placed by two read pixels, and the stated bound."""
    origin, along = scene.read_off(np.array([[0.0, 0.0], [150.0, 0.0]]))
    to_board = placed(fit.to_card, tuple(origin), tuple(along))
    rim = np.vstack([np.linspace(EDGE[k], EDGE[(k + 1) % 4], 9)[:-1] for k in range(4)])
    pixels = scene.pixels_of(rim)
    largest = float(np.hypot(*(to_board.to_mm(pixels) - rim).T).max())
    return shape_error(fit.to_card, scene), largest, bound.bound(to_board, pixels)


CAUSES = ("curled", "stretched", "times as far", "fit to nothing", "does not fit its perspective")

KINDS = {
    "flat": ({}, {}, 1),
    "flat, exact bars": ({}, {"exact": True}, 1),
    "flat, no EXIF": ({}, {"focal": False}, 1),
    "straight down": ({"tilt": 0.5}, {}, 1),
    "curl 0.3": ({"curl": 0.3}, {}, 1),
    "curl 1": ({"curl": 1.0}, {}, 1),
    "bulge 0.3": ({"bulge": 0.3}, {}, 1),
    "bulge 1": ({"bulge": 1.0}, {}, 1),
    "curl 1, two photos": ({"curl": 1.0}, {}, 2),
    "bulge 1, two photos": ({"bulge": 1.0}, {}, 2),
    "flat, two photos": ({}, {}, 2),
    "flat, three photos": ({}, {}, 3),
    "flat, three photos, exact bars": ({}, {"exact": True}, 3),
    "crooked": ({"crooked": 5.0, "heights": (20.0, 45.0)}, {}, 1),
    "print 97 %, bars": ({"print_scale": (0.97, 0.972)}, {}, 1),
    "print 97 %, no bars": ({"print_scale": (0.97, 0.972)}, {"bars": False}, 1),
    "print 97 %, checks": ({"print_scale": (0.97, 0.972)}, {"bars": False, "checks": True}, 1),
    "noise 0.3 px": ({}, {"noise": 0.3}, 1),
}


def measured(camera, kind, count):
    drawn, read, photos = KINDS[kind]
    read = dict(read)
    exact = read.pop("exact", False)
    rows, wrong = [], []
    for seed in range(count):
        try:
            scene = camera.random_scene(seed, **drawn)
            scenes = [scene, *camera.more_views(scene, photos - 1)]
        except ValueError:
            continue
        shots = [shot_of(s, taken_by="one" if photos > 1 else None, **read) for s in scenes]
        # all photos show the one card, whose bars were read once
        bars = tuple(100 * np.array(scene.sheet.scale)) if exact else shots[0].bars
        shots = [CardShot(**{**s.__dict__, "bars": bars}) for s in shots]
        began = time.perf_counter()
        fits = fit_cards(shots, [f"photo {n}" for n in range(photos)])
        took = time.perf_counter() - began
        error, largest, stated = judged(fits[0], scene)
        warned = any(cause in text for text in fits[0].warnings for cause in CAUSES)
        rows.append((error, largest, stated, warned, took))
        if largest > stated:
            wrong.append((seed, largest, stated))
    return np.array(rows, float), wrong


def main(argv):
    count = int(argv[0]) if argv else 300
    camera = simulated()
    heads = ("rms median", "95 %", "max", "covered", "or warned", "bound median", "95 %", "warned", "ms")
    print(f"{'kind':32s} {'n':>4s}" + "".join(f"{head:>13s}" for head in heads))
    for kind in argv[1:] or KINDS:
        rows, wrong = measured(camera, kind, count)
        error, largest, stated, warned, took = rows.T
        covered = largest <= stated
        errors = [np.median(error), np.quantile(error, 0.95), error.max()]
        shares = [covered.mean(), (covered | (warned > 0)).mean()]
        told = [f"{e:13.4f}" for e in errors] + [f"{s:13.1%}" for s in shares]
        told += [f"{np.median(stated):13.3f}", f"{np.quantile(stated, 0.95):13.3f}", f"{warned.mean():13.1%}"]
        print(f"{kind:32s} {len(rows):4d}" + "".join(told) + f"{1000 * np.median(took):13.0f}", flush=True)
        for seed, most, bounded in wrong:
            print(f"    scene {seed}: {most:.3f} mm, and {bounded:.3f} mm stated")


if __name__ == "__main__":
    main(sys.argv[1:])
