"""What a command cannot do without is named with the file, the table and an example."""

from __future__ import annotations

from pathlib import Path

import pytest

from trimgeo.errors import JobError
from trimgeo.jobfile import load, need, need_case, need_to_cut

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


def loaded(folder: Path, text: str):
    (folder / "job.toml").write_text(JOB + text, encoding="utf-8")
    return load(folder / "job.toml")


def test_the_fewest_cuts_are_not_asked_for_without_a_case(tmp_path: Path) -> None:
    line = '[outline]\nbuild = "fewest"\n'
    with pytest.raises(
        JobError, match=r'\[outline\], build: found "fewest" without a \[case\]; add a \[case\]'
    ):
        need_case(loaded(tmp_path, line))
    need_case(loaded(tmp_path, line + "[case]\ncavity = [[0, 0], [90, 0], [90, 70]]\ngap = 0.3\n"))
    need_case(loaded(tmp_path, '[outline]\nbuild = "smallest"\n'))


def test_wishes_for_a_built_outline_have_their_defaults_and_need_one_that_is_built(tmp_path: Path) -> None:
    asked = need(loaded(tmp_path, "[outline]\nbuild = { cuts = 4 }\n"), "outline")
    assert (asked.allow_inside_corners, asked.neck, asked.round, asked.gain) == (True, 5.0, None, None)
    given = "[outline]\npoints = [[0, 0], [9, 0], [9, 9]]\n"
    assert need(loaded(tmp_path, given + "neck = 3\n"), "outline").neck == 3.0
    for key in ("round = 0.5", "allow_inside_corners = false", "gain = 5"):
        with pytest.raises(JobError, match=rf"\[outline\], {key.split()[0]}: found it without build"):
            loaded(tmp_path, given + key + "\n")
