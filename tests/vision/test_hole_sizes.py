"""Sizes that holes of one drill share: what must follow is weighted means by hand (inverse variances)."""

from dataclasses import replace

import numpy as np
import pytest

from trimgeo.model.board import Picture
from trimgeo.vision.hole_candidates import walls_of
from trimgeo.vision.hole_fit import Disc, Fit
from trimgeo.vision.hole_sizes import shared_sizes
from trimgeo.vision.holes import _measurable

PER_MM = 12.0


def fit(diameter, deviation, ring=None):
    """A hole of a diameter, mm, known to a standard deviation, mm."""
    disc = Disc((0.0, 0.0), diameter * PER_MM / 2, None, (1.0, 1.0))
    disc = Disc(disc.centre, disc.radius, None, disc.blurs, deviations=(0.05, deviation * PER_MM / 2))
    return Fit(disc, np.zeros(3), np.zeros(3), np.zeros(3), 1.0, ring)


def diameters(fits):
    return [2 * each.disc.radius / PER_MM for each in shared_sizes(fits, PER_MM)]


def test_an_unsure_size_is_the_mean_of_all_that_agree_by_inverse_variances():
    told = diameters([fit(0.800, 0.004), fit(0.803, 0.004), fit(0.825, 0.016)])
    weights = np.array([0.004, 0.004, 0.016]) ** -2
    assert told[:2] == pytest.approx([0.800, 0.803])
    assert told[2] == pytest.approx(weights @ [0.800, 0.803, 0.825] / weights.sum())


def test_a_hole_in_a_ring_tells_nothing_of_bare_ones():
    assert diameters([fit(0.8, 0.004, ring=9.0), fit(0.82, 0.016)])[1] == pytest.approx(0.82)


def test_between_two_drills_nothing_is_told():
    assert diameters([fit(0.80, 0.004), fit(0.85, 0.004), fit(0.82, 0.016)])[2] == pytest.approx(0.82)


def test_a_size_that_disagrees_stays_and_so_does_its_doubt():
    (_, alone) = shared_sizes([fit(0.80, 0.004), fit(0.90, 0.016)], PER_MM)
    assert alone.disc.radius == pytest.approx(0.90 * PER_MM / 2)
    assert alone.disc.deviations[1] == pytest.approx(0.016 * PER_MM / 2)


def test_a_hole_that_is_unsure_alone_is_given_beside_a_sure_one_of_its_drill():
    """0.018 mm is over the 0.016 of one hole; with 0.004 beside it, it is known to 0.005."""
    scan = walls_of(Picture(PER_MM, (0.0, 0.0), (9, 9), lambda: np.zeros((9, 9, 3), np.uint8)), None, 0.0)
    sure, unsure = ((fit(0.8, 0.004), (90.0, 90.0)), (fit(0.82, 0.018), (0.0, 0.0)))
    lit = [replace(each, disc=replace(each.disc, centre=at, contrast=100.0)) for each, at in (sure, unsure)]
    assert _measurable(lit[1:], scan, PER_MM) == []
    assert len(_measurable(lit, scan, PER_MM)) == 2
