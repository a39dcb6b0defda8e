"""The most room of a body: known answers, and a fine search with shapely as judge."""

from __future__ import annotations

from types import ModuleType

import numpy as np
import pytest
import shapely
from shapely import Point, Polygon, affinity, box

from trimgeo.plane.fitting import MostRoom, most_room, room_as_placed


def placed(part: Polygon, found: MostRoom) -> Polygon:
    turned = affinity.rotate(part, found.angle, origin=(0, 0))
    return affinity.translate(turned, *found.shift)


def test_a_board_in_a_cavity_grown_from_it_has_that_room_on_all_sides() -> None:
    board = Polygon([(0, 0), (60, 0), (60, 20), (40, 20), (40, 45), (0, 45)])
    cavity = affinity.rotate(board.buffer(1.25, join_style="mitre"), 130, origin=(7, 3))
    found = most_room(board, cavity)
    assert found.room == pytest.approx(1.25, abs=1e-6)
    assert found.bound - found.room < 0.006
    assert found.angle == pytest.approx(130, abs=1e-4)
    assert cavity.boundary.distance(placed(board, found)) == pytest.approx(found.room, abs=1e-6)
    assert cavity.contains(placed(board, found))


def test_a_strip_goes_into_a_square_along_its_diagonal() -> None:
    # A strip of length a and width b stands in a square of side c, turned by 45 degrees, where a + b = c √2
    # (elementary); each of its corners then has a wall at 45 degrees to both its sides.
    square, strip = box(0, 0, 100, 100), box(0, 0, 130, 100 * 2**0.5 - 130 - 2)
    found = most_room(strip, square)
    # Walls moved in by r leave a square of side c - 2r: r = (c - (a + b) / √2) / 2.
    assert found.room == pytest.approx(2 / (2 * 2**0.5), abs=1e-3)
    assert abs(abs(found.angle) % 90 - 45) < 0.01
    assert most_room(affinity.scale(strip, 1, 1.5, origin=(0, 0)), square).room < 0


def test_a_body_of_another_shape_than_its_room_does_not_fit_and_says_by_how_much() -> None:
    found = most_room(box(0, 0, 10, 10), box(0, 0, 9.4, 40))
    assert found.room == pytest.approx(-0.3, abs=1e-3)
    assert -0.3 <= found.bound <= -0.29


def test_a_post_between_two_arms_is_what_binds() -> None:
    board = Polygon([(0, 0), (30, 0), (30, 30), (20, 30), (20, 10), (10, 10), (10, 30), (0, 30)])
    post = Point(15, 20).buffer(3, quad_segs=32)
    found = most_room(board, box(-20, -20, 50, 50).difference(post))
    arms = [touch for touch in found.binds if touch.corner == "wall"]
    assert len(found.binds) >= 3
    assert arms or found.room > 2
    assert found.room > 2  # beside the post there is more room than between the arms


def test_a_post_in_a_pocket_that_leaves_no_other_place_decides_the_room() -> None:
    board = Polygon([(0, 0), (30, 0), (30, 30), (20, 30), (20, 10), (10, 10), (10, 30), (0, 30)])
    post = Point(15, 25).buffer(3, quad_segs=32)
    found = most_room(board, box(-3, -3, 33, 33).difference(post))
    assert found.room == pytest.approx(2.0, abs=0.01)
    assert "wall" in {touch.corner for touch in found.binds}


def test_what_already_fits_best_is_left_where_it_is() -> None:
    found = most_room(box(0, 0, 40, 20), box(-2, -2, 42, 22))
    assert found.angle == pytest.approx(0, abs=1e-6)
    assert found.shift == pytest.approx((0, 0), abs=1e-6)


def test_a_board_that_fits_exactly_has_no_room_and_fits() -> None:
    board = Polygon([(0, 0), (60, 0), (60, 20), (40, 20), (40, 45), (0, 45)])
    turned = affinity.rotate(board, 33, origin=(0, 0))
    assert most_room(board, turned).room == pytest.approx(0, abs=1e-6)
    assert room_as_placed(turned, turned) == 0


def test_where_it_lies_the_room_is_the_distance_from_walls_and_posts() -> None:
    post = Point(30, 10).buffer(2, quad_segs=64)
    cavity = box(-1, -3, 60, 30).difference(post)
    assert room_as_placed(box(0, 0, 20, 20), cavity) == 1
    assert room_as_placed(box(0, 0, 27.5, 20), cavity) == pytest.approx(0.5, abs=1e-3)
    assert room_as_placed(box(-1.75, 0, 20, 20), cavity) == pytest.approx(-0.75, abs=1e-6)


def test_a_thin_rib_between_two_rooms_is_seen_though_no_corner_is_in_it() -> None:
    cavity = box(0, 0, 60, 40).difference(box(29.6, 5, 30.4, 45))
    assert most_room(box(0, 0, 40, 30), cavity).room < 0


@pytest.mark.parametrize("seed", [5, 9, 12, 17, 22])
def test_no_fine_search_finds_more_room(pairs: ModuleType, search: ModuleType, seed: int) -> None:
    board, cavity = pairs.pair(seed)
    found = most_room(board, cavity)
    judged, _ = search.most_room(board, cavity)
    pose = np.array([[*found.shift, np.radians(found.angle)]])
    attained = search.rooms(shapely.get_coordinates(board)[:-1], cavity, pose)[0]
    assert found.room == pytest.approx(attained, abs=1e-3)
    assert found.room == pytest.approx(judged, abs=0.02)
    assert judged <= found.bound


@pytest.mark.parametrize("seed", [4, 21, 23, 61])
def test_how_little_a_board_sticks_out_is_attained_and_proved(
    pairs: ModuleType, search: ModuleType, seed: int
) -> None:
    board, cavity = pairs.pair(seed)
    found, xy = most_room(board, cavity), shapely.get_coordinates(board)[:-1]
    pose = np.array([*found.shift, np.radians(found.angle)])
    assert found.room == pytest.approx(search.rooms(xy, cavity, pose[None], 0.02)[0], abs=5e-3)
    assert found.room <= found.bound <= found.room + 0.01
    near = pose + np.random.RandomState(seed).normal(size=(150, 3)) * (0.3, 0.3, 0.01)
    assert search.rooms(xy, cavity, near, 0.1).max() <= found.bound


def test_a_strip_through_a_rib_counts_by_how_deep_the_rib_is() -> None:
    # A strip 60 mm long across a rib 6 mm thick between rooms of 47 x 20 mm: what lies at the rib's middle
    # is 3 mm from both.  A single room, 3 mm wider all round, has a diagonal of only 59 mm (elementary).
    cavity = box(0, 0, 100, 20).difference(box(47, -1, 53, 21))
    found = most_room(box(0, 0, 60, 2), cavity)
    assert found.room == pytest.approx(-3, abs=1e-3)
    assert found.room <= found.bound <= 0


def test_turning_and_shifting_both_changes_nothing(pairs: ModuleType) -> None:
    board, cavity = pairs.pair(19)
    room = most_room(board, cavity).room
    for turn, shift in ((17, (300, -200)), (191.5, (-9, 4))):
        moved = affinity.translate(affinity.rotate(cavity, turn, origin=(0, 0)), *shift)
        assert most_room(board, moved).room == pytest.approx(room, abs=1e-5)


def test_a_board_that_would_fit_turned_about_as_well_stays_as_it_is() -> None:
    board, cavity = box(10, 10, 50, 30), affinity.rotate(box(8, 7, 53, 34), 0.5)
    found = most_room(board, cavity)
    assert abs(found.angle) < 5
    assert found.room == pytest.approx(most_room(affinity.rotate(board, 180), cavity).room, abs=1e-6)
