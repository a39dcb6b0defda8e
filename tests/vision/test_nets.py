"""Nets: built from conductors that are known, on paper and out of drawn pictures."""

import importlib.util
import sys
from pathlib import Path

import numpy as np
import pytest
from shapely import MultiPolygon, Point, box

from trimgeo.errors import JobError
from trimgeo.vision.nets import Link, Seed, nets

_bench = Path(__file__).parents[1] / "bench" / "copper.py"
_spec = importlib.util.spec_from_file_location("copper_bench", _bench)
bench = importlib.util.module_from_spec(_spec)
sys.modules["copper_bench"] = bench
_spec.loader.exec_module(bench)


@pytest.mark.parametrize("number", [0, 7])
def test_nets_of_drawn_layers_are_those_that_were_drawn(number):
    assert bench.one_set(bench._drawn(), number)["wrong"] == []


def test_a_via_joins_what_its_barrel_touches_and_passes_a_clearance_hole():
    plane = box(0, 0, 20, 20).difference(Point(5, 5).buffer(0.6))
    links = [Link("V1", (5, 5), 0.4, (1, 2, 3)), Link("V2", (15, 5), 0.4, (1, 2))]
    layers = {1: [box(4, 4, 6, 6), box(14, 4, 16, 6)], 2: [plane], 3: [box(4, 4, 6, 6)]}
    found = nets(layers, links, [Seed(1, "A", (4.5, 4.5)), Seed(2, "GND", (10, 10))])
    assert [each.name for each in found] == ["1:A", "1:GND", "2:GND", "3:A"]


@pytest.mark.parametrize(("gap", "joined"), [(0.04, True), (0.1, False)])
def test_a_barrel_is_not_joined_across_the_least_spacing_of_inner_layers(gap, joined):
    """0.1 mm at 31 to 100 V: IPC-2221B table 6-1, column B1, from memory. What is nearer is a picture off."""
    plane = box(0, 0, 20, 20).difference(Point(5, 5).buffer(0.2 + gap, quad_segs=64))
    found = nets({2: [box(4.9, 4.9, 5.1, 5.1)], 3: [plane]}, [Link("V1", (5, 5), 0.4, (2, 3), "A")], [])
    assert [each.net for each in found if each.layer == 3] == ["A" if joined else None]


def test_a_blind_via_joins_only_the_layers_it_passes():
    layers = {n: [box(0, 0, 1, 1)] for n in (1, 2, 3)}
    found = nets(layers, [Link("V1", (0.5, 0.5), 0.3, (1, 2))], [Seed(1, "A", (0.1, 0.1))])
    assert [each.net for each in found] == ["A", "A", None]


def test_all_areas_of_a_net_on_a_layer_are_one_and_numbers_run_left_to_right():
    layers = {1: [box(8, 0, 9, 1), box(0, 0, 1, 1), box(4, 0, 5, 1), box(4, 3, 5, 4)]}
    found = nets(layers, [], [Seed(1, "A", (0.5, 0.5)), Seed(1, "A", (8.5, 0.5))])
    assert [each.name for each in found] == ["1:A", "1:2", "1:3"]
    assert isinstance(found[0].polygon, MultiPolygon) and found[0].polygon.area == 2
    assert found[1].polygon.equals(box(4, 0, 5, 1))


def test_a_number_is_never_a_net_of_that_name():
    found = nets({1: [box(0, 0, 1, 1), box(2, 0, 3, 1)]}, [], [Seed(1, "1", (2.5, 0.5))])
    assert sorted(each.name for each in found) == ["1:1", "1:2"]


def test_two_names_that_meet_are_refused_with_the_barrels_that_join_them():
    layers = {1: [box(0, 0, 1, 1), box(8, 0, 9, 1)], 2: [box(0, 0, 9, 1)]}
    links = [Link("V1", (0.5, 0.5), 0.3, (1, 2)), Link("V2", (8.5, 0.5), 0.3, (1, 2))]
    sentence = r'"A" \(\(0\.10, 0\.10\) mm on layer 1\) and "B" \(\(8\.10, 0\.10\) mm on layer 1\) meet: '
    with pytest.raises(JobError, match=sentence + r'joined by "V1" at \(0\.50, 0\.50\) mm, "V2" at'):
        nets(layers, links, [Seed(1, "A", (0.1, 0.1)), Seed(1, "B", (8.1, 0.1))])
    with pytest.raises(JobError, match=r"meet: both on one area of copper of layer 2"):
        nets(layers, [], [Seed(2, "A", (0.1, 0.1)), Seed(2, "B", (8.1, 0.1))])


def test_a_via_that_has_a_net_names_what_it_touches_and_disagrees_with_a_seed():
    layers = {1: [box(0, 0, 1, 1)]}
    link = Link("V1", (0.5, 0.5), 0.3, (1, 2), "GND")
    assert nets(layers, [link], [])[0].name == "1:GND"
    with pytest.raises(JobError, match=r'"VCC".* and "GND" \("V1" at .*meet'):
        nets(layers, [link], [Seed(1, "VCC", (0.1, 0.1))])


def test_a_seed_beside_copper_is_told_how_far_the_nearest_is():
    with pytest.raises(
        JobError, match=r'"A" is seeded at \(3\.00, 0\.50\) mm on layer 1, .* 2\.00 mm away, at \(1\.00'
    ):
        nets({1: [box(0, 0, 1, 1)]}, [], [Seed(1, "A", (3.0, 0.5))])
    with pytest.raises(JobError, match=r"no copper was found"):
        nets({1: []}, [], [Seed(1, "A", (3.0, 0.5))])
    with pytest.raises(JobError, match=r"no copper was found"):
        nets({}, [], [Seed(5, "A", (3.0, 0.5))])


def test_a_seed_in_the_bore_of_a_plated_hole_is_on_its_pad():
    pad = Point(5, 5).buffer(1.0).difference(Point(5, 5).buffer(0.6))
    assert nets({1: [pad]}, [Link("H1", (5, 5), 1.2, (1,))], [Seed(1, "A", (5, 5))])[0].net == "A"


def test_what_must_not_be_cut_on_one_layer_must_not_on_any_unless_that_layer_says_so():
    layers = {n: [box(0, 0, 1, 1), box(3, 0, 4, 1)] for n in (1, 2, 3)}
    link = Link("V1", (0.5, 0.5), 0.3, (1, 2, 3))
    seeds = [Seed(1, "A", (0.1, 0.1), False), Seed(3, "A", (0.1, 0.1), True)]
    found = nets(layers, [link], seeds, may_cut={3: False})
    assert [(each.name, each.may_cut) for each in found] == [
        ("1:A", False), ("1:2", True), ("2:A", False), ("2:2", True), ("3:A", True), ("3:2", False),
    ]  # fmt: skip


def test_ten_thousand_areas_are_no_hindrance():
    pads = [box(x, y, x + 0.5, y + 0.5) for x in range(100) for y in range(100)]
    links = [Link(f"V{n}", (n % 100 + 0.25, n // 100 + 0.25), 0.3, (1, 2)) for n in range(10_000)]
    seeds = [Seed(1, f"N{n}", (n + 0.1, 0.1)) for n in range(100)]
    found = nets({1: pads, 2: [box(0, y, 100, y + 0.5) for y in range(1, 100)]}, links, seeds)
    assert np.sum([each.net is not None for each in found]) == 100
