"""Simulated photos of boards on the card, rendered and measured: shape errors, bounds, strata, warnings.

    python tests/bench/card_photos.py [count] [--curl 1] [--bulge 1] [--blur 6] [--views 3] [--print 0.97]
                                      [--no-bars] [--crooked] [--wrong-height 1.5] [--checks] [--direct]
                                      [--moved] [--bars-again]

Truth comes from tests/camera, written apart from the package.  Shape error: rms over a grid on the board
after the best rigid motion (and, beside it, after the best similarity: what a caliper's 0.05 mm on the bars
leaves is scale).  Largest: the greatest distance of a position from the truth over the board, placed by
two pixels read to 0.5 px.  ``--moved`` lays the board anew for each photo (up to 5 mm and 3 degrees),
``--bars-again`` has the bars measured again for each.  ``--direct`` fits without a job: corners, one
adjustment, placing.  ``--json`` prints a row of figures for each scene, and no table.
"""

import argparse
import importlib.util
import json
import os
import re
import sys
import tempfile
import time
from collections import Counter
from dataclasses import replace
from multiprocessing import get_context
from pathlib import Path

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import cv2
import numpy as np

import trimgeo

PLACES = np.stack(np.meshgrid(np.linspace(0, 150, 16), np.linspace(0, 95, 11)), axis=-1).reshape(-1, 2)
THREE = np.array([[6.0, 6.0], [144.0, 8.0], [70.0, 89.0]])
LENGTHS = np.array([[[5.0, 5.0], [145.0, 5.0]], [[75.0, 3.0], [75.0, 92.0]]])
STRATA = {
    "tilt": (3, 10, 17, 25.01),
    "height": (0, 3, 6, 9.01, 50),
    "quality": (60, 72, 84, 96),
    "focal": (24, 28, 32, 35.01),
}


def simulated():
    """The simulated camera, loaded by path."""
    path = Path(__file__).parents[1] / "camera" / "camera.py"
    spec = importlib.util.spec_from_file_location("camera_of_tests", path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def drawn(seed, asked):
    """The scenes (one a photo) of a seed."""
    camera = simulated()
    chance = np.random.default_rng([seed, 900])
    settings = {
        "print_scale": tuple(asked.print),
        "curl": asked.curl,
        "bulge": asked.bulge,
        "size": asked.size,
    }
    settings |= {"blur": asked.blur, "flat": asked.flat, "beyond": asked.beyond}
    if asked.crooked:
        settings |= {"crooked": chance.uniform(0.5, 5), "heights": (10, 38)}
    scene = camera.random_scene(seed, **settings)
    others = camera.more_views(scene, asked.views - 1)
    return [scene, *(moved(each, n) if asked.moved else each for n, each in enumerate(others))]


def moved(scene, number):
    """The photo with the board laid anew, at the same height."""
    chance = np.random.default_rng([scene.things, 901, number])
    angle, shift = np.radians(chance.uniform(-3, 3)), chance.uniform(-5, 5, 2)
    spin = np.array([[np.cos(angle), -np.sin(angle), 0], [np.sin(angle), np.cos(angle), 0], [0, 0, 1]])
    middle = scene.body.world(PLACES.mean(axis=0)[None])[0]
    at = middle + spin @ (scene.body.at - middle) + [*shift, 0.0]
    return scene.with_(body=replace(scene.body, turn=spin @ scene.body.turn, at=at))


def told_height(scene, asked):
    """What the person says of the height: one number, or three places."""
    if asked.crooked:
        pixels = scene.read_off(THREE, stream=81)
        heights = [scene.height_read(at) + asked.wrong_height for at in THREE]
        return [(tuple(map(float, p)), max(mm, 0.0)) for p, mm in zip(pixels, heights, strict=True)]
    return max(scene.height_read() + asked.wrong_height, 0.0)


def bars_read(scene, n, asked):
    """The bars as the person reads them for the n-th photo: within 0.05 mm, once or each time again."""
    if n == 0 or not asked.bars_again:
        return scene.bars
    error = np.random.default_rng([scene.things, 84, n]).uniform(-0.05, 0.05, 2)
    return tuple(round(float(bar), 3) for bar in 100 * np.array(scene.sheet.scale) + error)


def view_table(n, scene, asked):
    """The ``[[view]]`` of one photo, as TOML."""
    height = told_height(scene, asked)
    if isinstance(height, list):
        height = "[" + ", ".join(f"{{ pixel = {list(p)}, mm = {mm} }}" for p, mm in height) + "]"
    bars = "" if asked.no_bars else f", bars = {list(bars_read(scene, n, asked))}"
    origin, along = scene.read_off(np.array([[0.0, 0.0], [150.0, 0.0]])).round(2).tolist()
    table = f'[[view]]\nname = "photo-{n}"\nimage = "{n}.jpg"\nshows = "top"\n'
    table += f'scale = {{ card = "{scene.sheet.paper}", height = {height}{bars} }}\n'
    table += f"place = {{ origin = {origin}, along = {along} }}\n"
    if asked.checks:
        ends, lengths = checked(scene)
        rows = [
            f"{{ from = {e[0].tolist()}, to = {e[1].tolist()}, length = {mm:.3f} }}"
            for e, mm in zip(ends.round(2), lengths, strict=True)
        ]
        table += f"checks = [{', '.join(rows)}]\n"
    return table


def checked(scene):
    """Two lengths by caliper (within 0.03 mm) and their ends as read off."""
    ends = scene.read_off(LENGTHS.reshape(-1, 2), stream=82).reshape(-1, 2, 2)
    error = np.random.default_rng([scene.things, 83]).uniform(-0.03, 0.03, len(ends))
    return ends, np.hypot(*(LENGTHS[:, 1] - LENGTHS[:, 0]).T) + error


def prepared(scenes, folder, asked):
    """Maps, bounds and warnings of the photos ``0.jpg``, ... by way of a job file."""
    text = '[job]\ntitle = "bench"\n[board]\nthickness = 1.6\nedge = [[0, 0], [150, 0], [150, 95], [0, 95]]\n'
    for n, scene in enumerate(scenes):
        text += view_table(n, scene, asked)
    (folder / "job.toml").write_text(text)
    board = trimgeo.prepare(trimgeo.load(folder / "job.toml"))
    return [(view.to_board, view.uncertainty, view.warnings) for view in board.views]


def direct(scenes, folder, asked):
    """The same by the fit alone: corners found in the stored photo, one adjustment, placed by two pixels."""
    from trimgeo.scale import bound
    from trimgeo.scale.cardfit import CardShot, fit_cards
    from trimgeo.scale.markers import find_corners
    from trimgeo.scale.place import placed

    shots, told = [], []
    for n, scene in enumerate(scenes):
        path = folder / f"{n}.jpg"
        grey = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
        found = find_corners(grey, scene.sheet.paper, "photo", path.name)
        height = told_height(scene, asked)
        shots.append(
            CardShot(
                found.ids, found.pixels, found.sigma, scene.size, scene.sheet.paper,
                tuple(height) if isinstance(height, list) else height,
                bars=None if asked.no_bars else bars_read(scene, n, asked),
                focal_35mm=scene.exif["focal_35"], taken_by=scene.exif["model"],
                **({"checks": checked(scene)} if asked.checks else {}),
            )
        )  # fmt: skip
        told.append(found.warnings)
    result = []
    rim = np.array([[0.0, 0], [75, 0], [150, 0], [150, 47.5], [150, 95], [75, 95], [0, 95], [0, 47.5]])
    for scene, fit, warnings in zip(scenes, fit_cards(shots, ["photo"] * len(shots)), told, strict=True):
        origin, along = scene.read_off(np.array([[0.0, 0.0], [150.0, 0.0]])).round(2)
        to_board = placed(fit.to_card, tuple(origin), tuple(along))
        result.append((to_board, bound.bound(to_board, to_board.to_pixels(rim)), (*warnings, *fit.warnings)))
    return result


def shape_errors(found, true):
    """Rms distances, mm, after the best rigid motion, and after the best similarity (Umeyama 1991)."""
    a, b = true - true.mean(axis=0), found - found.mean(axis=0)
    left, _, right = np.linalg.svd(b.T @ a)
    turned = b @ (left @ np.diag([1, np.sign(np.linalg.det(left @ right))]) @ right)
    scale = (turned * a).sum() / (turned**2).sum()
    return tuple(float(np.sqrt(((k * turned - a) ** 2).sum(axis=1).mean())) for k in (1.0, scale))


def measured(seed, asked):
    """One row of figures for a seed: what was stated and what is true of its first photo, and of all."""
    cv2.setNumThreads(1)
    scenes = drawn(seed, asked)
    start = time.perf_counter()
    way = direct if asked.direct else prepared
    try:
        with tempfile.TemporaryDirectory() as folder:
            for n, scene in enumerate(scenes):
                scene.save(Path(folder, f"{n}.jpg"))
            views = way(scenes, Path(folder), asked)
            alone = way(scenes[:1], Path(folder), asked) if len(scenes) > 1 else views
    except trimgeo.JobError as refused:
        return {"seed": seed, "refused": str(refused), **scenes[0].strata}
    rows = []
    for scene, (to_board, stated, warnings) in zip([*scenes, scenes[0]], [*views, alone[0]], strict=True):
        found = to_board.to_mm(scene.pixels_of(PLACES))
        rigid, similar = shape_errors(found, PLACES)
        largest = float(np.hypot(*(found - PLACES).T).max())
        rows.append({"rms": rigid, "similar": similar, "largest": largest, "bound": stated, "told": warnings})
    first = dict(rows[0], seed=seed, seconds=time.perf_counter() - start, hidden=scenes[0].hidden)
    figures = [{key: row[key] for key in ("rms", "similar", "largest", "bound")} for row in rows]
    first["all"], first["alone"] = figures[:-1], figures[-1]
    return first | scenes[0].strata


def stratum(row, name):
    """In which stratum of ``name`` a row lies, in words."""
    if name == "light":
        return row["light"]
    edges = STRATA[name]
    n = int(np.searchsorted(edges, row[name], side="right")) - 1
    return f"{edges[n]:g}-{edges[n + 1] // 1:g}" if 0 <= n < len(edges) - 1 else "else"


def line_of(rows):
    """Figures of some rows, as text."""
    rms, similar, largest, stated = (
        np.array([r[k] for r in rows]) for k in ("rms", "similar", "largest", "bound")
    )
    inside = int((largest <= stated).sum())
    p95 = np.quantile(largest, 0.95)
    ok = "" if np.median(stated) <= max(4 * p95, 0.2) else "  WIDE"
    ok += "" if inside >= 0.9 * len(rows) else "  UNDER 90 %"
    return (
        f"{np.median(rms):8.4f} {np.quantile(rms, 0.95):7.4f} {rms.max():7.3f} {np.median(similar):8.4f} "
        f"{np.median(largest):8.3f} {p95:7.3f} {np.median(stated):7.3f} {inside:5d}/{len(rows)}{ok}"
    )


def causes(texts):
    """Warnings without their figures and names, to count."""
    return {re.sub(r"[-+]?\d+(\.\d+)?", "#", re.sub(r"^view \S+: ", "", text))[:100] for text in texts}


def report(rows, asked):
    """Print all figures; returns whether those of the first line are met."""
    refused = [row for row in rows if "refused" in row]
    rows = [row for row in rows if "refused" not in row]
    print(f"{len(rows)} answered, {len(refused)} refused")
    for text, count in Counter(next(iter(causes([r["refused"]]))) for r in refused).items():
        print(f"  {count:4d} x {text}")
    if not rows:
        return False
    print(f"{'':20}rms med    95 %     max  similar  largest    95 %   bound  inside")
    print(f"{'all':18}{line_of(rows)}")
    for name in ("tilt", "height", "light", "quality", "focal"):
        for value in sorted({stratum(row, name) for row in rows}):
            print(f"{name:8}{value:10}{line_of([row for row in rows if stratum(row, name) == value])}")
    told = Counter(cause for row in rows for cause in causes(row["told"]))
    for text, count in told.most_common(15):
        print(f"  {count:4d} warned: {text}")
    if asked.views > 1:
        doubted = sum(any("agree only if" in text for text in row["told"]) for row in rows)
        print(f"height doubted by another photo: {doubted}/{len(rows)}")
    either = sum(row["largest"] <= row["bound"] or bool(row["told"]) for row in rows)
    print(
        f"inside or warned {either}/{len(rows)}; hidden {np.median([r['hidden'] for r in rows]):.2f} median"
    )
    if asked.views > 1:
        every = [one for row in rows for one in row["all"]]
        print(f"{'each of all views':18}{line_of(every)}")
        alone = [row["alone"] for row in rows]
        print(f"{'first view alone':18}{line_of(alone)}")
        for key in ("rms", "similar"):
            joint, single = (np.array([row[key] for row in of]) for of in (rows, alone))
            ratio = np.median(joint) / np.median(single), np.sqrt((joint**2).mean() / (single**2).mean())
            print(f"together / alone, {key}: medians {ratio[0]:.2f}, root mean squares {ratio[1]:.2f}")
    for row in sorted(rows, key=lambda r: r["bound"] - r["largest"])[:8]:
        if row["largest"] > row["bound"]:
            print(f"  outside: seed {row['seed']} {row['largest']:.3f} > {row['bound']:.3f} {row['told']}")
    print(f"{np.median([r['seconds'] for r in rows]):.1f} s a scene with its rendering")
    rms = np.array([row["rms"] for row in rows])
    inside = np.mean([row["largest"] <= row["bound"] for row in rows])
    return not refused and np.median(rms) <= 0.015 and np.quantile(rms, 0.95) <= 0.05 and inside >= 292 / 300


def options(arguments):
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("count", nargs="?", type=int, default=300)
    parser.add_argument("--start", type=int, default=0)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--size", type=int, nargs=2, default=(4000, 3000))
    parser.add_argument("--flat", type=float, default=0.1)
    parser.add_argument("--curl", type=float, default=0.0)
    parser.add_argument("--bulge", type=float, default=0.0)
    parser.add_argument("--beyond", type=float, default=1.0)
    parser.add_argument("--blur", type=float, default=None)
    parser.add_argument("--views", type=int, default=1)
    parser.add_argument("--print", type=float, nargs="+", default=[1.0])
    parser.add_argument("--wrong-height", type=float, default=0.0)
    for flag in ("--no-bars", "--crooked", "--checks", "--direct", "--json", "--moved", "--bars-again"):
        parser.add_argument(flag, action="store_true")
    asked = parser.parse_args(arguments)
    asked.print = (asked.print * 2)[:2]
    asked.size = tuple(asked.size)
    return asked


def _work(task):
    return measured(*task)


def main(arguments=None):
    """Measure, print; 1 where the figures of a flat card's single photo are missed."""
    asked = options(arguments)
    tasks = [(seed, asked) for seed in range(asked.start, asked.start + asked.count)]
    with get_context("fork").Pool(asked.workers) as pool:
        rows = list(pool.imap(_work, tasks))
    if asked.json:
        print(json.dumps(rows))
        return 0
    return int(not report(rows, asked))


if __name__ == "__main__":
    sys.exit(main())
