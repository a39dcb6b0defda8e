"""Kill `run` at random moments: each file is whole, old or new, and a half-old set shows by its `files`.

Run: python tests/bench/killed_runs.py [COUNT]
"""

from __future__ import annotations

import hashlib
import json
import random
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

SAMPLE = Path(__file__).parent.parent.parent / "samples" / "greenhouse"


def run_words(job: Path, out: Path) -> list[str]:
    return [sys.executable, "-m", "trimgeo", "run", str(job), "--variant", "display", "--out", str(out)]


def contents(folder: Path) -> dict[str, bytes]:
    """Files that a person sees, by name."""
    return {p.name: p.read_bytes() for p in sorted(folder.iterdir()) if not p.name.startswith(".")}


def agrees(files: dict[str, bytes]) -> bool:
    """Whether report.json's hashes are those of the files beside it."""
    listed = json.loads(files["report.json"])["files"]
    return all(hashlib.sha256(files.get(f["name"], b"")).hexdigest() == f["sha256"] for f in listed)


def changed_copy(folder: Path) -> Path:
    """The sample with another title: every file of its run differs."""
    job = folder / "changed"
    shutil.copytree(SAMPLE, job)
    text = (job / "job.toml").read_text(encoding="utf-8")
    (job / "job.toml").write_text(text.replace('title = "', 'title = "Changed ', 1), encoding="utf-8")
    return job


def wait_for_change(folder: Path, process: subprocess.Popen[bytes]) -> None:
    """Until a file of the folder is another one, or the process has ended."""
    before = {p: p.stat().st_ino for p in folder.iterdir()}
    while process.poll() is None:
        for path, inode in before.items():
            if path.stat().st_ino != inode:
                return
        time.sleep(0.0005)


def killed_runs(count: int, seed: int = 1) -> tuple[int, int, int]:
    """(all old, half old, all new) after ``count`` kills; raises AssertionError where a file is neither."""
    draw = random.Random(seed)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        first, second = folder / "old", folder / "new"
        subprocess.run(run_words(SAMPLE, first), check=True, capture_output=True)
        job = changed_copy(folder)
        began = time.monotonic()
        subprocess.run(run_words(job, second), check=True, capture_output=True)
        whole = time.monotonic() - began
        old, new = contents(first), contents(second)
        counts = [0, 0, 0]
        for n in range(count):
            out = folder / f"out{n}"
            shutil.copytree(first, out)
            process = subprocess.Popen(
                run_words(job, out), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
            )
            if n % 2:
                time.sleep(draw.uniform(0, whole))
            else:
                # Among the writes themselves, which take a small part of the run: the first file has changed.
                wait_for_change(out, process)
                time.sleep(draw.uniform(0, 0.03))
            process.kill()
            process.wait()
            now = contents(out)
            assert all(data in (old.get(f), new.get(f)) for f, data in now.items())
            kind = 0 if now == old else 2 if now == new else 1
            assert agrees(now) == (kind != 1), "a half-old set must show itself, a whole one must not"
            counts[kind] += 1
            shutil.rmtree(out)
        return counts[0], counts[1], counts[2]


if __name__ == "__main__":
    old, half, new = killed_runs(int(sys.argv[1]) if len(sys.argv) > 1 else 50)
    print(f"all old {old}, half old {half}, all new {new}")
