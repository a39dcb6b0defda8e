import math

import numpy as np
import pytest
from shapely import LineString, Point, Polygon, box

from trimgeo.cutting.exposure import exposed, severed
from trimgeo.model.board import Keepout
from trimgeo.model.plan import Cut

KEPT = box(0, 0, 30, 40)
EDGE = LineString([(30, 0), (30, 40)])
CUT = Cut(1, EDGE)


def copper(spine, radius=0.0, **changes):
    values = {"name": "K", "kind": "trace", "layers": (1,), "net": None, "required": 0.5, "reason": ""}
    return Keepout(spine=spine, radius=radius, **(values | changes))


def places(spine, radius=0.0, edges=(EDGE,), **changes):
    found = severed([copper(spine, radius, **changes)], edges)
    return [one.at for one in found]


def stretches(*keepouts, kept=KEPT, cuts=(CUT,)):
    return [(one.cut, one.layer, one.net, one.start, one.end) for one in exposed(keepouts, kept, cuts)]


def test_a_track_is_severed_where_its_centre_line_crosses():
    zigzag = LineString([(20, 5), (40, 15), (20, 25)])
    assert places(zigzag, 0.5) == [((30.0, 10.0), (30.0, 20.0))]


def test_a_bend_of_the_centre_line_on_the_edge_is_one_crossing():
    assert places(LineString([(20, 5), (30, 15), (40, 5)]), 0.5) == [((30.0, 15.0),)]


def test_a_track_shaved_along_its_side_is_severed_where_its_outline_crosses():
    # chords of the round ends: centre 0.3 off the edge, radius 0.5, so 0.4 to either side
    [points] = places(LineString([(29.7, 10), (29.7, 20)]), 0.5)
    assert np.array(points) == pytest.approx(np.array([(30, 9.6), (30, 20.4)]))


def test_an_area_is_severed_where_its_outline_crosses():
    assert places(box(20, 5, 35, 9), kind="copper", net="GND") == [((30.0, 5.0), (30.0, 9.0))]
    [points] = places(Point(29, 20), 2.0, kind="via", net="GND")
    assert np.array(points) == pytest.approx(np.array([(30, 20 - math.sqrt(3)), (30, 20 + math.sqrt(3))]))


def test_a_corner_of_the_outline_inside_an_area_is_no_crossing():
    corner = [LineString([(30, 0), (30, 20)]), LineString([(30, 20), (0, 20)])]
    [points] = places(box(25, 15, 35, 25), kind="copper", net="GND", edges=corner)
    assert points == ((25.0, 20.0), (30.0, 15.0))


def test_an_edge_that_begins_and_ends_inside_an_area_gives_its_ends():
    assert places(box(20, -5, 40, 45), kind="copper", net="GND") == [((30.0, 0.0), (30.0, 40.0))]


@pytest.mark.parametrize("spine", [box(20, 5, 30, 9), box(30, 5, 35, 9), box(5, 5, 9, 9), box(35, 5, 39, 9)])
def test_what_touches_or_stays_clear_is_not_severed(spine):
    assert places(spine, kind="copper", net="GND") == []
    assert places(Point(28, 10), 2.0, kind="via", net="GND") == []


def test_only_traces_and_named_nets_are_severed_may_be_cut_or_not():
    across = box(20, 5, 35, 9)
    assert places(across, kind="component") == []
    assert len(places(across, kind="component", net="GND", may_cut=True)) == 1
    assert len(places(across, kind="trace", may_cut=True)) == 1


def test_a_track_across_a_slanted_cut_is_exposed_over_its_width_by_the_sine():
    slanted = Cut(4, LineString([(20, 0), (60, 40)]))
    kept = Polygon([(0, 0), (20, 0), (60, 40), (0, 40)])
    [found] = exposed([copper(LineString([(0, 10), (60, 10)]), 0.25, net="5V", layers=(2,))], kept, [slanted])
    assert found.length == pytest.approx(0.5 / math.sin(math.pi / 4))
    assert (found.cut, found.layer, found.net) == (4, 2, "5V")


def test_a_disc_is_exposed_over_its_chord():
    [found] = exposed([copper(Point(29, 20), 2.0, kind="via", layers=(1, 4))], KEPT, [CUT])[:1]
    assert found.length == pytest.approx(2 * math.sqrt(3))


def test_touching_stretches_of_one_layer_and_net_are_one():
    first, second = box(20, 5, 35, 9), box(25, 9, 35, 12)
    other = copper(box(20, 8, 35, 10), net="5V")
    apart = copper(box(20, 20, 35, 21), net="GND")
    found = stretches(copper(first, net="GND"), copper(second, net="GND", kind="copper"), other, apart)
    assert found == [
        (1, 1, "GND", (30.0, 5.0), (30.0, 12.0)),
        (1, 1, "5V", (30.0, 8.0), (30.0, 10.0)),
        (1, 1, "GND", (30.0, 20.0), (30.0, 21.0)),
    ]


def test_each_layer_and_cut_has_its_own_stretch():
    top = Cut(2, LineString([(30, 40), (0, 40)]))
    found = stretches(copper(box(25, 35, 35, 45), layers=(1, 3), net="GND"), cuts=(CUT, top))
    assert [entry[:2] for entry in found] == [(1, 1), (1, 3), (2, 1), (2, 3)]


def test_copper_whose_outline_runs_along_the_cut_is_exposed_on_the_kept_side_only():
    inner, outer = copper(box(20, 5, 30, 9)), copper(box(30, 15, 35, 19))
    assert stretches(inner, outer) == [(1, 1, None, (30.0, 5.0), (30.0, 9.0))]
    track = copper(LineString([(29.5, 10), (29.5, 20)]), 0.5)
    assert stretches(track) == [(1, 1, None, (30.0, 10.0), (30.0, 20.0))]


def test_only_copper_is_exposed_and_holes_in_it_are_not():
    plane = copper(box(20, 5, 35, 15).difference(box(28, 8, 32, 11)), kind="copper", net="GND", may_cut=True)
    part = copper(box(20, 20, 35, 25), kind="component")
    assert stretches(plane, part) == [
        (1, 1, "GND", (30.0, 5.0), (30.0, 8.0)),
        (1, 1, "GND", (30.0, 11.0), (30.0, 15.0)),
    ]


def test_a_stretch_goes_on_around_the_chords_of_a_curved_cut():
    curve = Point(0, 0).buffer(10, quad_segs=8)
    arc = LineString(list(curve.exterior.coords)[::-1][:9])
    [found] = exposed([copper(box(-20, -20, 20, 20), kind="copper", net="GND")], curve, [Cut(1, arc)])
    assert found.length == pytest.approx(arc.length)
