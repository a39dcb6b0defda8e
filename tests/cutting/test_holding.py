"""What stands on the finished board in its case: what was lifted to be refitted, and what was not."""

from __future__ import annotations

from pathlib import Path

import pytest

import trimgeo

JOB = """
job = {{ title = "Low lid" }}
board = {{ thickness = 1.6, edge = [[0, 0], [60, 0], [60, 40], [0, 40]] }}
cutter = {{ kind = "blade", kerf = 0.6 }}
finish = {{ sanding = 0.3 }}
outline = {{ points = [[0, 0], [36, 0], [36, 40], [0, 40]] }}
case = {{ cavity = [[-2, -2], [38, -2], [38, 42], [-2, 42]], gap = 0.5, lid = 5 }}

[[keepout]]
name = "C1"
kind = "component"
polygon = [[{left}, 10], [{left}.5, 10], [{left}.5, 20], [{left}, 20]]
height = 9
may_cut = {may_cut}
"""


@pytest.mark.parametrize(
    ("left", "may_cut", "lifted", "fits"),
    [
        (36, "true", True, True),  # stands on the new edge, comes off and stays off
        (36, "false", True, False),  # must survive: it is refitted, 4 mm higher than the lid
        (20, "true", False, False),  # clear of the cut: it stays
    ],
)
def test_what_is_lifted_and_may_be_lost_is_not_in_the_case_and_what_must_survive_is(
    tmp_path: Path, left: int, may_cut: str, lifted: bool, fits: bool
) -> None:
    """Free height over the top face 5 mm, the part 9 mm high; the board itself has 2 mm all round."""
    (tmp_path / "job.toml").write_text(JOB.format(left=left, may_cut=may_cut), encoding="utf-8")
    plan = trimgeo.plan(trimgeo.prepare(trimgeo.load(tmp_path)))
    fit = plan.holding.fit
    assert [lift.name for lift in plan.lift] == ["C1"] * lifted
    assert fit is not None and fit.spare == pytest.approx(1.5)
    assert fit.fits == fits
    assert fit.too_high == (() if fits else (("C1", pytest.approx(4.0)),))
