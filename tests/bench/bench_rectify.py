"""`rectify` of a scan against bare OpenCV: read, warp, write.

Run as ``python tests/bench/bench_rectify.py``.  Both sides are timed in turn in the same run, medians
of seven.  Memory: each side once in a process of its own; what it holds at most (VmHWM) less
what the same process holds after its imports, over the bytes of the decoded picture.
"""

from __future__ import annotations

import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np

import trimgeo.scale  # noqa: F401  imported here so that the memory baseline has it
from trimgeo.drawing.png import encode_png
from trimgeo.model.capture import DpiScale, OriginPlace, ViewTable
from trimgeo.model.job import About, BoardTable, Job
from trimgeo.scale import read_views

RUNS = 7
SIZES = ((1750, 1250), (3500, 2500), (7000, 5000))
TIME_LIMIT, MEMORY_LIMIT = 1.5, 5.0


def draw_scan(columns: int, rows: int) -> np.ndarray:
    """A scan of smooth patches with the noise of a sensor."""
    random = np.random.default_rng(1)
    patches = random.integers(0, 255, (rows // 50, columns // 50, 3), dtype=np.uint8)
    smooth = cv2.resize(patches, (columns, rows), interpolation=cv2.INTER_CUBIC).astype(np.int16)
    return np.clip(smooth + random.normal(0, 3, smooth.shape).astype(np.int16), 0, 255).astype(np.uint8)


def job_for(picture: Path, columns: int, rows: int) -> Job:
    """A scan that lies a little skew."""
    place = OriginPlace(origin=(40, rows - 40), along=(columns - 40, rows - 40 - columns // 100))
    view = ViewTable(name="top", image=picture.name, shows="top", scale=DpiScale(dpi=300.0), place=place)
    board = BoardTable(thickness=1.6, edge=((0, 0), (10, 0), (10, 10)))
    return Job(job=About(title="bench"), board=board, view=(view,), folder=picture.parent)


def ours(picture: Path, columns: int, rows: int) -> None:
    """The whole picture at true scale, written with its resolution."""
    (view,) = read_views(job_for(picture, columns, rows), None)
    data = encode_png(view.picture.pixels, view.picture.pixels_per_mm)
    picture.with_name("ours.png").write_bytes(data)


def bare(picture: Path, columns: int, rows: int) -> None:
    """The same picture through OpenCV alone, with the same map and size."""
    (view,) = read_views(job_for(picture, columns, rows), None)
    _, to_board, frame, _ = view.picture.render.args  # type: ignore[attr-defined]
    matrix = np.linalg.inv(to_board.matrix) @ frame
    pixels = cv2.imread(str(picture))
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    cv2.imwrite(
        str(picture.with_name("bare.png")),
        cv2.warpPerspective(pixels, matrix, view.picture.size, flags=flags),
    )


def seconds(work: Callable[[Path, int, int], None], picture: Path, columns: int, rows: int) -> float:
    """Wall time of one run."""
    start = time.perf_counter()
    work(picture, columns, rows)
    return time.perf_counter() - start


def held() -> float:
    """Bytes that this process has held at most: Linux counts ``ru_maxrss`` from the parent's, so not that."""
    status = Path("/proc/self/status")
    if status.exists():
        (line,) = [line for line in status.read_text().splitlines() if line.startswith("VmHWM")]
        return int(line.split()[1]) * 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * (1 if sys.platform == "darwin" else 1024)


def memory(side: str, picture: Path, columns: int, rows: int) -> float:
    """Peak of one run above the imports, in decoded pictures."""
    command = [sys.executable, __file__, "--memory", side, str(picture), str(columns), str(rows)]
    printed = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    return float(printed) / (3 * columns * rows)


def main() -> int:
    """Print the table; 1 where a limit is passed."""
    failed = False
    print(f"{'pixels':>12} {'format':>6} {'ours s':>8} {'bare s':>8} {'ratio':>6} {'memory':>7} {'bare':>6}")
    growth: dict[str, list[tuple[int, float]]] = {}
    with tempfile.TemporaryDirectory() as folder:
        for columns, rows in SIZES:
            scan = draw_scan(columns, rows)
            for form in ("png", "jpg"):
                picture = Path(folder) / f"scan.{form}"
                cv2.imwrite(str(picture), scan)
                pairs = [
                    (seconds(ours, picture, columns, rows), seconds(bare, picture, columns, rows))
                    for _ in range(RUNS)
                ]
                mine, theirs = (statistics.median(side) for side in zip(*pairs, strict=True))
                peak, bare_peak = (memory(side, picture, columns, rows) for side in ("ours", "bare"))
                growth.setdefault(form, []).append((columns * rows, mine))
                if (columns, rows) == SIZES[-1]:
                    failed |= mine > TIME_LIMIT * theirs or peak > MEMORY_LIMIT
                print(
                    f"{columns * rows:>12,} {form:>6} {mine:>8.2f} {theirs:>8.2f} {mine / theirs:>6.2f} "
                    f"{peak:>7.2f} {bare_peak:>6.2f}",
                    flush=True,
                )
    for form, times in growth.items():
        slope = np.polyfit(*np.log(np.array(times)).T, 1)[0]
        print(f"{form}: time grows with the pixels to the power {slope:.2f}")
    print(f"limits at 35 megapixels: ratio {TIME_LIMIT}, memory {MEMORY_LIMIT} decoded pictures")
    return int(failed)


if __name__ == "__main__":
    if sys.argv[1:2] == ["--memory"]:
        _, _, side, name, columns, rows = sys.argv
        before = held()
        (ours if side == "ours" else bare)(Path(name), int(columns), int(rows))
        print(held() - before)
    else:
        sys.exit(main())
