"""The words for a fit: where the board lies first, then a shift, and a turn only where nothing else fits."""

from __future__ import annotations

import pytest
from shapely import affinity, box

from trimgeo.cutting.fit import fit, goes_in
from trimgeo.cutting.holder import Standing
from trimgeo.model.board import Case, FaceName, Ring

BOARD = Ring(box(0, 0, 40, 20))
PLUG: tuple[FaceName, Standing] = ("top", Standing("J1", 5.0, box(-4, 8, 6, 12)))


def tray(*bounds: float, turn: float = 0.0) -> Case:
    return Case(Ring(affinity.rotate(box(*bounds), turn, origin=(0, 0))), (), gap=0.3)


def test_what_fits_where_it_lies_is_said_to_first_and_never_turned() -> None:
    # The case lies askew by 0.5 degrees: turned along, the board has more room than as it lies.
    found = fit(BOARD, tray(-1, -1, 41, 21, turn=0.5), [])
    assert found.as_placed > 0 and found.spare > found.as_placed + 0.1 and abs(found.angle) > 0.4
    assert found.notes[0] == (
        f"The finished outline fits its case where it lies, with {found.as_placed:.2f} mm to spare beyond "
        "the gap of 0.30 mm."
    )
    assert not any("turned" in note for note in found.notes)


def test_a_shift_alone_is_offered_from_a_tenth_of_a_millimetre_more() -> None:
    # 0.6 to one side and 1.0 to the other: the middle, 0.8 from both, is 0.2 to the right and 0.2 up.
    found = fit(BOARD, tray(-0.6, -0.6, 41, 21), [])
    assert "where it lies, with 0.30 mm to spare" in found.notes[0]
    assert found.notes[1:] == ("Moved by (0.20, 0.20) mm, without a turn, it has 0.50 mm to spare.",)
    assert len(fit(BOARD, tray(-0.6, -0.6, 40.7, 20.7), []).notes) == 1  # 0.05 mm more: not worth it


@pytest.mark.parametrize("askew", [0.0, 0.4])
def test_where_it_does_not_fit_as_it_lies_a_shift_comes_before_a_turn(askew: float) -> None:
    found = fit(BOARD, tray(4, -1, 46, 21, turn=askew), [PLUG])
    assert found.as_placed < 0 <= found.spare
    assert "fits its case moved by" in found.notes[0] and "without a turn" in found.notes[0]
    assert "where it lies it lacks" in found.notes[0]
    assert found.shifted is not None and found.shifted[0] <= found.spare + 1e-3
    moved = affinity.translate(BOARD.polygon, *found.shifted[1])
    room = tray(4, -1, 46, 21, turn=askew).cavity.polygon
    assert room.covers(moved) and moved.distance(room.exterior) == pytest.approx(
        found.shifted[0] + 0.3, abs=1e-6
    )
    # The corner that is 40 mm out swings by 40 sin(askew): 0.28 mm, of which a shift takes half.
    assert found.shifted[0] == pytest.approx(0.7 - (0.14 if askew else 0.0), abs=0.02)


def test_a_turn_is_offered_last_and_not_at_first_where_a_plug_would_look_out_elsewhere() -> None:
    standing = tray(-1, -1, 41, 21, turn=90)
    plain, plugged = fit(BOARD, standing, []), fit(BOARD, standing, [PLUG])
    assert "fits its case turned by" in plain.notes[0] and "Where it lies it lacks" in plain.notes[1]
    assert "does not fit its case where it lies" in plugged.notes[0] and "turned" not in plugged.notes[0]
    assert "turned by" in plugged.notes[1] and "J1 reaches over its edge" in plugged.notes[1]
    assert plugged.fits and plugged.spare == plain.spare


def test_a_lack_that_is_not_told_closely_is_told_with_what_is_proved() -> None:
    small = Case(Ring(box(0, 0, 2.4, 2.4)), (), gap=0.3)
    found = fit(BOARD, small, [])
    # Elementary: half the difference of the diagonals, and the gap.
    lacks = (2000**0.5 - 2.4 * 2**0.5) / 2 + 0.3
    assert not found.fits and -found.spare >= lacks - 1e-6
    assert "that is proved" in found.notes[1] and f"it lacks at least {-found.most:.2f} mm" in found.notes[1]
    assert -found.most == pytest.approx(lacks, abs=0.05) and -found.most <= lacks + 1e-6
    assert not goes_in(BOARD, small, [])
