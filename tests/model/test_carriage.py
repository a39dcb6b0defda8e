"""The bends of a scanner as a lens: against scipy's B-splines and differences."""

import numpy as np
import pytest
from scipy.interpolate import BSpline

from trimgeo.model.carriage import CarriageLens

START, STEP, NODES = (-30.0, -50.0), (30.0, 50.0), (9, 7)  # nodes: columns, rows


@pytest.fixture
def lens():
    rng = np.random.RandomState(1)
    shape = (2, NODES[1], NODES[0])
    return CarriageLens(START, STEP, rng.normal(0, 1.5, shape), rng.normal(0, 1.0, (4, *shape)))


@pytest.fixture
def pixels():
    """Places between the outer nodes but one: columns 0 to 180, rows 0 to 200."""
    return np.random.RandomState(2).uniform([1, 1], [179, 199], (200, 2))


def by_scipy(weights, pixels):
    """A tensor product of uniform cubic B-splines (scipy.interpolate.BSpline), shape (n,)."""

    def basis(at, count, start, step):
        knots = start + step * (np.arange(count + 4) - 2.0)
        return BSpline.design_matrix(at, knots, 3, extrapolate=True).toarray()

    across = basis(pixels[:, 0], NODES[0], START[0], STEP[0])
    down = basis(pixels[:, 1], NODES[1], START[1], STEP[1])
    return np.einsum("nr,rc,nc->n", down, weights, across)


def test_the_field_is_the_tensor_product_of_cubic_b_splines(lens, pixels):
    expected = pixels + np.column_stack([by_scipy(each, pixels) for each in lens.field])
    assert np.allclose(lens.ideal(pixels), expected, atol=1e-9)


def test_the_modes_are_what_a_change_of_a_parameter_does(lens, pixels):
    expected = np.stack([[by_scipy(part, pixels) for part in mode] for mode in lens.modes])  # (q, 2, n)
    assert np.allclose(lens.jacobian(pixels), expected.transpose(2, 1, 0), atol=1e-9)


def test_the_way_back_is_the_inverse(lens, pixels):
    assert np.allclose(lens.raw(lens.ideal(pixels)), pixels, atol=1e-8)


def test_the_slopes_are_those_that_differences_give(lens, pixels):
    slopes, by = lens.slopes(pixels), 1e-4
    for axis in range(2):
        step = by * np.eye(2)[axis]
        expected = (lens.ideal(pixels + step) - lens.ideal(pixels - step)) / (2 * by)
        assert np.allclose(slopes[:, :, axis], expected, atol=1e-6)


def test_beyond_the_nodes_the_field_stays_as_it_is_at_their_rim(lens):
    rim = np.array([[0.0, 120.0], [180.0, 80.0]])
    beyond = rim + np.array([[-500.0, 0.0], [700.0, 0.0]])
    assert np.allclose(lens.ideal(beyond) - beyond, lens.ideal(rim) - rim)
    assert np.allclose(lens.slopes(beyond)[:, :, 0], [1.0, 0.0])
    assert np.allclose(lens.slopes(beyond)[:, :, 1], lens.slopes(rim)[:, :, 1])
