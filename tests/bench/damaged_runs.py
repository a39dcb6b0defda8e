"""Whole runs of damaged jobs: a right answer, or exit 2 with one sentence and nothing written.

Run: python tests/bench/damaged_runs.py [COUNT]
"""

from __future__ import annotations

import contextlib
import io
import json
import random
import re
import sys
import tempfile
from pathlib import Path

from trimgeo.cli import main

JOB = """
[job]
title = "Damaged"
revision = "A"
[board]
thickness = 1.6
layers = 4
depths = [0.0, 0.4, 1.2, 1.6]
edge = [[0, 0], [80, 0], [80, 20], [70, 20], [70, 30], [80, 30], [80, 60], [0, 60]]
holes = [
    { name = "H1", at = [4, 4], diameter = 3.2 },
    { name = "H2", at = [76, 56], diameter = 3, plated = false },
]
[[keepout]]
name = "U1"
kind = "component"
polygon = [[10, 10], [24, 10], [24, 22], [10, 22]]
height = 3.0
[[keepout]]
name = "T1"
kind = "trace"
layers = [2]
net = "CLK"
path = { points = [[20, 30], [36, 34], [38, 44]], width = 0.3 }
[[keepout]]
name = "GND"
kind = "copper"
layers = [3]
net = "GND"
may_cut = true
polygon = [[2, 2], [70, 2], [70, 58], [2, 58]]
[[keepout]]
name = "V1"
kind = "via"
circle = { at = [30, 40], diameter = 0.8 }
[[part]]
name = "R1"
circle = { at = [45, 30], diameter = 8 }
height = 5
[[lift]]
name = "BT1"
polygon = [[50, 5], [60, 5], [60, 15], [50, 15]]
face = "bottom"
[cutter]
kind = "wheel"
kerf = 1.0
diameter = 38
wander = 0.3
[finish]
sanding = 0.5
[placing]
print = 0.1
[outline]
points = [[0, 0], [44, 0], [44, 40], [40, 52], [40, 60], [0, 60]]
[[probe]]
name = "P1"
at = [12, 30]
face = "top"
rail = "3V3"
"""

WORDS = [
    "-1",
    "0",
    "1e9",
    "1e-9",
    "nan",
    "inf",
    "true",
    '"x"',
    "[]",
    "[[1, 2]]",
    "{}",
    "99999999999999999999",
    '"Ω\\n"',
]


def damaged(draw: random.Random) -> str:
    """The job with one to three slips: numbers, words, lines."""
    text = JOB
    for _ in range(draw.choice([1, 1, 1, 2, 3])):
        how = draw.choice(["number"] * 12 + ["word", "key", "drop", "twice", "cut", "swap", "byte"])
        if how in ("number", "word"):
            found = list(re.finditer(r"(?<![A-Za-z\"])-?\d+(\.\d+)?", text))
            if not found:
                continue
            at = draw.choice(found)
            slip = float(at[0]) * draw.choice([1.01, 0.98, 1.1, 0.9, 1.5, -1.0]) + draw.choice([0, 0, 0.3, 5])
            new = draw.choice(WORDS) if how == "word" else f"{slip:.3f}"
            text = text[: at.start()] + new + text[at.end() :]
        elif how == "byte":
            at_byte = draw.randrange(len(text))
            text = text[:at_byte] + draw.choice("\0\"'[]{}=,.#\n\t€") + text[at_byte + 1 :]
        else:
            lines = text.splitlines() or [""]
            n = draw.randrange(len(lines))
            if how == "key":
                lines[n] = lines[n].replace("=", "_x =", 1)
            elif how == "drop":
                del lines[n]
            elif how == "twice":
                lines.insert(n, lines[n])
            elif how == "swap":
                m = draw.randrange(len(lines))
                lines[n], lines[m] = lines[m], lines[n]
            else:
                lines = lines[: n + 1]
            text = "\n".join(lines)
    return text


def outcome(text: str, folder: Path) -> int:
    """Exit status of a whole run; raises AssertionError where it breaks a promise."""
    folder.mkdir()
    (folder / "job.toml").write_bytes(text.encode("utf-8", "replace"))
    said, errors = io.StringIO(), io.StringIO()
    out = folder / "out"
    with contextlib.redirect_stdout(said), contextlib.redirect_stderr(errors):
        try:
            main(["run", str(folder), "--out", str(out), "--json"])
        except SystemExit as ended:
            status = ended.code
    if status in (0, 1) and out.exists():
        report = json.loads(said.getvalue())
        assert report == json.loads((out / "report.json").read_text("utf-8"))
        assert (status == 1) == any(r["state"] == "breached" for r in report["clearance"]["keepouts"])
    else:
        assert status in (1, 2), f"status {status}: {errors.getvalue()}"
        assert said.getvalue() == "" and not out.exists()
        assert errors.getvalue().count("\n") == 1 and errors.getvalue().endswith("\n"), errors.getvalue()
    assert "Traceback" not in errors.getvalue()
    return int(status or 0)


def damaged_runs(count: int, seed: int = 1) -> dict[int, int]:
    """How many of ``count`` damaged jobs ended in each status."""
    draw = random.Random(seed)
    tally = {0: 0, 1: 0, 2: 0}
    with tempfile.TemporaryDirectory() as name:
        for n in range(count):
            text = damaged(draw)
            try:
                tally[outcome(text, Path(name) / str(n))] += 1
            except AssertionError:
                print(text, file=sys.stderr)
                raise
    return tally


if __name__ == "__main__":
    found = damaged_runs(int(sys.argv[1]) if len(sys.argv) > 1 else 500)
    total = sum(found.values())
    print(f"{total} damaged jobs: {found[0]} answered, {found[1]} breached or no outline, {found[2]} refused")
