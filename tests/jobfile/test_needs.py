"""What a command cannot do without is named with the file, the table and an example."""

from __future__ import annotations

from pathlib import Path

import pytest

from trimgeo.errors import JobError
from trimgeo.jobfile import load, need, need_to_cut

JOB = """[job]
title = "t"
[board]
thickness = 1.6
edge = [[0, 0], [100, 0], [100, 80], [0, 80]]
"""


def said(folder: Path, text: str) -> str:
    (folder / "job.toml").write_text(JOB + text, encoding="utf-8")
    with pytest.raises(JobError) as caught:
        need_to_cut(load(folder / "job.toml"))
    return str(caught.value)


def test_how_wide_a_wheel_cuts_is_known_without_its_diameter(tmp_path: Path) -> None:
    (tmp_path / "job.toml").write_text(JOB + '[cutter]\nkind = "wheel"\nkerf = 1.0\n', encoding="utf-8")
    assert need(load(tmp_path / "job.toml"), "cutter").kerf == 1.0


def test_a_missing_table_is_named_with_an_example(tmp_path: Path) -> None:
    assert "found no [cutter]; add a [cutter] table, such as kind" in said(tmp_path, "")


def test_a_wheel_without_its_diameter_is_found_in_its_file(tmp_path: Path) -> None:
    text = said(tmp_path, '[cutter]\nkind = "wheel"\nkerf = 1.0\n')
    assert "job.toml, [cutter], diameter: found a wheel without its diameter" in text


def test_a_wheel_must_pass_the_far_face(tmp_path: Path) -> None:
    # Thickness 1.6 and breakthrough 0.5 make 2.1 mm: the radius of the smallest wheel.
    wheel = '[cutter]\nkind = "wheel"\nkerf = 1.0\ndiameter = '
    assert "use a wheel of at least 4.2 mm" in said(tmp_path, wheel + "4.1\n")
    (tmp_path / "job.toml").write_text(JOB + wheel + "4.2\n", encoding="utf-8")
    assert need(load(tmp_path / "job.toml"), "cutter").diameter == 4.2
