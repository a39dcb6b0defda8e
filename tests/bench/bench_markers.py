"""Corner error, pulls, time and memory of the card's recognition: `python tests/bench/bench_markers.py`."""

from __future__ import annotations

import importlib.util
import resource
import time
from pathlib import Path

import cv2
import numpy as np

from trimgeo.errors import JobError
from trimgeo.model.card import CARDS
from trimgeo.scale.markers import find_corners

CASES = (
    ("12 MP, clean", (4000, 3000), {"blur": 0.8, "noise": 0.5}),
    ("12 MP, noise 6", (4000, 3000), {"blur": 0.8, "noise": 6.0}),
    ("12 MP, JPEG 60", (4000, 3000), {"blur": 0.8, "quality": 60}),
    ("12 MP, blur 1", (4000, 3000), {"blur": 1.0}),
    ("12 MP, blur 3", (4000, 3000), {"blur": 3.0}),
    ("12 MP, blur 6", (4000, 3000), {"blur": 6.0}),
    ("3 MP", (2000, 1500), {}),
    ("50 MP", (8160, 6120), {}),
)


def main() -> None:
    path = Path(__file__).parents[1] / "scale" / "test_markers.py"
    spec = importlib.util.spec_from_file_location("scenes_of_markers", path)
    scenes = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(scenes)
    cv2.setNumThreads(1)
    card = CARDS["A4"]
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_1000)
    board = cv2.aruco.CharucoBoard(
        (card.columns, card.rows),
        card.square,
        0.7 * card.square,
        dictionary,
        np.arange(card.columns * card.rows // 2),
    )
    print(f"{'case':<16}{'corners':>8}{'codes':>7}{'rms px':>9}{'pull':>7}{'s':>7}{'of board':>9}{'MB':>7}")
    for name, size, how in CASES:
        scenes.SIZE, scenes.FINER = size, 2 if size[0] > 5000 else 3
        picture, plane = scenes.photographed(focal=0.75 * size[0])
        grey = scenes.taken(picture, **how)
        start = time.perf_counter()
        cv2.aruco.CharucoDetector(board).detectBoard(grey)
        whole = time.perf_counter() - start
        start = time.perf_counter()
        try:
            found = find_corners(grey, "A4", "view", name)
        except JobError as refusal:
            print(f"{name:<16} refused: {refusal.found}", flush=True)
            continue
        took = time.perf_counter() - start
        error = found.pixels - scenes.projected(plane, card.corners(found.ids))
        pull = np.sqrt(((error / found.sigma[:, None]) ** 2).mean())
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        print(
            f"{name:<16}{len(found.ids):>8}{found.markers:>7}{np.sqrt((error**2).mean()):>9.4f}{pull:>7.2f}"
            f"{took:>7.2f}{took / whole:>9.2f}{peak:>7.0f}",
            flush=True,
        )


if __name__ == "__main__":
    main()
