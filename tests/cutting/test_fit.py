"""Whether the finished board goes into its case: gap, heights, and the words for it."""

from __future__ import annotations

import re

import pytest
from shapely import Point, Polygon, affinity, box

from trimgeo.cutting.fit import fit
from trimgeo.cutting.holder import Standing
from trimgeo.cutting.outline import Wish, choices
from trimgeo.errors import NoOutlineError
from trimgeo.model.board import Case, Circle, Keepout, Ring
from trimgeo.model.job import Placing

BOARD = Ring(Polygon([(0, 0), (60, 0), (60, 20), (40, 20), (40, 45), (0, 45)]))


def around(margin: float, gap: float, turn: float = 0.0, **more: float) -> Case:
    cavity = affinity.rotate(BOARD.polygon.buffer(margin, join_style="mitre"), turn, origin=(0, 0))
    return Case(Ring(cavity), (), gap, **more)


def test_it_fits_where_the_gap_is_kept_all_round() -> None:
    assert fit(BOARD, around(1.0, 0.4), []).fits
    assert fit(BOARD, around(1.0, 1.0), []).fits  # exactly
    assert not fit(BOARD, around(1.0, 1.01), []).fits
    assert fit(BOARD, around(1.0, 0.4), []).spare == pytest.approx(0.6, abs=1e-6)


def test_it_may_fit_turned_though_it_does_not_where_it_lies() -> None:
    found = fit(BOARD, around(1.0, 0.25, turn=90), [])
    assert found.fits and found.as_placed < 0
    assert (found.spare, abs(found.angle)) == (pytest.approx(0.75, abs=1e-6), pytest.approx(90, abs=1e-6))
    turned = affinity.rotate(BOARD.polygon, found.angle, origin=(0, 0))
    moved = affinity.translate(turned, *found.shift)
    assert around(1.0, 0.25, turn=90).room.boundary.distance(moved) == pytest.approx(1.0, abs=1e-6)
    assert "fits its case turned by 90.00°" in found.notes[0] and "Where it lies it lacks" in found.notes[1]
    assert "no shift without a turn was found" in found.notes[1]


def test_a_part_that_is_too_high_does_not_fit() -> None:
    parts = [
        ("top", Standing("C1", 12.5, Point(10, 10), 4.0)),
        ("bottom", Standing("C2", 12.5, box(1, 1, 5, 5))),
    ]
    found = fit(BOARD, around(1.0, 0.3, lid=12.0), parts)  # nothing is known of the floor
    assert not found.fits and found.spare > 0
    assert found.too_high == (("C1", 0.5),)
    assert "C1 is 0.5 mm too high for the case." in found.notes
    assert fit(BOARD, around(1.0, 0.3, lid=12.5, floor=12.5), parts).fits


def test_what_binds_is_told_in_pairs_of_points_that_far_apart() -> None:
    case = Case(Ring(box(-3, -3, 63, 48)), (Ring(Point(50, 30).buffer(8), (Circle((50, 30), 8.0),)),), 0.2)
    found = fit(BOARD, case, [])
    assert len(found.binds) >= 3
    for on_board, on_case in found.binds:
        apart = Point(on_board).distance(Point(on_case))
        assert apart == pytest.approx(found.spare + 0.2, abs=0.06)
        assert case.room.boundary.distance(Point(on_case)) < 1e-6


def test_what_fits_nowhere_is_said_to_be_proved_without_a_gap_as_well() -> None:
    for gap in (0.0, 0.4):
        found = fit(Ring(box(0, 0, 10, 10)), Case(Ring(box(0, 0, 9.4, 40)), (), gap), [])
        assert not found.fits and found.spare == pytest.approx(-0.3 - gap, abs=2e-3)
        assert found.notes[1] == "No shift or turn makes it fit: that is proved."


def test_a_wall_that_the_board_reaches_over_is_told_by_its_two_ends() -> None:
    """Over a long side the fit finds many places alike: the first and the last say as much."""
    tray = Case(Ring(box(0, 0, 38, 30)), (), gap=0.5)
    found = fit(Ring(box(0, 0, 40, 20)), tray, [])
    assert not found.fits and 2 <= len(found.binds) <= 4


def test_in_a_long_case_the_board_is_not_moved_along_it_for_nothing() -> None:
    """As much room as anywhere: 1.1 mm above and below, so 0.1 mm up, and 1.1 mm from the near end."""
    found = fit(Ring(box(0, 0, 40, 20)), Case(Ring(box(-1, -1, 200, 21.2)), (), gap=0.5), [])
    assert found.spare == pytest.approx(0.6, abs=0.002) and found.fits
    assert found.shift == pytest.approx((0.1, 0.1), abs=0.002)
    for on_board, on_case in found.binds:
        assert Point(on_board).distance(Point(on_case)) == pytest.approx(1.1, abs=0.004)
    assert {round(y) for (_, y), _ in found.binds} == {0, 20}


def test_in_a_case_a_little_longer_the_board_is_moved_into_it_and_no_further() -> None:
    """1 mm above and below, 7 mm of length over: 1 mm from the near end it has as much room as beyond."""
    found = fit(Ring(box(0, 0, 40, 20)), Case(Ring(box(2, -1, 49, 21)), (), gap=0.5), [])
    assert found.fits and found.spare == pytest.approx(0.5, abs=0.002)
    assert found.shift == pytest.approx((3, 0), abs=0.002)


def test_what_is_far_too_large_for_its_case_is_refused_at_once_and_by_how_much_at_the_least() -> None:
    part, exact = Keepout("U1", "other", box(10, 10, 40, 40), 0.0, (1,), None, 0.5, "asked"), Placing()
    case = Case(Ring(box(0, 0, 2.4, 2.4)), (), gap=0.3)
    with pytest.raises(NoOutlineError) as refused:
        list(choices([part], box(0, 0, 100, 70), 0.3, 0.3, exact, 3, Wish(case)))
    said = re.search(
        r"that is proved: make the case larger, by at least ([0-9.]+) mm all round", str(refused.value)
    )
    # Elementary: 30 mm and at least the 0.5 mm around it on each side, less the cavity: half the diagonals.
    assert said is not None and float(said[1]) > (31 - 2.4) / 2**0.5
