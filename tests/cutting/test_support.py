"""Start holes and the clamp: where they may be, checked by distances."""

from __future__ import annotations

from pathlib import Path

import shapely
from shapely import LineString, Point, Polygon, box

import trimgeo
from trimgeo.cutting.edges import chains, new_edges
from trimgeo.cutting.lines import lines
from trimgeo.cutting.order import order_cuts
from trimgeo.cutting.support import clamp, start_holes
from trimgeo.model.board import Ring
from trimgeo.model.job import Cutter, Finish
from trimgeo.model.plan import Cut, Hole

BOARD = box(0, 0, 160, 90)
SAW = Cutter(kind="blade", kerf=0.8, wander=0.3)


def holes(part: Polygon, cutter: Cutter = SAW) -> tuple[tuple[Hole, ...], tuple[str, ...]]:
    cuts = ordered(part)
    laid = lines(Ring(part), Ring(BOARD), cuts, cutter, Finish(sanding=0.4), 1.6)
    return start_holes(laid.tool_centre, cuts, part, BOARD, cutter, 0.4)


def ordered(part: Polygon) -> tuple[Cut, ...]:
    cuts = new_edges(Ring(part), Ring(BOARD))
    return order_cuts(cuts, chains(cuts, Ring(part)), Ring(BOARD))


def test_a_blade_that_cannot_come_from_the_edge_gets_a_hole_in_the_waste() -> None:
    part = Polygon([(20, 20), (120, 25), (110, 70), (30, 60)])
    (hole,), said = holes(part)
    disc = Point(hole.at).buffer(hole.diameter / 2, quad_segs=64)
    assert said == () and BOARD.contains(disc)
    assert disc.distance(part) >= 0.4 + 0.3 - 1e-3
    first = ordered(part)[0]
    assert hole.cut == 1 and Point(hole.at).distance(Point(first.start)) < 3


def test_from_the_edge_and_for_wheels_and_bits_there_is_none() -> None:
    assert holes(box(0, 0, 60, 90)) == ((), ())
    assert holes(box(20, 20, 60, 60), Cutter(kind="bit", kerf=2.0)) == ((), ())


def test_where_the_waste_is_too_narrow_for_a_hole_that_is_said() -> None:
    found, (said,) = holes(BOARD.buffer(-1.5, join_style="mitre"))
    assert found == () and said.startswith("A blade cannot enter cut 1: no place in the waste")


def test_the_clamp_is_the_largest_free_place_of_the_kept_board() -> None:
    part, tall = box(0, 0, 80, 40), box(30, 0, 80, 40)
    found = clamp(part, [tall])
    assert found is not None
    (x, y), radius = found
    assert abs(radius - 15) < 0.05
    assert shapely.Point(x, y).buffer(radius - 0.05).distance(tall) >= 0
    assert clamp(part, [box(-1, -1, 90, 50)]) is None
    assert LineString([(x, y), (x, y + 1)]).within(part)


def test_a_start_hole_keeps_off_parts_that_stand_in_the_waste() -> None:
    part = Polygon([(20, 20), (120, 25), (110, 70), (30, 60)])
    cuts = ordered(part)
    laid = lines(Ring(part), Ring(BOARD), cuts, SAW, Finish(sanding=0.4), 1.6)
    (free,), _ = start_holes(laid.tool_centre, cuts, part, BOARD, SAW, 0.4)
    coil = Point(free.at).buffer(3)
    (moved,), _ = start_holes(laid.tool_centre, cuts, part, BOARD, SAW, 0.4, [coil])
    assert coil.distance(Point(moved.at)) >= moved.diameter / 2 - 1e-2  # the rim of a buffer, in chords


def test_the_clamp_keeps_off_parts_whose_height_nobody_gave(tmp_path: Path) -> None:
    (tmp_path / "job.toml").write_text(
        'job = { title = "t" }\nboard = { thickness = 1.6, edge = [[0, 0], [80, 0], [80, 60], [0, 60]] }\n'
        'cutter = { kind = "blade", kerf = 0.6 }\nfinish = { sanding = 0.3 }\n'
        "outline = { points = [[0, 0], [50, 0], [50, 60], [0, 60]] }\n"
        '[[keepout]]\nname = "U1"\nkind = "component"\npolygon = [[10, 15], [40, 15], [40, 45], [10, 45]]\n'
    )
    support = trimgeo.plan(trimgeo.prepare(trimgeo.load(tmp_path))).holding.support
    assert support is not None and support.clamp is not None
    at, radius = support.clamp
    assert Point(at).distance(box(10, 15, 40, 45)) >= radius - 0.02


BARE = (
    'job = { title = "t" }\nboard = { thickness = 1.6, edge = [[0, 0], [80, 0], [80, 60], [0, 60]] }\n'
    "finish = { sanding = 0.3 }\noutline = { points = [[0, 0], [50, 0], [50, 60], [0, 60]] }\n"
)
U1 = '[[keepout]]\nname = "U1"\nkind = "component"\npolygon = [[38, 25], [46, 25], [46, 36], [38, 36]]\n'
WHEEL = 'cutter = { kind = "wheel", kerf = 1.0, diameter = 38 }\n'


def warned(tmp_path: Path, text: str) -> str:
    (tmp_path / "job.toml").write_text(BARE + text)
    return " ".join(trimgeo.plan(trimgeo.prepare(trimgeo.load(tmp_path))).warnings)


def test_a_part_of_unknown_height_is_said_to_be_unknown_under_a_lid(tmp_path: Path) -> None:
    case = "[case]\ncavity = [[-1, -1], [51, -1], [51, 61], [-1, 61]]\ngap = 0.2\nlid = 5\n"
    assert 'closes over "U1" is not known' in warned(tmp_path, WHEEL + U1 + case)
    assert "not known" not in warned(tmp_path, WHEEL + U1 + "height = 3\n" + case)
    assert "not known" not in warned(tmp_path, WHEEL + U1 + case.replace("lid = 5\n", ""))


def test_a_part_of_unknown_height_beside_a_cut_is_said_to_be_unknown_to_the_holder(tmp_path: Path) -> None:
    held = 'cutter = { kind = "bit", kerf = 1.0, holder = { radius = 10, reach = 4 } }\n'
    assert 'holder clears "U1" is not known' in warned(tmp_path, held + U1)
    assert "not known" not in warned(tmp_path, held + U1 + "height = 1\n")
    assert "not known" not in warned(tmp_path, held + U1.replace("38", "8").replace("46", "16"))
