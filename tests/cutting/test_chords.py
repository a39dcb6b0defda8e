"""Many short chords that follow a curve are one curve, and told as one."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray

from trimgeo.cutting.chords import curves, told_curves
from trimgeo.cutting.edges import new_edges
from trimgeo.model.board import Ring

BOARD = Ring(shapely.box(-60, -60, 60, 60))


def ellipse(count: int, a: float = 30.0, b: float = 20.0) -> NDArray[np.float64]:
    turn = 2 * np.pi * np.arange(count) / count
    return np.column_stack([a * np.cos(turn), b * np.sin(turn)])


@pytest.mark.parametrize("count", [40, 164])
def test_an_ellipse_of_chords_is_one_curve(count: int) -> None:
    (found,) = curves(new_edges(Ring(shapely.Polygon(ellipse(count))), BOARD))
    assert len(found.cuts) == count
    # Ramanujan's second formula for the circumference of an ellipse, from memory.
    h = (10 / 50) ** 2
    assert found.length == pytest.approx(np.pi * 50 * (1 + 3 * h / (10 + np.sqrt(4 - 3 * h))), rel=2e-3)


def test_straight_sides_and_few_or_long_chords_are_cuts_of_their_own() -> None:
    assert curves(new_edges(Ring(shapely.box(0, 0, 20, 20)), BOARD)) == ()
    assert curves(new_edges(Ring(shapely.Polygon(ellipse(12, 4.0, 4.0))), BOARD)) == ()
    assert curves(new_edges(Ring(shapely.Polygon(ellipse(16, 50.0, 40.0))), BOARD)) == ()


def test_a_row_of_steps_is_no_curve() -> None:
    """Twenty steps of 2 mm turn left and right by turns, each by 90 degrees."""
    steps = [(2.0 * n + dx, 2.0 * n) for n in range(20) for dx in (0.0, 2.0)]
    assert curves(new_edges(Ring(shapely.Polygon([*steps, (0.0, 38.0)]).buffer(0)), BOARD)) == ()


def test_a_quarter_round_between_straight_sides_is_told_once_with_its_counts() -> None:
    turn = np.radians(np.linspace(0, 90, 31))
    rounded = [
        *np.column_stack([20 + 9 * np.cos(turn), 20 + 9 * np.sin(turn)]).tolist(),
        (-29, 29),
        (-29, -9),
    ]
    cuts = new_edges(Ring(shapely.Polygon([*rounded, (29, -9)])), BOARD)
    found = curves(cuts)
    assert [len(curve.cuts) for curve in found] == [30]
    (said,) = told_curves(found, BOARD.polygon, 1.5, 1.0)
    numbers = sorted(cut.n for cut in found[0].cuts)
    assert said.startswith(
        f"cuts {numbers[0]} to {numbers[-1]} are 30 short chords that follow a curve near "
    )
    assert "14.1 mm in all" in said  # 9 π / 2 mm
    assert "30 of them are shorter than the kerf of 1.00 mm is wide" in said and "narrower" not in said
