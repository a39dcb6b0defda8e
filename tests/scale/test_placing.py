"""A placed map: what its own lens may be wrong by stays in its bound (JCGM 101:2008, drawn at random)."""

import numpy as np
import pytest
import shapely

from trimgeo.errors import JobError
from trimgeo.model.lens import RadialLens
from trimgeo.model.planemap import PlaneMap
from trimgeo.scale.place import placed
from trimgeo.scale.rectify import shown_area
from trimgeo.scale.scaled import refuse_folded

LENS = np.array([500.0, 400.0, 1000.0, 0.05, 0.0])
SPREAD = np.array([3.0, 3.0, 10.0, 0.01, 0.002])
MATRIX = np.array([[0.1, 0.01, 0.0], [0.0, -0.1, 80.0], [0.00001, 0.00002, 1.0]])
ORIGIN, ALONG = (100.0, 700.0), (900.0, 690.0)
PLACES = np.array([[150.0, 150.0], [900.0, 120.0], [880.0, 650.0], [500.0, 400.0]])


def seen_through(lens):
    centre = (float(lens[0]), float(lens[1]))
    covariance = np.zeros((14, 14))
    covariance[9:, 9:] = np.diag(SPREAD**2)
    return PlaneMap(
        MATRIX, covariance, lens=RadialLens(centre, *map(float, lens[2:])), eye=(40.0, 30.0, 200.0)
    )


def test_the_uncertainty_of_a_placed_photo_is_that_of_lenses_drawn_at_random():
    stated = placed(seen_through(LENS), ORIGIN, ALONG, reading=0.0).position_covariance(PLACES)
    random = np.random.default_rng(1)
    drawn = np.array(
        [
            placed(seen_through(LENS + SPREAD * random.standard_normal(5)), ORIGIN, ALONG).to_mm(PLACES)
            for _ in range(4000)
        ]
    )
    for n in range(len(PLACES)):
        truth = np.cov(drawn[:, n].T)
        assert stated[n] == pytest.approx(truth, abs=0.1 * np.trace(truth))


def test_the_camera_moves_with_the_map():
    found = placed(seen_through(LENS), ORIGIN, ALONG)
    before = seen_through(LENS)
    spots = before.to_mm([ORIGIN, ALONG])
    way = spots[1] - spots[0]
    along = np.dot(np.array([40.0, 30.0]) - spots[0], way) / np.hypot(*way)
    assert found.eye[0] == pytest.approx(along)
    assert np.hypot(*found.eye[:2]) == pytest.approx(np.hypot(*(np.array([40.0, 30.0]) - spots[0])))
    assert found.eye[2] == 200.0


@pytest.mark.parametrize("shown", [shapely.Polygon([(0, 0), (10, 10), (10, 0), (0, 10)]), shapely.Polygon()])
def test_a_picture_folded_over_itself_is_refused(shown):
    with pytest.raises(JobError, match="fold the picture over itself"):
        refuse_folded(shown, "view")


def test_a_map_to_nowhere_shows_nothing():
    matrix = np.array([[0.1, 0, 0], [0, -0.1, 0], [0.001, 0, 0.0]])  # column 0 lies on the horizon
    with np.errstate(all="ignore"):
        assert shown_area(PlaneMap(matrix, np.zeros((9, 9))), (100, 80)).is_empty
