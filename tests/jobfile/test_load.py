"""A job file becomes frozen values: what is read, what is kept for a variant, what is left alone."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from trimgeo.errors import JobError
from trimgeo.jobfile import load, need
from trimgeo.model.capture import DpiScale, PointsScale
from trimgeo.model.case import ShapeFile
from trimgeo.model.job import CutCount

PLAIN = """
[job]
title = "Plain"
[board]
thickness = 1.6
edge = [[0, 0], [100, 0], [100, 80.5], [0, 80.5]]
"""

FULL = """
[job]
title = "Full"
revision = "B"
variants = ["display", "blind"]
[board]
thickness = 1.6
layers = 4
depths = [0, 0.2, 1.4, 1.6]
edge = { file = "edge.dxf", layer = "EDGE" }
[[board.holes]]
name = "H1"
at = [3, 3]
diameter = 3.2
plated = false
on = "top"
[[view]]
name = "top"
image = "top.png"
shows = "top"
scale = { points = [{ pixel = [0, 0], at = [0, 0] }, { pixel = [100, 0], at = [10, 0] }] }
place = { origin = [0, 100], along = [100, 100] }
checks = [{ from = [0, 0], to = [50, 0], length = 5 }]
[[view]]
name = "inner"
image = "inner.png"
shows = 2
scale = { dpi = [300, 301] }
[[keepout]]
name = "U1"
kind = "component"
polygon = [[1, 1], [5, 1], [5, 5]]
height = 2
variants = ["display"]
on = "top"
[[keepout]]
name = "T1"
kind = "trace"
path = { points = [[1, 1], [5, 1]], width = 0.2 }
layers = [2, 3]
net = "GND"
clearance = 0.8
may_cut = true
[[keepout]]
name = "V1"
kind = "via"
circle = { at = [7, 7], diameter = 0.6 }
variants = ["blind"]
[[keepouts]]
file = "more.svg"
layer = "PARTS"
kind = "component"
[[lift]]
name = "J1"
polygon = [[1, 1], [5, 1], [5, 5]]
face = "bottom"
[[part]]
name = "J2"
circle = { at = [7, 7], diameter = 6 }
variants = ["blind"]
[cutter]
kind = "bit"
kerf = 1.0
[finish]
sanding = 0
[clearance]
trace = 1
[placing]
print = 0.2
[outline]
build = { cuts = 3 }
gain = 20
[sheet]
paper = "letter"
stretch = [0.99, 1.01]
[[probe]]
name = "TP1"
at = [4, 4]
face = "top"
rail = "3V3"
"""


def written(folder: Path, text: str | bytes) -> Path:
    file = folder / "job.toml"
    file.write_bytes(text if isinstance(text, bytes) else text.encode())
    return file


def test_a_file_and_the_folder_that_holds_it_mean_the_same_job(tmp_path: Path) -> None:
    file = written(tmp_path, PLAIN)
    assert load(file) == load(tmp_path) == load(str(file))
    assert load(tmp_path).folder == tmp_path


def test_a_short_job_gets_the_defaults_of_the_contract(tmp_path: Path) -> None:
    job = load(written(tmp_path, PLAIN))
    assert job.board.layers == 2
    assert job.board.edge == ((0.0, 0.0), (100.0, 0.0), (100.0, 80.5), (0.0, 80.5))
    assert (job.placing.print, job.placing.taping, job.placing.finish) == (0.10, 0.15, 0.10)
    assert (job.sheet.paper, job.sheet.stretch) == ("A4", None)
    assert (job.view, job.keepout, job.outline, job.cutter, job.variant) == ((), (), None, None, None)
    cut = load(written(tmp_path, PLAIN + '[cutter]\nkind = "blade"\nkerf = 1\n'))
    assert need(cut, "cutter").wander == 0.3
    assert need(cut, "cutter").breakthrough == 0.5


def test_every_key_of_the_issue_is_read(tmp_path: Path) -> None:
    job = load(written(tmp_path, FULL), variant="display")
    assert job.job.revision == "B"
    assert job.board.depths == (0.0, 0.2, 1.4, 1.6)
    assert job.board.edge == ShapeFile(file="edge.dxf", layer="EDGE")
    assert job.board.holes[0].on == "top"
    assert isinstance(job.view[0].scale, PointsScale)
    assert job.view[0].checks[0].from_ == (0.0, 0.0)
    assert isinstance(job.view[1].scale, DpiScale)
    assert job.view[1].scale.dpi == (300.0, 301.0)
    assert job.view[1].shows == 2
    assert job.keepout[1].clearance == 0.8
    assert job.keepout[1].may_cut
    assert job.keepouts[0].layer == "PARTS"
    assert job.lift[0].face == "bottom"
    assert job.clearance.trace == 1
    assert job.outline is not None
    assert job.outline.build == CutCount(cuts=3)
    assert job.sheet.stretch == (0.99, 1.01)
    assert job.probe[0].rail == "3V3"


@pytest.mark.parametrize(
    ("variant", "keepouts", "parts"), [("display", ["U1", "T1"], []), ("blind", ["T1", "V1"], ["J2"])]
)
def test_a_variant_keeps_what_names_it_and_what_names_none(
    tmp_path: Path, variant: str, keepouts: list[str], parts: list[str]
) -> None:
    job = load(written(tmp_path, FULL), variant=variant)
    assert [each.name for each in job.keepout] == keepouts
    assert [each.name for each in job.part] == parts
    assert [each.name for each in job.lift] == ["J1"]
    assert job.variant == variant


def test_one_name_may_stand_for_another_shape_in_another_variant(tmp_path: Path) -> None:
    twice = (
        FULL
        + """
[[keepout]]
name = "U1"
kind = "component"
polygon = [[1, 1], [9, 1], [9, 9]]
variants = ["blind"]
"""
    )
    wide = next(k for k in load(written(tmp_path, twice), variant="blind").keepout if k.name == "U1")
    assert wide.polygon is not None
    assert wide.polygon[1] == (9.0, 1.0)


@pytest.mark.parametrize(
    "text",
    [
        PLAIN.replace("\n", "\r\n"),
        "\ufeff" + PLAIN,
        PLAIN.replace("1.6", "16e-1"),
        PLAIN.replace("100", "100.0").replace("[0, 0]", "[ 0x0 , +0 ]"),
        "# a note\n\n" + PLAIN.replace('"Plain"', "'Plain'  # another"),
    ],
)
def test_ways_of_writing_change_nothing(tmp_path: Path, text: str) -> None:
    expected = load(written(tmp_path, PLAIN))
    assert load(written(tmp_path, text)) == expected


def test_odd_names_are_only_names(tmp_path: Path) -> None:
    folder = tmp_path / "Größe 基板 'x' [1] %s ~"
    folder.mkdir()
    title = "Ωmega — 板 \U0001f527 e\u0301 \u200f"
    job = load(written(folder, PLAIN.replace("Plain", title)))
    assert job.job.title == title


def test_a_table_that_is_needed_and_absent_is_named_with_an_example(tmp_path: Path) -> None:
    job = load(written(tmp_path, PLAIN))
    for table, example in (("cutter", "kerf = 1.0"), ("finish", "sanding = 0.3"), ("outline", "build = ")):
        with pytest.raises(JobError, match=rf"found no \[{table}\]; add an? \[{table}\].*{example}"):
            need(job, table)  # type: ignore[call-overload]


def test_reading_jobs_is_imported_without_the_geometry_library() -> None:
    code = "import sys, trimgeo.jobfile; print({'shapely', 'cv2', 'tomlkit', 'ezdxf'} & set(sys.modules))"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "set()"
