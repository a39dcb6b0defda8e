"""``trimgeo outline``: pictures of the trade, of the proof and of a refusal; variants side by side."""

from __future__ import annotations

import json
import subprocess
import sys
import xml.etree.ElementTree as ET
from pathlib import Path

import pypdfium2
import pytest
import shapely
from shapely import Polygon, affinity

JOB = """[job]
title = "Two lives"
variants = ["long", "short"]
[board]
thickness = 1.6
edge = [[0, 0], [100, 0], [100, 50], [0, 50]]
[[keepout]]
name = "U1"
kind = "component"
polygon = [[10, 10], [30, 10], [30, 20], [10, 20]]
[[keepout]]
name = "U2"
kind = "component"
variants = ["long"]
polygon = [[60, 10], [70, 10], [70, 20], [60, 20]]
[[keepout]]
name = "U3"
kind = "component"
variants = ["short"]
polygon = [[10, 30], [20, 30], [20, 40], [10, 40]]
[[lift]]
name = "U2"
variants = ["short"]
polygon = [[60, 10], [70, 10], [70, 20], [60, 20]]
[cutter]
kind = "blade"
kerf = 1.0
[finish]
sanding = 0.3
[outline]
build = { cuts = 2 }
"""
CASE = "[case]\ncavity = [[-1, -1], [65, -1], [65, 51], [-1, 51]]\ngap = 0.3\n"


def call(*words: str | Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "trimgeo", "outline", *map(str, words)],
        capture_output=True,
        text=True,
        encoding="utf-8",
    )


@pytest.fixture
def job(tmp_path: Path) -> Path:
    path = tmp_path / "job.toml"
    path.write_text(JOB, encoding="utf-8")
    return path


def said(svg: Path) -> str:
    return " ".join(node.text or "" for node in ET.parse(svg).iter("{http://www.w3.org/2000/svg}text"))


def test_pictures_of_trade_and_proof_are_written_beside_the_table(job: Path, tmp_path: Path) -> None:
    trade, proof = tmp_path / "trade.svg", tmp_path / "proof.pdf"
    done = call(job, "--variant", "long", "--picture", trade, "--proof", proof)
    assert done.returncode == 0, done.stderr
    assert "Wrote trade.svg, proof.pdf." in done.stdout and "cuts   area" in done.stdout
    text = said(trade)
    assert "Two lives, variant long" in text and "chosen" in text and "2 cuts" in text
    page = pypdfium2.PdfDocument(proof)[0].get_textpage().get_text_range()
    assert "The fewest new cuts found: 0" in page or "Nothing has to be cut" in page


def test_a_refusal_is_drawn_where_a_proof_is_asked_for_and_ends_in_1(job: Path, tmp_path: Path) -> None:
    job.write_text(JOB + CASE, encoding="utf-8")
    picture = tmp_path / "why.svg"
    done = call(job, "--variant", "long", "--proof", picture)
    assert done.returncode == 1 and done.stderr.count("\n") == 1
    assert '"U2"' in done.stderr
    text = said(picture)
    assert "No outline" in text and '"U2"' in text and "times as large as the board" in text
    # U2 ends at x = 70, 0.91 mm are kept clear around it (0.5 + 2 * sqrt(0.1² + 0.15² + 0.1²)); the wall is
    # at 65 and its gap 0.3: 70.91 - 64.7 = 6.21 mm (JCGM 100).
    assert "6.21 mm" in text


def test_a_part_too_high_for_the_lid_is_said_below_the_trade(job: Path) -> None:
    tall = JOB.replace('name = "U1"\nkind = "component"', 'name = "U1"\nheight = 20\nkind = "component"')
    job.write_text(tall + "[case]\ncavity = [[-1, -1], [101, -1], [101, 51], [-1, 51]]\ngap = 0.3\nlid = 8\n")
    done = call(job, "--variant", "short")
    assert done.returncode == 0, done.stderr
    assert "cuts the board does not fit its case: see check" in " ".join(done.stdout.split())


def test_the_chosen_outline_is_in_the_table_however_many_cuts_it_has(job: Path) -> None:
    round_part = "circle = { at = [20, 30], diameter = 30 }"
    text = JOB.replace("polygon = [[10, 10], [30, 10], [30, 20], [10, 20]]", round_part)
    job.write_text(text.replace("{ cuts = 2 }", '"smallest"\ngain = 0.2'), encoding="utf-8")
    done = call(job, "--variant", "short")
    assert done.returncode == 0, done.stderr
    (row,) = [line for line in done.stdout.splitlines() if line.startswith("-> ") and "chosen" not in line]
    assert int(row.split()[1]) > 12


def test_writing_into_a_job_with_variants_says_for_which_it_stands(job: Path) -> None:
    done = call(job, "--variant", "short", "--write")
    assert done.returncode == 0, done.stderr
    assert "stands for every variant now, long as well" in done.stdout


def test_a_thin_neck_is_said_below_the_trade_and_in_its_picture(job: Path, tmp_path: Path) -> None:
    slot = "[100, 50], [51, 50], [51, 3], [49, 3], [49, 50]"
    job.write_text(JOB.replace("[100, 50]", slot), encoding="utf-8")
    picture = tmp_path / "trade.svg"
    done = call(job, "--variant", "short", "--picture", picture)
    assert done.returncode == 0, done.stderr
    assert "with 0 cuts it is only 3.00 mm wide at (49.00, 1.50)" in " ".join(done.stdout.split())
    assert "it is only 3.00 mm wide" in said(picture)
    whole, *others = json.loads(call(job, "--variant", "short", "--json").stdout)["choices"]
    assert len(whole["notes"]) == 1 and others and not any(each["notes"] for each in others)


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (["--picture", "trade.png"], [".svg", "trade.png"]),
        (["--proof", "proof"], [".svg", "proof"]),
        (["--compare", "--variant", "long"], ["--compare", "--variant"]),
        (["--compare", "--write"], ["--compare", "--write"]),
        (["--compare", "--cuts", "0"], ["--compare", "--cuts"]),
        (["--compare", "--proof", "p.svg"], ["--compare", "--proof"]),
        (["--variant", "long", "--picture", "missing/trade.svg"], ["missing"]),
    ],
)
def test_a_faulty_call_ends_in_2_and_writes_nothing(
    words: list[str], expected: list[str], job: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(job.parent)
    before = sorted(job.parent.iterdir())
    done = call(job, *words)
    assert (done.returncode, done.stdout) == (2, ""), done
    assert done.stderr.count("\n") == 1 and all(word in done.stderr for word in expected)
    assert sorted(job.parent.iterdir()) == before


def test_variants_stand_side_by_side_with_the_outline_that_serves_them_all(job: Path) -> None:
    done = call(job, "--compare", "--json")
    assert done.returncode == 0, done.stderr
    answer = json.loads(done.stdout)
    assert [each["variant"] for each in answer["variants"]] == ["long", "short"]
    together = answer["together"]
    kept = {
        "long": [shapely.box(10, 10, 30, 20), shapely.box(60, 10, 70, 20)],
        "short": [shapely.box(10, 10, 30, 20), shapely.box(10, 30, 20, 40)],
    }
    every = [shape for shapes in kept.values() for shape in shapes]
    for entry, shapes in [*((e, kept[e["variant"]]) for e in answer["variants"]), (together, every)]:
        assert entry["reason"] is None and entry["chosen"] == 2
        for choice in entry["choices"]:
            assert all(Polygon(choice["finished"]).covers(shape) for shape in shapes)
    for cuts in (1, 2):
        area = {
            name: next(c["area_mm2"] for c in entry["choices"] if c["cuts"] == cuts)
            for name, entry in [*((e["variant"], e) for e in answer["variants"]), ("together", together)]
        }
        assert area["together"] >= max(area["long"], area["short"]) - 1e-6
    one = {e["variant"]: e["choices"][1]["area_mm2"] for e in answer["variants"]}
    for name, area in one.items():
        best = smallest_by_one_cut(kept[name])
        assert best * (1 - 1e-3) <= area <= best * (1 + 1e-3)


def smallest_by_one_cut(shapes: list[Polygon]) -> float:
    """Area of the board beside the best of all straight cuts, tried every tenth of a degree."""
    board = shapely.box(0, 0, 100, 50)
    # Kept clear: 0.5 mm and twice the root of 0.1² + 0.15² + 0.1² (JCGM 100).
    grown = shapely.union_all(shapes).buffer(0.5 + 2 * (0.1**2 + 0.15**2 + 0.1**2) ** 0.5, quad_segs=64)
    best = float(board.area)
    for tenth in range(3600):
        turned = affinity.rotate(grown, tenth / 10, origin=(0, 0))
        half = shapely.box(-500, -500, turned.bounds[2], 500)
        best = min(best, affinity.rotate(board, tenth / 10, origin=(0, 0)).intersection(half).area)
    return float(best)


def test_the_table_of_variants_fits_the_terminal_and_says_what_all_together_costs(job: Path) -> None:
    done = call(job, "--compare")
    lines = done.stdout.splitlines()
    assert max(map(len, lines)) <= 80 and done.returncode == 0
    assert lines[0].split() == ["cuts", "long", "short", "all", "together"]
    assert any(line.startswith("   2 ->") and line.count("->") == 3 for line in lines)
    assert "All together: one outline that serves every variant has 2 new cuts" in done.stdout
    assert "against long" in done.stdout and "against short" in " ".join(done.stdout.split())


def test_a_variant_without_an_outline_is_said_beside_the_others_and_ends_in_1(job: Path) -> None:
    job.write_text(JOB + CASE, encoding="utf-8")
    done = call(job, "--compare", "--json")
    assert done.returncode == 1
    long, short = json.loads(done.stdout)["variants"]
    assert long["choices"] == [] and '"U2"' in long["reason"] and long["chosen"] is None
    assert short["choices"] and short["reason"] is None
    assert json.loads(done.stdout)["together"]["chosen"] is None


def test_a_job_without_variants_has_none_to_compare(job: Path) -> None:
    text = JOB.replace('variants = ["long", "short"]\n', "").replace('variants = ["long"]\n', "")
    job.write_text(text.replace('variants = ["short"]\n', ""), encoding="utf-8")
    done = call(job, "--compare")
    assert (done.returncode, done.stdout) == (2, "") and "no variants" in done.stderr
