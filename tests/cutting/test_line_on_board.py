"""A line that is drawn on the board already: its view's uncertainty stands for printing and taping.

JCGM 100:2008 (GUM): independent contributions add in squares (5.1.2), what two positions share leaves
their difference (5.2.2).
"""

import numpy as np
import pytest
import shapely
from shapely import LineString

from trimgeo.cutting.clearance import LineOnBoard, rows
from trimgeo.model.board import Keepout
from trimgeo.model.job import Placing
from trimgeo.model.planemap import PlaneMap

BOARD, KEPT = shapely.box(0, 0, 100, 50), shapely.box(0, 0, 60, 50)
CUT = [LineString([(60, 0), (60, 50)])]
PLACING = Placing(print=0.3, taping=0.4, finish=0.1)


def part(view, uncertainty, known=True):
    spine = shapely.box(10, 10, 40, 30)
    return Keepout(
        "U1",
        "component",
        spine,
        0.0,
        (1,),
        None,
        0.5,
        "r",
        uncertainty=uncertainty,
        view=view,
        scale_known=known,
    )


def shifted(by):
    """A view that may be shifted as a whole by a standard uncertainty in x."""
    covariance = np.zeros((9, 9))
    covariance[2, 2] = by**2
    return PlaneMap(np.diag([0.1, -0.1, 1.0]), covariance)


def stretched(by):
    """A view whose scale in x may be wrong by a standard uncertainty."""
    covariance = np.zeros((9, 9))
    covariance[0, 0] = (0.1 * by) ** 2
    return PlaneMap(np.diag([0.1, -0.1, 1.0]), covariance)


def row(keepout, seen):
    (found,) = rows([keepout], KEPT, CUT, BOARD, 0.3, 0.3, PLACING, seen)
    return found


def test_printing_and_taping_do_not_count_for_a_line_that_is_there():
    assert row(part(None, 0.0), None).uncertainty == pytest.approx(2 * np.sqrt(0.3**2 + 0.4**2 + 0.1**2))
    drawn = LineOnBoard("top", shifted(0.0), 0.2)
    assert row(part(None, 0.0), drawn).uncertainty == pytest.approx(2 * np.sqrt(0.2**2 + 0.1**2))


def test_a_keepout_of_another_view_adds_its_own_uncertainty_to_the_lines():
    drawn = LineOnBoard("top", shifted(0.5), 0.2)
    expected = 2 * np.sqrt(0.5**2 + 0.2**2 + 0.1**2 + 0.7**2)
    assert row(part("bottom", 0.7), drawn).uncertainty == pytest.approx(expected)


def test_what_a_line_and_a_keepout_of_one_view_share_does_not_count_twice():
    drawn = LineOnBoard("top", shifted(0.5), 0.2)
    assert row(part("top", 0.5), drawn).uncertainty == pytest.approx(2 * np.sqrt(0.2**2 + 0.1**2))
    drawn = LineOnBoard("top", stretched(0.01), 0.0)  # they are 20 mm apart
    assert row(part("top", 0.4), drawn).uncertainty == pytest.approx(2 * np.sqrt(0.2**2 + 0.1**2))


def test_nothing_is_clear_on_a_view_whose_scale_nobody_knows():
    drawn = LineOnBoard("top", shifted(0.0), 0.0)
    assert row(part("top", 0.0), drawn).state == "clear"
    assert row(part("top", 0.0, known=False), None).state == "tight"
    assert row(part(None, 0.0), LineOnBoard("top", shifted(0.0), 0.0, scale_known=False)).state == "tight"
