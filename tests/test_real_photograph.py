"""The whole job on a real photograph, which may not be shipped: it is read from beside the checkout.

Positions of leads by eye, and their pitches (JEDEC MS-001: 2.54 mm; JEDEC MS-022, from memory: 0.65 mm).
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pypdfium2
import pytest

PHOTO = Path(__file__).parent.parent.parent / "shared" / "photos" / "board.jpg"
DUAL_IN_LINE = ([62.5, 104.8], [160.0, 104.3], 6 * 2.54)
QUAD_FLAT = ([361.0, 315.0], [484.8, 315.0], 29 * 0.65)

pytestmark = pytest.mark.skipif(not PHOTO.is_file(), reason="the photograph is not beside the checkout")


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("photo")
    checks = ", ".join(
        f"{{ from = {a}, to = {b}, length = {length} }}" for a, b, length in (DUAL_IN_LINE, QUAD_FLAT)
    )
    (folder / "job.toml").write_text(
        f"""
[job]
title = "Part of a real board"
[board]
thickness = 1.6
edge = [[-8, -55], [85, -55], [85, 14], [-8, 14]]
[[view]]
name = "photo"
image = '{PHOTO.as_posix()}'
shows = "top"
scale = {{ points = [{{ pixel = {DUAL_IN_LINE[0]}, at = [0, 0] }},
                     {{ pixel = {DUAL_IN_LINE[1]}, at = [{DUAL_IN_LINE[2]}, 0] }}] }}
checks = [{checks}]
[[keepout]]
name = "quad flat part"
kind = "component"
on = "photo"
polygon = [[340, 298], [506, 298], [506, 425], [340, 425]]
height = 3
[cutter]
kind = "wheel"
kerf = 1.0
diameter = 38
[finish]
sanding = 0.5
[outline]
on = "photo"
points = [[300, 250], [545, 250], [545, 440], [300, 440]]
""",
        encoding="utf-8",
    )
    return folder


def _call(*words: str | Path) -> str:
    done = subprocess.run([sys.executable, "-m", "trimgeo", *map(str, words)], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_two_pitches_come_out_as_checks_and_disagree_by_under_three_percent(job: Path) -> None:
    report = json.loads(_call("check", job, "--json"))
    (view,) = report["views"]
    one, other = view["checks"]
    assert one["length_mm"] == pytest.approx(15.24) and abs(one["error_mm"]) < 1e-6
    assert other["length_mm"] == pytest.approx(18.85) and 0 < abs(other["error_mm"]) < 0.03 * 18.85
    # By hand: 123.8 pixels at 15.24 mm for 97.50 pixels.
    assert other["measured_mm"] == pytest.approx(123.8 * 15.24 / 97.5013, abs=1e-3)
    # What the check shows enters the bound: 0.5 mm over 18.85 mm is far more over the board.
    assert view["uncertainty_mm"] > abs(other["error_mm"])
    assert any("photo" in warning for warning in report["warnings"])


def test_an_outline_marked_on_it_is_checked(job: Path) -> None:
    report = json.loads(_call("check", job, "--json"))
    assert len(report["outline"]["cuts"]) == 4
    row = report["clearance"]["minimum"]
    # The part's lower edge is 15 pixels above the outline's, by the scale of the dual-in-line part.
    assert row["nominal_mm"] == pytest.approx(15 * 15.24 / 97.5013, rel=0.01)


def test_its_template_is_printed_and_its_overlay_drawn(job: Path, tmp_path: Path) -> None:
    _call("run", job, "--out", tmp_path / "out")
    assert len(pypdfium2.PdfDocument(tmp_path / "out" / "template.pdf")) >= 2
    assert (tmp_path / "out" / "overlay-photo.png").stat().st_size > 10_000
