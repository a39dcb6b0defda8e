"""The bar on stderr: on a terminal only, after half a second, and never on stdout."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

GREENHOUSE = Path(__file__).parent.parent.parent / "samples" / "greenhouse"


@pytest.mark.skipif(os.name != "posix", reason="no pseudo-terminal here")
def test_long_work_shows_a_bar_on_a_terminal_that_ends_full_and_leaves_stdout_alone(tmp_path: Path) -> None:
    master, slave = os.openpty()
    words = ["-m", "trimgeo", "run", str(GREENHOUSE), "--variant", "bare", "--out", str(tmp_path / "out")]
    done = subprocess.run([sys.executable, *words], stdout=subprocess.PIPE, stderr=slave, text=True)
    os.close(slave)
    shown = os.read(master, 1 << 16).decode()
    os.close(master)
    assert done.returncode == 0
    assert "drawing the sheets" in shown and "100%" in shown
    assert "%  [" not in done.stdout and "#" not in done.stdout


def test_no_bar_where_stderr_is_no_terminal(tmp_path: Path) -> None:
    words = ["-m", "trimgeo", "outline", str(GREENHOUSE), "--variant", "bare"]
    done = subprocess.run([sys.executable, *words], capture_output=True, text=True)
    assert (done.returncode, done.stderr) == (0, "")
