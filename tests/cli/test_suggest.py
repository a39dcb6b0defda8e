"""``trimgeo suggest`` as a person calls it."""

from __future__ import annotations

import importlib.util
import json
import subprocess
import sys
import tomllib
from pathlib import Path

import cv2
import pytest

PER_MM = 12.0
JOB = """[job]
title = "drawn board"
[board]
thickness = 1.6
edge = [[0, 0], [{wide}, 0], [{wide}, {tall}], [0, {tall}]]
[[view]]
name = "front"
image = "front.png"
shows = "top"
scale = {{ dpi = {dpi} }}
place = {{ origin = [{ox}, {oy}], along = [{along}, {oy}] }}
[[view]]
name = "inner"
image = "front.png"
shows = 1
scale = {{ dpi = {dpi} }}
[[keepout]]
name = "part-1"
kind = "component"
polygon = [[1, 1], [2, 1], [2, 2]]
[cutter]
kind = "blade"
kerf = 1
[finish]
sanding = 0.3
[outline]
points = [[0, 0], [{wide}, 0], [{wide}, {tall}], [0, {tall}]]
"""


def call(*words: str, folder: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "trimgeo", "suggest", *words], cwd=folder, capture_output=True, text=True
    )


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = Path(__file__).parents[1] / "vision" / "populated.py"
    spec = importlib.util.spec_from_file_location("populated", path)
    assert spec is not None and spec.loader is not None
    populated = importlib.util.module_from_spec(spec)
    sys.modules["populated"] = populated
    spec.loader.exec_module(populated)
    board = populated.populated_board(0)
    made = tmp_path_factory.mktemp("suggest")
    cv2.imwrite(str(made / "front.png"), board.pixels)
    wide, tall = board.edge.bounds[2:]
    (ox, oy), dpi = board.origin, PER_MM * 25.4
    text = JOB.format(wide=wide, tall=tall, dpi=dpi, ox=ox, oy=oy, along=ox + wide * PER_MM)
    (made / "job.toml").write_text(text, encoding="utf-8")
    return made


def test_the_list_says_that_nothing_was_entered_and_nothing_was(folder: Path) -> None:
    before = (folder / "job.toml").read_bytes()
    done = call("job.toml", "--view", "front", folder=folder)
    assert done.returncode == 0, done.stderr
    assert "Nothing was entered into the job" in " ".join(done.stdout.split())
    assert (folder / "job.toml").read_bytes() == before
    assert max(len(line) for line in done.stdout.splitlines()) <= 80


def test_its_tables_are_commented_out_and_read_as_keepouts_once_they_are_not(folder: Path) -> None:
    done = call("job.toml", "--view", "front", folder=folder)
    lines = [line[2:] for line in done.stdout.splitlines() if line.startswith("# ")]
    tables = tomllib.loads("\n".join(lines))["keepout"]
    assert len(tables) > 20 and {table["on"] for table in tables} == {"front"}
    names = [table["name"] for table in tables]
    assert len(set(names)) == len(names) and "part-1" not in names
    joined = (folder / "job.toml").read_text(encoding="utf-8") + "\n" + "\n".join(lines) + "\n"
    (folder / "accepted.toml").write_text(joined, encoding="utf-8")
    again = call("accepted.toml", "--view", "front", "--json", folder=folder)
    assert again.returncode == 0, again.stderr


def test_json_has_positions_in_mm_and_in_pixels_of_the_view(folder: Path) -> None:
    done = call("job.toml", "--view", "front", "--json", folder=folder)
    told = json.loads(done.stdout)
    assert [each["confidence"] for each in told] == sorted((e["confidence"] for e in told), reverse=True)
    first = next(each for each in told if "polygon" in each)
    text = (folder / "job.toml").read_text(encoding="utf-8")
    ox, oy = tomllib.loads(text)["view"][0]["place"]["origin"]
    (x, y), (u, v) = first["polygon"][0], first["pixels"][0]
    # A scan of known pixels per mm: the pixel follows by hand.
    assert abs(u - (ox + x * PER_MM)) < 0.1 and abs(v - (oy - y * PER_MM)) < 0.1
    assert set(first) == {"name", "kind", "polygon", "pixels", "confidence", "traced"}


@pytest.mark.parametrize("view, words", [("inner", "name a view of a face"), ("back", "no view named")])
def test_a_view_of_no_face_is_one_sentence(folder: Path, view: str, words: str) -> None:
    done = call("job.toml", "--view", view, folder=folder)
    assert done.returncode == 2 and not done.stdout
    assert words in done.stderr and len(done.stderr.splitlines()) == 1
