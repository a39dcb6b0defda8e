"""Whole commands against the bare library calls, as processes.  Run: python tests/bench/bench_commands.py"""

from __future__ import annotations

import random
import tempfile
from pathlib import Path

import timing

SAMPLE = Path(__file__).parent.parent.parent / "samples" / "greenhouse"

BARE_CHECK = """
import sys, tomllib
import numpy as np, shapely
with open(sys.argv[1], "rb") as file:
    job = tomllib.load(file)
areas = shapely.polygons([shapely.linearrings(np.array(k["polygon"])) for k in job["keepout"]])
ring = shapely.linearrings(np.array(job["outline"]["points"]))
print(shapely.distance(areas, ring).min())
"""

BARE_RUN = """
import sys
from pathlib import Path
import click, cv2, ezdxf, jinja2, numpy, PIL.Image, pydantic
import reportlab.pdfgen.canvas, shapely, svgwrite, tomlkit
for name in sys.argv[1:]:
    pixels = cv2.imdecode(numpy.fromfile(name, numpy.uint8), cv2.IMREAD_COLOR)
    cv2.imencode(".png", pixels)
"""


def many_keepouts(path: Path, count: int) -> None:
    """A job of ``count`` keep-outs of 12 points and an outline of 12 corners."""
    draw = random.Random(1)
    lines = ['[job]\ntitle = "many"', "[board]\nthickness = 1.6\nlayers = 4"]
    lines.append("edge = [[0, 0], [400, 0], [400, 300], [0, 300]]")
    lines.append('[cutter]\nkind = "blade"\nkerf = 1.0\n[finish]\nsanding = 0.3')
    corners = [[10, 10], [200, 20], [390, 10], [380, 80], [390, 150], [385, 220], [390, 290], [300, 280]]
    corners += [[200, 290], [10, 290], [20, 200], [10, 100]]
    lines.append(f"[outline]\npoints = {corners}")
    for n in range(count):
        x, y = draw.uniform(25, 370), draw.uniform(25, 270)
        points = [[round(x + a, 3), round(y + b, 3)] for a, b in STAR]
        lines.append(f'[[keepout]]\nname = "K{n}"\nkind = "copper"\nlayers = [2]\npolygon = {points}')
    path.write_text("\n".join(lines), encoding="utf-8")


STAR = [[2, 0], [1.2, 0.6], [1, 1.7], [0, 1.2], [-1, 1.7], [-1.2, 0.6]]
STAR += [[-2, 0], [-1.2, -0.6], [-1, -1.7], [0, -1.2], [1, -1.7], [1.2, -0.6]]


def main() -> None:
    print(timing.HEAD)
    help_words, bare_words = ["-m", "trimgeo", "--help"], ["-c", "import click"]
    ours, bare = timing.in_turn(timing.process(*help_words), timing.process(*bare_words), 15)
    print(timing.row("trimgeo --help / import click", ours, bare, 1.5))
    with tempfile.TemporaryDirectory() as folder:
        job = Path(folder) / "job.toml"
        many_keepouts(job, 10_000)
        ours, bare = timing.in_turn(
            timing.process("-m", "trimgeo", "check", str(job)), timing.process("-c", BARE_CHECK, str(job))
        )
        print(timing.row("check, 10,000 keep-outs / tomllib + polygons + distance", ours, bare, 3.0))
        pictures = sorted(str(p) for p in SAMPLE.glob("*.png"))
        run = [
            "-m",
            "trimgeo",
            "run",
            str(SAMPLE),
            "--variant",
            "display",
            "--out",
            str(Path(folder) / "out"),
        ]
        ours, bare = timing.in_turn(timing.process(*run), timing.process("-c", BARE_RUN, *pictures))
        print(timing.row("run on the sample / imports + decode + encode", ours, bare, 3.0))


if __name__ == "__main__":
    main()
