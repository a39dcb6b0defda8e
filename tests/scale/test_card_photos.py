"""Twelve of the bench's photos: the board's shape, and a bound that holds, against a renderer's truth.

The figures are those of tests/bench/card_photos.py, which measures three hundred.
"""

import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

BENCH = Path(__file__).parents[1] / "bench" / "card_photos.py"
COUNT = 12


@pytest.fixture(scope="module")
def rows():
    """What each photo says and what is true: the bench in a process of its own, two photos at a time."""
    command = [sys.executable, str(BENCH), str(COUNT), "--json"]
    return json.loads(subprocess.run(command, check=True, capture_output=True, text=True).stdout)


def test_every_photo_of_the_card_is_answered(rows):
    assert [row.get("refused") for row in rows] == [None] * COUNT


def test_the_shape_of_a_board_is_true_to_hundredths_of_a_millimetre(rows):
    rms = np.array([row["rms"] for row in rows])
    assert np.median(rms) <= 0.015
    assert rms.max() <= 0.05


def test_the_stated_bound_covers_the_largest_error_and_is_not_wide(rows):
    largest, stated = (np.array([row[key] for row in rows]) for key in ("largest", "bound"))
    assert (largest <= stated).all()
    assert np.median(stated) <= 0.30
