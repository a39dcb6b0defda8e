"""Whole runs of damaged jobs: a fixed subset; all of them by `python tests/bench/damaged_runs.py`."""

from __future__ import annotations

import importlib.util
from pathlib import Path

PATH = Path(__file__).parent / "bench" / "damaged_runs.py"


def test_a_damaged_job_is_answered_rightly_or_refused_in_one_sentence_with_nothing_written() -> None:
    spec = importlib.util.spec_from_file_location("damaged_runs", PATH)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    tally = module.damaged_runs(60)
    assert sum(tally.values()) == 60
    assert tally[0] + tally[1] >= 18, "at least 30 % are still usable"
    assert tally[2] >= 18, "and many are not"
