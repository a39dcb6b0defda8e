"""Same job, same bytes out; and what an interruption leaves."""

from __future__ import annotations

import importlib.util
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
SAMPLE = ROOT / "samples" / "greenhouse"


def _run(job: Path, out: Path, **environment: str) -> dict[str, bytes]:
    words = [sys.executable, "-m", "trimgeo", "run", str(job), "--variant", "display", "--out", str(out)]
    done = subprocess.run(words, env=os.environ | environment, capture_output=True, text=True, cwd=out.parent)
    assert done.returncode == 0, done.stderr
    return {p.name: p.read_bytes() for p in sorted(out.iterdir())}


@pytest.fixture(scope="module")
def first(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    folder = tmp_path_factory.mktemp("first")
    return _run(SAMPLE, folder / "out", PYTHONHASHSEED="1", TZ="UTC", LC_ALL="C")


def test_a_run_leaves_the_files_that_are_promised(first: dict[str, bytes]) -> None:
    promised = {"template.pdf", "template-top.svg", "template-bottom.svg", "outline.dxf", "report.html"}
    assert promised | {"report.json"} <= set(first)
    assert [n for n in first if n.startswith("overlay-")] == [
        "overlay-scan-bottom.png",
        "overlay-scan-top.png",
    ]


def test_another_folder_zone_locale_and_hash_seed_give_the_same_bytes(
    first: dict[str, bytes], tmp_path: Path
) -> None:
    job = tmp_path / "elsewhere Ω"
    shutil.copytree(SAMPLE, job)
    again = _run(job, tmp_path / "other", PYTHONHASHSEED="77", TZ="Asia/Kathmandu", LC_ALL="de_DE.UTF-8")
    assert again == first


def test_no_file_holds_a_path_of_this_machine(first: dict[str, bytes]) -> None:
    for data in first.values():
        assert str(ROOT).encode() not in data
        assert str(Path.home()).encode() + b"/" not in data


def test_a_killed_run_leaves_each_file_whole_old_or_new() -> None:
    path = ROOT / "tests" / "bench" / "killed_runs.py"
    spec = importlib.util.spec_from_file_location("killed_runs", path)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    assert sum(module.killed_runs(6)) == 6
