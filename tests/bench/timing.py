"""Ratios of two ways to do a thing, timed in turn in the same run; medians; printed as a table."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Callable
from statistics import median

Work = Callable[[], object]


def seconds(work: Work) -> float:
    """Wall time of one call."""
    began = time.perf_counter()
    work()
    return time.perf_counter() - began


def in_turn(ours: Work, bare: Work, runs: int = 7) -> tuple[float, float]:
    """Median seconds of both, timed A B A B ... after one call of each that does not count."""
    ours(), bare()
    pairs = [(seconds(ours), seconds(bare)) for _ in range(runs)]
    return median(a for a, _ in pairs), median(b for _, b in pairs)


def process(*words: str) -> Work:
    """A whole Python process as the work to time; what its first call compiles is kept for the others."""
    env = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}

    def work() -> None:
        subprocess.run([sys.executable, *words], check=True, capture_output=True, env=env)

    return work


def row(name: str, ours: float, bare: float, most: float) -> str:
    """One line of the table, with the ratio that the project holds itself to."""
    ratio = ours / bare
    said = "" if ratio <= most else "OVER"
    return f"{name:54} {ours * 1000:9.1f} {bare * 1000:9.1f} {ratio:6.2f} {most:6.2f}  {said}"


HEAD = f"{'what':54} {'ours ms':>9} {'bare ms':>9} {'ratio':>6} {'most':>6}"
