"""`rectify` of a photo on the card against bare OpenCV: read, find the card, remap, write.

Run as ``python tests/bench/bench_card.py``: 12 and 50 megapixels, both sides in turn, medians of five;
memory as in bench_rectify.  The photos are those of the simulated camera.
"""

from __future__ import annotations

import importlib.util
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import cv2
import numpy as np

import trimgeo
from trimgeo.drawing.png import encode_png
from trimgeo.model.card import CARDS, MARKER_SHARE

HERE = Path(__file__).parent
SIZES = ((4000, 3000), (8160, 6120))
RUNS = 5
TIME_LIMIT, MEMORY_LIMIT = 1.5, 5.0


def loaded(name: str, path: Path):
    sys.path.insert(0, str(path.parent))
    spec = importlib.util.spec_from_file_location(name, path)
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


def photograph(folder: Path, size: tuple[int, int]) -> None:
    camera = loaded("camera", HERE.parent / "camera" / "camera.py")
    scene = camera.random_scene(3, size=size, tilt=12.0, height=1.6)
    scene.save(folder / "photo.jpg")
    origin, along = scene.pixels_of(np.array([[0.0, 0.0], [150.0, 0.0]])).round(1).tolist()
    (folder / "job.toml").write_text(
        '[job]\ntitle = "bench"\n[board]\nthickness = 1.6\nedge = [[0, 0], [150, 0], [150, 95], [0, 95]]\n'
        '[[view]]\nname = "top"\nimage = "photo.jpg"\nshows = "top"\n'
        f'scale = {{ card = "A4", height = {scene.height_read()}, bars = {list(scene.bars)} }}\n'
        f"place = {{ origin = {origin}, along = {along} }}\n"
    )


def ours(folder: Path) -> None:
    (view,) = trimgeo.prepare(trimgeo.load(folder)).views
    (folder / "ours.png").write_bytes(encode_png(view.picture.pixels, view.picture.pixels_per_mm))


def bare(folder: Path) -> None:
    """Read, detect at full size, one remap of the whole picture, write."""
    card = CARDS["A4"]
    codes = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_1000)
    ids = np.arange(card.first_id, card.first_id + card.columns * card.rows // 2)
    marker = MARKER_SHARE * card.square
    board = cv2.aruco.CharucoBoard((card.columns, card.rows), card.square, marker, codes, ids)
    pixels = cv2.imread(str(folder / "photo.jpg"))
    cv2.aruco.CharucoDetector(board).detectBoard(cv2.cvtColor(pixels, cv2.COLOR_BGR2GRAY))
    rows, columns = pixels.shape[:2]
    u, v = np.meshgrid(np.arange(columns, dtype=np.float32), np.arange(rows, dtype=np.float32))
    cv2.imwrite(str(folder / "bare.png"), cv2.remap(pixels, u + 0.3, v + 0.3, cv2.INTER_LINEAR))


def seconds(work, folder: Path) -> float:
    start = time.perf_counter()
    work(folder)
    return time.perf_counter() - start


def main() -> int:
    """Print the table; 1 where a limit is passed."""
    failed = False
    print(f"{'pixels':>12} {'ours s':>8} {'bare s':>8} {'ratio':>6} {'memory':>7} {'bare':>6}")
    for size in SIZES:
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            photograph(folder, size)
            pairs = [(seconds(ours, folder), seconds(bare, folder)) for _ in range(RUNS)]
            mine, theirs = (statistics.median(side) for side in zip(*pairs, strict=True))
            peak, bare_peak = (memory(side, folder, size) for side in ("ours", "bare"))
        failed |= mine > TIME_LIMIT * theirs or peak > MEMORY_LIMIT
        print(
            f"{size[0] * size[1]:>12,} {mine:>8.2f} {theirs:>8.2f} {mine / theirs:>6.2f} "
            f"{peak:>7.2f} {bare_peak:>6.2f}",
            flush=True,
        )
    print(f"limits: ratio {TIME_LIMIT} at 12 megapixels, memory {MEMORY_LIMIT} decoded pictures at 50")
    return int(failed)


def memory(side: str, folder: Path, size: tuple[int, int]) -> float:
    """Peak of one run above the imports, in decoded pictures."""
    command = [sys.executable, __file__, "--memory", side, str(folder)]
    printed = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    return float(printed) / (3 * size[0] * size[1])


if __name__ == "__main__":
    if sys.argv[1:2] == ["--memory"]:
        held = loaded("bench_rectify", HERE / "bench_rectify.py").held
        import trimgeo.scale

        before = held()
        (ours if sys.argv[2] == "ours" else bare)(Path(sys.argv[3]))
        print(held() - before)
    else:
        sys.exit(main())
