"""Strokes, hatches and signs: the geometry under the sheets."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, Point, Polygon

from trimgeo.drawing.signs import LINES, STATES, layer_hatch, layers_number, rgb
from trimgeo.drawing.strokes import dashed, dots, hatched
from trimgeo.tables import OKABE_ITO

# Okabe and Ito 2008: eight colours that all kinds of colour vision tell apart.
PALETTE = {
    "black": rgb("#000000"),
    "orange": rgb("#E69F00"),
    "sky blue": rgb("#56B4E9"),
    "bluish green": rgb("#009E73"),
    "yellow": rgb("#F0E442"),
    "blue": rgb("#0072B2"),
    "vermilion": rgb("#D55E00"),
    "reddish purple": rgb("#CC79A7"),
}

points = st.lists(st.tuples(st.integers(0, 90), st.integers(0, 90)), min_size=2, max_size=8, unique=True)


@given(points, st.floats(0.5, 8.0), st.floats(0.3, 4.0))
@settings(max_examples=40, deadline=None)
def test_dashes_lie_on_their_line_and_cover_their_share_of_it(
    corners: list[tuple[int, int]], ink: float, gap: float
) -> None:
    line = LineString(corners)
    drawn = [LineString(dash) for dash in dashed(corners, ink, gap) if len(dash) > 1]
    assert all(line.buffer(1e-6).covers(dash) for dash in drawn)
    share = sum(dash.length for dash in drawn) / line.length
    # Runs shorter than half a period are drawn whole, so the share is at least that of the pattern.
    assert ink / (ink + gap) - 1e-9 <= share <= 1.0 + 1e-9


def test_every_corner_lies_inside_a_dash() -> None:
    square = [(0.0, 0.0), (40.0, 0.0), (40.0, 30.0), (0.0, 30.0), (0.0, 0.0)]
    turning = [dash for dash in dashed(square, 5.0, 1.4) if len(dash) == 3]
    assert sorted(dash[1] for dash in turning) == [(0.0, 0.0), (0.0, 30.0), (40.0, 0.0), (40.0, 30.0)]


def test_a_flattened_circle_has_no_corner_and_even_dashes() -> None:
    ring = Point(0, 0).buffer(20, quad_segs=64).exterior.coords
    lengths = [LineString(dash).length for dash in dashed(ring, 5.0, 1.4)]
    assert np.ptp(lengths) < 0.02


@pytest.mark.parametrize("angle", [0.0, 22.5, 45.0, 90.0, 157.5])
def test_hatch_lines_fill_an_area_at_their_pitch(angle: float) -> None:
    area = Polygon([(0, 0), (60, 5), (50, 40), (30, 20), (5, 45)])
    lines = hatched([area], angle, 0.5)
    assert area.buffer(1e-6).covers(lines)
    # Cavalieri: length of evenly spaced chords times their distance is the area.
    assert lines.length * 0.5 == pytest.approx(area.area, rel=0.01)
    directions = {
        round(np.degrees(np.arctan2(*np.diff(np.asarray(l.coords), axis=0)[0][::-1])) % 180, 6) % 180
        for l in lines.geoms
    }
    assert directions == {angle}


def test_areas_that_meet_share_their_hatch() -> None:
    halves = [shapely.box(0, 0, 10, 10), shapely.box(10, 0, 20, 10)]
    whole = hatched([shapely.box(0, 0, 20, 10)], 22.5, 1.0)
    assert whole.symmetric_difference(hatched(halves, 22.5, 1.0).buffer(1e-6)).length < 1e-3 or (
        whole.difference(hatched(halves, 22.5, 1.0).buffer(1e-6)).length < 1e-6
    )


def test_dots_are_even() -> None:
    spots = np.asarray(dots(LineString([(0, 0), (12, 0), (12, 6)]), 1.2))
    assert len(spots) == 15
    assert np.allclose(np.hypot(*np.diff(spots, axis=0).T), 1.2, atol=0.4)


def test_no_two_lines_of_the_cut_differ_by_colour_alone() -> None:
    """Luma of ITU-R BT.601, from memory: what a grey print leaves of a colour."""
    kinds = ("guide", "finished", "board", "swept", "kerf", "lift", "window", "stop", "keepout", "overlap")
    looks = {
        (line.dashes, round(line.width, 2), round(np.dot(rgb(line.colour), (0.299, 0.587, 0.114)) / 64))
        for line in (LINES[kind] for kind in kinds)
    }
    assert len(looks) == len(kinds)
    assert len({sign.shape for sign in STATES.values()}) == 3


def test_colours_are_of_the_palette_or_grey() -> None:
    for line in (*LINES.values(), *STATES.values()):
        red, green, blue = rgb(line.colour)
        assert (red, green, blue) in PALETTE.values() or red == green == blue


def test_the_palette_is_the_published_one() -> None:
    assert {name: rgb(colour) for name, colour in OKABE_ITO.items()} == PALETTE


def test_the_first_18_layers_have_hatches_of_their_own() -> None:
    looks = [(layer_hatch(n).angles, layer_hatch(n).pitch) for n in range(1, 19)]
    assert all(a != b for a, b in combinations(looks, 2))
    assert (45.0,) not in [angles for angles, _ in looks]  # the kerf's own


def test_layer_numbers_are_written_as_runs() -> None:
    assert [layers_number(x) for x in ((1,), (1, 4), (4, 3, 2), (1, 2, 3, 4))] == [
        "[1]",
        "[1, 4]",
        "[2–4]",
        "[1–4]",
    ]
