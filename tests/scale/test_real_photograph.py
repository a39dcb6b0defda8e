"""A real photograph with two known pitches: one sets the scale, the other checks it."""

from pathlib import Path

import numpy as np
import pytest

from trimgeo.scale import read_views

PHOTO = Path(__file__).parents[3] / "shared" / "photos" / "board.jpg"
pytestmark = pytest.mark.skipif(
    not PHOTO.exists(), reason="the photograph ../shared/photos/board.jpg is not beside this checkout"
)

# Read off the photograph by eye, half a pixel.  Pitch of dual-in-line packages 2.54 mm (JEDEC MS-001);
# of the quad flat package 0.65 mm (JEDEC MS-022, from memory).
LEADS = (62.5, 104.8), (160.0, 104.3)
SIX_PITCHES = 15.24
ROW = (361.0, 315.0), (484.8, 315.0)
TWENTY_NINE_PITCHES = 18.85


def test_two_pitches_of_a_photograph_agree_within_three_percent_and_the_rest_is_said(scenes):
    scale = scenes.points(LEADS, [(0, 0), (SIX_PITCHES, 0)])
    job = scenes.job(
        PHOTO.parent, image=PHOTO.name, scale=scale, checks=(scenes.check(*ROW, TWENTY_NINE_PITCHES),)
    )
    (view,) = read_views(job, None)
    (check,) = view.checks
    assert 0 < abs(check.error) / check.length < 0.03
    assert any("check 1 of 18.85 mm" in text for text in view.warnings)
    # the stated bound owns up to the disagreement: over the picture's 100 mm it is at least as large
    assert view.uncertainty > abs(check.error) / check.length * 60


def test_the_photograph_at_true_scale_shows_the_leads_where_they_were_measured(scenes):
    scale = scenes.points((*LEADS, *ROW), [(0, 0), (15.24, 0), (46.0, -33.0), (64.85, -33.0)])
    (view,) = read_views(scenes.job(PHOTO.parent, image=PHOTO.name, scale=scale), None)
    assert view.picture.pixels.shape[:2] == view.picture.size[::-1]
    assert view.picture.pixels_per_mm < 8
    assert np.isfinite(view.uncertainty)
