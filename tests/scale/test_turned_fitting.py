"""What turning shows, what it hides, and whether the stated covariance tells: on pairs without pictures."""

import cv2
import numpy as np
import pytest

from trimgeo.model.carriage import CarriageLens
from trimgeo.scale.turned_bends import bends
from trimgeo.scale.turned_fitting import Pairs, fitted, start
from trimgeo.scale.turned_patches import refined

SIZE = np.array([80.0, 100.0])
NOISE = 0.01


@pytest.fixture(scope="module")
def known():
    return bends((80.0, 100.0))


def modes_at(known, at):
    nothing = np.zeros((2, *known.modes.shape[2:]))
    return CarriageLens(known.start, known.step, nothing, known.modes).jacobian(at)


def turned_pairs(known, weights, angle, aside, seed):
    """Pairs of a scanner whose correction has these weights, the face turned by ``angle`` degrees."""
    rng = np.random.default_rng(seed)
    a = np.radians(angle)
    turn = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
    ideal = rng.uniform([6, 6], SIZE - 6, (300, 2))
    moved = (ideal - SIZE / 2) @ turn.T + SIZE / 2 + np.array(aside)

    def as_scanned(at):
        seen = at
        for _ in range(6):
            seen = at - modes_at(known, seen) @ weights
        return seen + rng.normal(0, NOISE, at.shape)

    first, second = as_scanned(ideal), as_scanned(moved)
    shift = SIZE / 2 + aside - turn @ (SIZE / 2)
    pairs = Pairs(first, second, np.full(len(first), NOISE), modes_at(known, first), modes_at(known, second))
    return pairs, start(angle + 0.02, tuple(shift), len(weights))


def grid():
    x, y = np.meshgrid(np.linspace(8, SIZE[0] - 8, 7), np.linspace(8, SIZE[1] - 8, 9))
    return np.column_stack([x.ravel(), y.ravel()])


@pytest.mark.parametrize(("angle", "aside"), [(180.0, (0.0, 0.0)), (182.0, (3.0, -2.0))])
def test_what_is_left_is_as_large_as_the_covariance_says(known, angle, aside):
    """Scanners drawn from what scanners are taken to do: squared misses in units of the covariance."""
    rng = np.random.default_rng(5)
    at = modes_at(known, grid()).reshape(-1, len(known.group))
    ratios = []
    for seed in range(12):
        weights = rng.normal(0, 1, len(known.group))
        pairs, begun = turned_pairs(known, weights, angle, aside, seed)
        fit = fitted(pairs, begun, known, 0.0)
        variance = np.einsum("nq,qr,nr->n", at, fit.covariance, at)
        ratios.append(((at @ (fit.weights - weights)) ** 2).sum() / variance.sum())
    assert 0.4 < np.mean(ratios) < 1.6  # 1 where the covariance is true


def even(known, of_x):
    """Weights of a bend along x, an even or an odd one about the middle."""
    x = np.linspace(0, SIZE[0], 60)
    at = np.column_stack([x, np.full(60, 50.0)])
    along = known.group // 10 == 1
    found, *_ = np.linalg.lstsq(modes_at(known, at)[:, 0, along], of_x(x - SIZE[0] / 2), rcond=None)
    weights = np.zeros(len(known.group))
    weights[along] = found
    return weights


def left_at(known, weights, angle=180.0, aside=(0.0, 0.0)):
    """After the fit: the largest miss over the face, the standard uncertainty there, and the bend, mm."""
    pairs, begun = turned_pairs(known, weights, angle, aside, 3)
    fit = fitted(pairs, begun, known, 0.0)
    shapes = known.group > 0
    at = modes_at(known, grid())[:, 0, shapes]
    miss = np.abs(at @ (fit.weights - weights)[shapes])
    spread = np.sqrt(np.einsum("nq,qr,nr->n", at, fit.covariance[np.ix_(shapes, shapes)], at))
    return miss.max(), spread.max(), np.abs(at @ weights[shapes]).max()


def test_an_even_bend_shows_and_is_taken_out(known):
    weights = even(known, lambda x: 0.16 * ((x / 40) ** 2 - 1 / 3))
    miss, _, bend = left_at(known, weights)
    assert bend > 0.04
    assert miss < 0.015


def test_an_odd_bend_hides_from_an_exact_half_turn_and_stays_in_the_uncertainty(known):
    weights = even(known, lambda x: 0.05 * ((x / 40) ** 3 - 0.6 * x / 40))
    miss, spread, bend = left_at(known, weights)
    assert miss > 0.6 * bend
    assert miss < 2.45 * spread


def test_some_degrees_askew_and_aside_much_of_an_odd_bend_shows(known):
    weights = even(known, lambda x: 0.15 * ((x / 40) ** 3 - 0.6 * x / 40))
    exact, _, bend = left_at(known, weights)
    askew, spread, _ = left_at(known, weights, 185.0, (6.0, 4.0))
    assert exact > 0.6 * bend
    assert askew < 0.6 * exact
    assert askew < 2.45 * spread


def test_a_bend_larger_than_presumed_widens_what_is_allowed_for_what_hides(known):
    small = even(known, lambda x: 0.05 * ((x / 40) ** 2 - 1 / 3))
    large = 6 * small
    assert left_at(known, large)[1] > 1.5 * left_at(known, small)[1]


def test_patches_are_found_again_to_a_few_hundredths_of_a_pixel():
    """Judge: the same smooth random surface sampled at known places."""
    rng = np.random.RandomState(3)
    waves = [(rng.uniform(-0.6, 0.6, 2), rng.uniform(0, 6.3)) for _ in range(60)]

    def surface(shift):
        row, column = np.mgrid[:200, :200].astype(float)
        x, y = column - shift[0], row - shift[1]
        return 128 + 12 * sum(np.sin(k[0] * x + k[1] * y + phase) for k, phase in waves)

    shift = np.array([0.37, -0.61])
    first, second = (np.clip(surface(s), 0, 255).round().astype(np.uint8) for s in (np.zeros(2), shift))
    across, down = np.meshgrid(np.arange(30.0, 171, 20), np.arange(30.0, 171, 20))
    at = np.column_stack([across.ravel(), down.ravel()])
    found = refined(cv2, first, second, at, at, np.broadcast_to(np.eye(2), (len(at), 2, 2)), 12)
    off = found.to - at - shift
    assert np.sqrt((off**2).sum(axis=1).mean()) < 0.02
    assert np.abs(off).max() < 0.05
