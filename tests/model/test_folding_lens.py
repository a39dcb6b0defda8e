"""A lens that folds the picture over itself is told by its figures, not by warnings of the machine."""

import warnings

import numpy as np
import pytest

from trimgeo.model.lens import BrownLens, RadialLens

CENTRE, FOCAL = (2000.0, 1500.0), 1000.0
PIXELS = np.stack(np.meshgrid(np.linspace(-4000, 8000, 30), np.linspace(-4000, 7000, 30)), axis=-1)


@pytest.mark.parametrize("k1", [-0.3, -3.0])
@pytest.mark.parametrize("k2", [-5.0, 0.0, 3.0])
@pytest.mark.parametrize("decentred", [False, True])
def test_pixels_beyond_the_fold_of_a_lens_are_computed_in_silence(k1, k2, decentred):
    lens = (
        BrownLens(CENTRE, FOCAL, k1, k2, -2.0, 0.01, 0.0) if decentred else RadialLens(CENTRE, FOCAL, k1, k2)
    )
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert lens.ideal(PIXELS.reshape(-1, 2)).shape == (900, 2)
