"""``trimgeo card`` as a person calls it."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path


def call(*words: str, folder: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "trimgeo", "card", *words], cwd=folder, capture_output=True, text=True
    )


def test_the_card_is_written_without_a_job(tmp_path: Path) -> None:
    done = call("--out", "card.pdf", folder=tmp_path)
    assert done.returncode == 0 and "Wrote card.pdf." in done.stdout and not done.stderr
    assert (tmp_path / "card.pdf").read_bytes()[:5] == b"%PDF-"


def test_a_wrong_ending_is_one_sentence_and_writes_nothing(tmp_path: Path) -> None:
    done = call("--paper", "A3", "--out", "card.jpg", folder=tmp_path)
    assert done.returncode == 2 and not done.stdout and len(done.stderr.splitlines()) == 1
    assert not list(tmp_path.iterdir())
