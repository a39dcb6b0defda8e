"""All variants of a job at once."""

from __future__ import annotations

from pathlib import Path

import pytest

import trimgeo
from trimgeo.jobfile import load, load_variants

JOB = """[job]
title = "t"
variants = ["a", "b"]
[board]
thickness = 1.6
edge = [[0, 0], [60, 0], [60, 40], [0, 40]]
[[keepout]]
name = "both"
kind = "other"
polygon = [[1, 1], [5, 1], [5, 5]]
[[keepout]]
name = "one"
kind = "other"
variants = ["a"]
polygon = [[11, 1], [15, 1], [15, 5]]
[[keepout]]
name = "one"
kind = "other"
variants = ["b"]
polygon = [[21, 1], [25, 1], [25, 5]]
[[lift]]
name = "one"
variants = ["b"]
polygon = [[11, 1], [15, 1], [15, 5]]
"""


def test_each_variant_is_what_load_gives_and_together_keeps_everything(tmp_path: Path) -> None:
    (tmp_path / "job.toml").write_text(JOB, encoding="utf-8")
    each, together = load_variants(tmp_path)
    assert each == (load(tmp_path, "a"), load(tmp_path, "b"))
    assert [len(keepout.polygon or ()) for keepout in together.keepout] == [3, 3, 3]
    assert together.variant is None and not together.lift and not together.part
    assert len(trimgeo.prepare(together).keepouts) == 3


def test_a_job_without_variants_is_refused(tmp_path: Path) -> None:
    (tmp_path / "job.toml").write_text(JOB.split("[[keepout]]")[0].replace('variants = ["a", "b"]', ""))
    with pytest.raises(trimgeo.JobError, match="no variants"):
        load_variants(tmp_path)
