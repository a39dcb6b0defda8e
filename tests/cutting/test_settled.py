"""Of all poses with the same room the board is given one that moves it little: by hand."""

from __future__ import annotations

import pytest
from shapely import box

from trimgeo.cutting.settled import settled
from trimgeo.plane.fitting import MostRoom

BOARD = box(0, 0, 40, 20)


@pytest.mark.parametrize(("found", "kept"), [(0.05, 0.05), (0.2, 0.0), (2.5, 0.0), (5.0, 0.0)])
def test_a_shift_along_a_case_for_no_more_room_is_taken_back_where_a_person_sees_it(
    found: float, kept: float
) -> None:
    """In a tray longer by 5 mm there is 1 mm above, below, and at the near end from 0 to 5 mm along it."""
    pose = MostRoom(room=1.0, bound=1.0, shift=(found, 0.0), angle=0.0, binds=())
    held = settled(BOARD, box(-1, -1, 46, 21), pose, gap=0.5)
    assert held.shift == pytest.approx((kept, 0.0), abs=1e-9)
    assert held.room == pytest.approx(1.0)


def test_a_shift_without_which_there_is_less_room_stays() -> None:
    pose = MostRoom(room=1.0, bound=1.0, shift=(3.0, 0.0), angle=0.0, binds=())
    assert settled(BOARD, box(2, -1, 44, 21), pose, gap=0.5).shift == pytest.approx((3.0, 0.0))
