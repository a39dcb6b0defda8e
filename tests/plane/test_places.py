"""The cheapest closed walk through places, against trying every choice of places."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from trimgeo.plane.places import Corner, cheapest_places


def tried(corners, joined):
    """The least cost of all choices, one by one in plain arithmetic."""
    count, best = len(corners), np.inf
    for choice in product(*(range(len(corner.places)) for corner in corners)):
        at = [corner.places[k] for corner, k in zip(corners, choice, strict=True)]
        cost, possible = 0.0, True
        for i in range(count):
            n, before = (i + 1) % count, i - 1
            side, last = at[n] - at[i], at[i] - at[before]
            possible &= bool(joined[i][choice[i], choice[n]]) and side @ corners[i].heading >= 0
            side = side if np.any(side) else corners[i].heading
            last = last if np.any(last) else corners[before].heading
            possible &= not corners[i].left or last[0] * side[1] - last[1] * side[0] >= -1e-9
            cost += (at[i][0] * at[n][1] - at[i][1] * at[n][0]) / 2 + corners[i].price[choice[i]]
        if possible:
            best = min(best, cost)
    return best


def cost_of(corners, chosen):
    at = np.array([corner.places[k] for corner, k in zip(corners, chosen, strict=True)])
    x, y = at.T
    area = np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y) / 2
    return area + sum(corner.price[k] for corner, k in zip(corners, chosen, strict=True))


def random_ring(seed):
    draw = np.random.RandomState(seed)
    count = draw.randint(3, 7)
    angle = (np.arange(count) + draw.uniform(0, 0.5, count)) * 2 * np.pi / count
    middle = draw.uniform(1, 5, count)[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])
    sides = np.roll(middle, -1, axis=0) - middle
    last = np.roll(sides, 1, axis=0)
    left = last[:, 0] * sides[:, 1] - last[:, 1] * sides[:, 0] >= 0
    corners = []
    for k in range(count):
        more = middle[k] + np.rint(draw.uniform(-2, 2, (draw.randint(0, 4), 2)) * 2) / 2
        places = np.vstack([middle[k], more])
        price = draw.uniform(0, 2, len(places))
        corners.append(Corner(places, price, bool(left[k]), sides[k] / np.hypot(*sides[k])))
    joined = []
    for k in range(count):
        flags = draw.uniform(size=(len(corners[k].places), len(corners[(k + 1) % count].places))) < 0.8
        flags[0, 0] = True
        joined.append(flags)
    return corners, joined


@pytest.mark.parametrize("seed", range(60))
def test_no_choice_of_places_is_cheaper_than_the_one_found(seed):
    corners, joined = random_ring(seed)
    chosen = cheapest_places(corners, joined)
    assert all(joined[k][chosen[k], chosen[(k + 1) % len(chosen)]] for k in range(len(chosen)))
    assert cost_of(corners, chosen) == pytest.approx(tried(corners, joined), abs=1e-9)


def test_where_no_side_joins_two_corners_it_is_said():
    corners, joined = random_ring(0)
    joined[1] = np.zeros_like(joined[1])
    with pytest.raises(ValueError, match="no closed walk"):
        cheapest_places(corners, joined)
