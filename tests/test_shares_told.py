"""Where no outline can be built, the refusal names the views whose bound has a share in it, and why."""

from __future__ import annotations

from pathlib import Path

import pytest
from PIL import Image

import trimgeo
from trimgeo import choosing

JOB = """
job = {{ title = "Tray" }}
board = {{ thickness = 1.6, edge = [[0, 0], [100, 0], [100, 70], [0, 70]] }}
cutter = {{ kind = "blade", kerf = 0.6 }}
finish = {{ sanding = 0.3 }}
outline = {{ build = "smallest" }}
case = {{ cavity = [[0, 0], [{wide}, 0], [{wide}, 60], [0, 60]], gap = 0.3 }}
[[keepout]]
name = "U1"
kind = "component"
polygon = [[300, 400], [500, 400], [500, 600], [300, 600]]
on = "scan"
[[view]]
name = "scan"
image = "scan.png"
shows = "top"
scale = {{ dpi = 254 }}
place = {{ origin = [0, 699], along = [999, 699] }}
checks = [{{ from = [100, 100], to = [900, 100], length = {length} }}]
"""


def refused(folder: Path, wide: float, length: float) -> str:
    """The refusal of a scan of 10 pixels per mm with U1 from x = 30 to 50 and a length of 80 mm on it."""
    Image.new("RGB", (1000, 700), "white").save(folder / "scan.png")
    (folder / "job.toml").write_text(JOB.format(wide=wide, length=length), encoding="utf-8")
    board = trimgeo.prepare(trimgeo.load(folder))
    with pytest.raises(trimgeo.NoOutlineError) as plain:
        trimgeo.plan(board)
    with pytest.raises(trimgeo.NoOutlineError) as offered:
        list(trimgeo.outlines(board))
    assert str(plain.value) == str(offered.value)
    return str(plain.value)


def test_a_wide_bound_of_a_view_is_named_with_its_cause(tmp_path: Path) -> None:
    said = refused(tmp_path, 51.5, 77.0)  # 4 % short: U1's corner, some 60 mm away, is good to 2 mm
    assert '"U1"' in said
    assert said.count("view scan has a share in it, its positions being within ") == 1
    assert "check 1 of 77 mm measures 80.00 mm in the picture" in said


def test_a_narrow_bound_of_a_view_is_not(tmp_path: Path) -> None:
    assert "share in it" not in refused(tmp_path, 50.5, 80.0)


def test_a_case_in_inches_is_named_in_warnings_and_refusal(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def none_found(*_: object) -> None:
        raise trimgeo.NoOutlineError("no outline")

    monkeypatch.setattr(choosing, "building", none_found)  # the search of so small a case takes minutes
    text = JOB.replace(", 60], [0, 60]]", ", 2.4], [0, 2.4]]")
    Image.new("RGB", (1000, 700), "white").save(tmp_path / "scan.png")
    (tmp_path / "job.toml").write_text(text.format(wide=2.4, length=80.0), encoding="utf-8")
    board = trimgeo.prepare(trimgeo.load(tmp_path))
    told = "the case's cavity is 2.4 x 2.4 mm: lengths are millimetres, 25.4 to an inch"
    assert told in board.warnings
    with pytest.raises(trimgeo.NoOutlineError) as refused:
        trimgeo.plan(board)
    assert str(refused.value) == f"no outline; {told}"
