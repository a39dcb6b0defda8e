"""Best steps: scipy's linear programs as judge."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import linprog

from trimgeo.plane.least import best_steps, filled, weights


def by_scipy(values: np.ndarray, slopes: np.ndarray, box: np.ndarray) -> float:
    """The greatest least value: maximise t with t <= values + slopes @ step within the box."""
    rows = np.column_stack([-slopes, np.ones(len(values))])
    limits = [*((-side, side) for side in box), (None, None)]
    return -float(linprog([0, 0, 0, -1], A_ub=rows, b_ub=values, bounds=limits).fun)


def test_no_step_in_the_box_has_a_greater_least_value() -> None:
    rng = np.random.RandomState(3)
    owner = np.repeat(np.arange(60), rng.randint(1, 40, 60))
    values, slopes = rng.uniform(-2, 3, len(owner)), rng.normal(size=(len(owner), 3))
    slopes[::5, 2] = 0.0
    values[1::7], slopes[1::7] = values[::7][: len(values[1::7])], slopes[::7][: len(values[1::7])]  # twins
    box = rng.uniform(0.1, 2, (60, 3))
    which, wide, steep = filled(owner, 60, values, slopes)
    assert [np.count_nonzero(row >= 0) for row in which] == np.bincount(owner).tolist()
    found = best_steps(wide, steep, box)
    for n in range(60):
        own = owner == n
        judged = by_scipy(values[own], slopes[own], box[n])
        assert found.value[n] == pytest.approx(judged, abs=1e-9)
        assert np.all(np.abs(found.step[n]) <= box[n])
        assert (values[own] + slopes[own] @ found.step[n]).min() == pytest.approx(judged, abs=1e-9)


def test_the_shares_prove_that_no_step_is_better() -> None:
    rng = np.random.RandomState(4)
    values, slopes = rng.uniform(0, 1, (30, 12)), rng.normal(size=(30, 12, 3))
    box = np.full((30, 3), 0.5)
    found = best_steps(values, slopes, box)
    lean = np.abs(np.einsum("mn,mnk->mk", found.shares, slopes))
    proved = (found.shares * values).sum(axis=1) + (lean * box).sum(axis=1)
    assert proved == pytest.approx(found.value, abs=1e-9)
    assert found.shares.sum(axis=1) == pytest.approx(np.ones(30))
    assert found.shares.min() >= 0


def test_a_program_that_ends_early_has_proved_what_was_enough() -> None:
    rng = np.random.RandomState(5)
    values, slopes = rng.uniform(0, 1, (30, 12)), rng.normal(size=(30, 12, 3))
    box = np.full((30, 3), 0.5)
    enough = float(np.median(best_steps(values, slopes, box).value)) + 0.05
    shares = weights(values, slopes, box, enough)
    lean = np.abs(np.einsum("mn,mnk->mk", shares, slopes))
    proved = (shares * values).sum(axis=1) + (lean * box).sum(axis=1)
    full = np.array([by_scipy(*one) for one in zip(values, slopes, box, strict=True)])
    assert np.all(proved >= full - 1e-9)
    assert np.all((proved <= enough + 1e-9) == (full <= enough + 1e-9))
