"""Copper from pictures: how far boundaries are off, whether nets are right, how long 100 megapixels take.

Run as ``python tests/bench/copper.py [layer sets]``.  Layers are drawn by
tests/vision/drawn_layers.py.  Speed: both sides decode the same file and run in turn; medians of five.
Memory: each side once in a process of its own, what it holds at most (VmHWM) less what it holds after
its imports, over the bytes of the grey picture.
"""

from __future__ import annotations

import importlib.util
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import median

import cv2
import numpy as np
import shapely

from trimgeo.errors import JobError
from trimgeo.model.planemap import PlaneMap
from trimgeo.vision.copper import copper_polygons
from trimgeo.vision.copper_board import board_copper
from trimgeo.vision.nets import Link, Seed, nets

cv2.setNumThreads(1)
RATIO_LIMIT, GROWN_LIMIT, WITHIN_LIMIT = 2.5, 0.3, 0.75
SIDES = (2500, 5000, 10000)


def _drawn():
    path = Path(__file__).parents[1] / "vision" / "drawn_layers.py"
    spec = importlib.util.spec_from_file_location("drawn_layers", path)
    module = importlib.util.module_from_spec(spec)
    sys.modules["drawn_layers"] = module
    spec.loader.exec_module(module)
    return module


def scan(dpi: int, height: float) -> PlaneMap:
    """The map of a picture that `drawn_layers.to_pixels` drew."""
    k = 25.4 / dpi
    matrix = np.array([[k, 0, k / 2], [0, -k, height - k / 2], [0, 0, 1]])
    return PlaneMap(matrix, np.zeros((9, 9)))


def one_set(drawn, number: int) -> dict:
    """One set of layers: boundary figures, and whether each net has just the copper that it was given."""
    random = np.random.RandomState(number)
    layers = drawn.layer_set(random, layers=int(random.choice([2, 4, 6])))
    dpi, copper_is = (600, 1200)[number % 2], ("light", "dark")[number // 2 % 2]
    spoil = {
        "blur": random.uniform(0.5, 1.2),
        "noise": random.uniform(2, 6),
        "unlike": random.uniform(0, 0.3),
        "dust": 30,
        "scratches": 6 if number % 3 != 2 else 0,
        "scratch_px": 0.04 * dpi / 25.4,
    }
    found, results = {}, []
    view = scan(dpi, layers.size[1])
    for layer, copper in layers.copper.items():
        truth = drawn.to_pixels(copper, dpi, layers.size[1])
        cover = drawn.coverage(truth, drawn.picture_size(layers.size, dpi))
        grey = drawn.photographed(cover, random, copper_is=copper_is, **spoil)
        made = board_copper(
            grey, view, layers.edge, level=None, copper_is=copper_is, speck=0.02, where=f"layer {layer}"
        )
        found[layer] = made.polygons
        pixels = [shapely.transform(each, view.to_pixels) for each in made.polygons]
        results.append(drawn.judged(pixels, truth))
    return {"dpi": dpi, "spoil": spoil, "judged": results, "wrong": wrong_nets(drawn, layers, found)}


def wrong_nets(drawn, layers, found) -> list[str]:
    """What is wrong with the nets: each is seeded at one place by a name of its own and looked for at all."""
    links = [Link(v.name, v.at, v.drill, tuple(layers.copper)) for v in layers.vias]
    groups = [sorted(group) for group in layers.groups]
    seeds = [
        Seed(group[0][0], f"N{n}", drawn.on_pad(layers, group[0])) for n, group in enumerate(groups) if group
    ]
    try:
        areas = nets(found, links, seeds)
    except JobError as fault:
        return [str(fault)]
    wrong = []
    for n, group in enumerate(groups):
        for layer, name in group:
            at = shapely.Point(drawn.on_pad(layers, (layer, name)))
            here = [a.net for a in areas if a.layer == layer and a.polygon.contains(at)]
            if here != [f"N{n}"]:
                wrong.append(f"{name} on layer {layer} is {here} and not N{n}")
    return wrong


def picture_100(drawn, side: int) -> np.ndarray:
    """A picture of ``side`` squared pixels: layers at 1200 dpi side by side, unevenly lit, with noise."""
    random = np.random.RandomState(5)
    tiles = []
    for plane in (False, True):
        layers = drawn.layer_set(random, layers=4, size=(50.0, 50.0))
        copper = layers.copper[2 if plane else 1]
        pixels = drawn.to_pixels(copper, 1270, 50.0)
        tiles.append(
            drawn.photographed(drawn.coverage(pixels, (2500, 2500)), random, blur=0.9, noise=3.0, dust=100)
        )
    across = side // 2500
    whole = np.vstack([np.hstack([tiles[(i + j) % 2] for i in range(across)]) for j in range(across)])
    lamp = np.linspace(0.8, 1.1, side, dtype=np.float32)
    for row in range(0, side, 500):
        whole[row : row + 500] = np.clip(whole[row : row + 500] * lamp, 0, 255)
    return whole


def ours(path: Path) -> None:
    """Decode, and polygons with sub-pixel edges."""
    copper_polygons(cv2.imread(str(path), cv2.IMREAD_GRAYSCALE), None, "light", 40.0, scratch=3.7)


def bare(path: Path) -> None:
    """Decode, one threshold, and chains of pixels."""
    grey = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
    _, mask = cv2.threshold(grey, 125, 255, cv2.THRESH_BINARY)
    cv2.findContours(mask, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)


def seconds(work, path: Path) -> float:
    began = time.perf_counter()
    work(path)
    return time.perf_counter() - began


def held() -> float:
    status = Path("/proc/self/status").read_text().splitlines()
    return int(next(line for line in status if line.startswith("VmHWM")).split()[1]) * 1024.0


def memory(side: str, path: Path) -> float:
    command = [sys.executable, __file__, "--memory", side, str(path)]
    return float(subprocess.run(command, check=True, capture_output=True, text=True).stdout)


def speed(drawn) -> bool:
    """The table of times; true where a limit is passed."""
    print(f"{'pixels':>12} {'form':>5} {'ours s':>7} {'bare s':>7} {'ratio':>6} {'memory':>7} {'bare':>6}")
    times: dict[str, list[tuple[int, float]]] = {}
    over = False
    with tempfile.TemporaryDirectory() as folder:
        for side in SIDES:
            picture = picture_100(drawn, side)
            for form in ("png", "jpg"):
                path = Path(folder) / f"layer.{form}"
                cv2.imwrite(str(path), picture)
                pairs = [(seconds(ours, path), seconds(bare, path)) for _ in range(5)]
                mine, theirs = (median(each) for each in zip(*pairs, strict=True))
                peak, bare_peak = (memory(each, path) / side**2 for each in ("ours", "bare"))
                times.setdefault(form, []).append((side * side, mine))
                over |= side == SIDES[-1] and mine > RATIO_LIMIT * theirs
                print(
                    f"{side * side:>12,} {form:>5} {mine:>7.2f} {theirs:>7.2f} {mine / theirs:>6.2f} "
                    f"{peak:>7.2f} {bare_peak:>6.2f}",
                    flush=True,
                )
    for form, points in times.items():
        print(f"{form}: time grows with the pixels to the power {np.polyfit(*np.log(points).T, 1)[0]:.2f}")
    return over


def main(count: int) -> int:
    """Print the tables; 1 where a limit is passed."""
    drawn = _drawn()
    failed = False
    wrong = 0
    for number in range(count):
        made = one_set(drawn, number)
        within = np.concatenate([each.within for each in made["judged"]])
        missed = np.concatenate([each.missed for each in made["judged"]])
        grown = np.array([each.grown for each in made["judged"]])
        spoil = ", ".join(f"{k} {v:.2f}" for k, v in made["spoil"].items())
        each_95 = [[np.percentile(side, 95) for side in (e.within, e.missed)] for e in made["judged"]]
        worst = np.max(each_95, axis=0)
        bad = np.abs(grown).max() > GROWN_LIMIT or max(worst) > WITHIN_LIMIT or bool(made["wrong"])
        failed |= bad
        wrong += bool(made["wrong"])
        print(
            f"{number:3} {made['dpi']:5} dpi {len(grown)} layers: "
            f"grown {grown.min():+.3f} to {grown.max():+.3f} px "
            f"95 % within {np.percentile(within, 95):.2f} (worst {worst[0]:.2f}), missed "
            f"{np.percentile(missed, 95):.2f} ({worst[1]:.2f}) {'WRONG' if bad else ''} [{spoil}]",
            flush=True,
        )
        for text in made["wrong"][:3]:
            print("      ", text)
    print(f"sets with a wrong net: {wrong} of {count}")
    failed |= speed(drawn)
    return int(failed)


if __name__ == "__main__":
    if sys.argv[1:2] == ["--memory"]:
        before = held()
        {"ours": ours, "bare": bare}[sys.argv[2]](Path(sys.argv[3]))
        print(held() - before)
    else:
        sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 24))
