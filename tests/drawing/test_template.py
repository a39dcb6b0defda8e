"""Template sheets: what is on them, that nothing covers anything, that pages match."""

from __future__ import annotations

import re
from itertools import combinations
from typing import Any

import numpy as np
import pytest
import shapely
from shapely import LineString, Point, box

from trimgeo.drawing.lettering import text_box
from trimgeo.drawing.sheet import Sheet, Strokes
from trimgeo.drawing.template import template_sheets
from trimgeo.errors import JobError
from trimgeo.model.board import Hole
from trimgeo.model.plan import Corner, Lift

STRONG = ("guide", "finished", "board", "kerf", "kerf-hatch", "cross-hair", "hole", "stop", "bar-x", "bar-y")
FAINT = ("keepout", "keepout-hatch")  # ends where a text stands
CASES = [(120, 90, "A4"), (190, 130, "letter"), (330, 250, "A3"), (420, 300, "A4")]


def words(sheet: Sheet) -> str:
    return " ".join(text.text for text in sheet.texts())


@pytest.fixture(scope="module", params=CASES, ids=lambda case: "-".join(map(str, case)))
def crowded(request: Any, hand: Any) -> tuple[Sheet, ...]:
    return hand.crowded_sheets(*request.param)


def test_no_text_covers_another_or_leaves_the_printable_page(crowded: tuple[Sheet, ...]) -> None:
    for sheet in crowded:
        boxes = np.asarray([text_box(text) for text in sheet.texts()])
        tree = shapely.STRtree(shapely.box(*boxes.T))
        pairs = tree.query(tree.geometries, predicate="intersects").T
        shared = [
            tree.geometries[a].intersection(tree.geometries[b]).area for a, b in pairs.tolist() if a < b
        ]
        assert max(shared, default=0.0) < 1e-9
        # 7 mm: what printers leave white (common practice: 5 to 6.5 mm).
        assert boxes[:, :2].min() >= 7.0
        assert boxes[:, 2].max() <= sheet.width - 7.0 and boxes[:, 3].max() <= sheet.height - 7.0


def test_no_text_stands_on_a_line_or_under_a_pointer(crowded: tuple[Sheet, ...], hand: Any) -> None:
    for sheet in crowded:
        boxes = shapely.box(*np.asarray([text_box(text) for text in sheet.texts()]).T)
        tree = shapely.STRtree(boxes)
        for kind in (*STRONG, *FAINT, "leader", "overlap", "match", "window", "lift"):
            lines = np.asarray([LineString(p) for p in hand.paths(sheet, kind)], dtype=object)
            hits = tree.query(lines, predicate="intersects").T.tolist()
            grazed = [lines[a].intersection(boxes[b]).length for a, b in hits]
            # Pointers are sampled three times a cell of half a mm: they may graze the rim of a box.
            assert max(grazed, default=0.0) <= (0.25 if kind == "leader" else 1e-9), kind


def test_every_line_stays_on_the_printable_page(crowded: tuple[Sheet, ...]) -> None:
    for sheet in crowded:
        for item in sheet.items:
            if isinstance(item, Strokes):
                xy = np.asarray([point for path in item.paths for point in path])
                assert xy.min() >= 7.0
                assert xy[:, 0].max() <= sheet.width - 7.0 and xy[:, 1].max() <= sheet.height - 7.0


def test_every_name_is_on_the_sheets_of_each_face(crowded: tuple[Sheet, ...]) -> None:
    for face in ("top", "bottom"):
        everything = " ".join(words(sheet) for sheet in crowded if sheet.name.startswith(face))
        together = "".join(everything.split())
        for n in range(60):
            name = f"part {n}" if n % 4 else f"keep-out {n}, a very long name indeed"
            # A name in two lines of a label loses nothing but its space.
            assert re.search(rf"{re.escape(''.join(name.split()))}(?!\d)", together), name
        assert "holeindeed" not in together


def test_no_label_of_60_keepouts_is_left_to_the_list_alone(crowded: tuple[Sheet, ...]) -> None:
    for sheet in crowded:
        assert not re.search(r", at \(\d", words(sheet))


def test_what_finds_no_place_at_all_is_listed_with_its_position(hand: Any) -> None:
    same = [hand.keepout(f"via {n}", "via", Point(20, 20), 0.3, layers=(1, 2)) for n in range(60)]
    square = [(0, 0), (50, 0), (50, 40), (0, 40)]
    plan = hand.plan(square, [(40, 0), (40, 40)], [(0, 0), (40, 0), (40, 40), (0, 40)], keepouts=same)
    said = " ".join(words(sheet) for sheet in template_sheets(plan, "A4"))
    assert all(re.search(rf"via {n}\b", said) for n in range(60))
    assert "via, at (20.0, 20.0)" in said


def test_every_sheet_has_bars_cautions_face_revision_variant_and_number(crowded: tuple[Sheet, ...]) -> None:
    for number, sheet in enumerate(crowded, start=1):
        said = words(sheet)
        for needed in ("FFP2 / N95", "lithium", "mains", "capacitors", "eye protection", "licensed practice"):
            assert needed in said
        assert "Greenhouse logger" in said and "revision B" in said and "variant display" in said
        assert f"sheet {number} of {len(crowded)}" in said
        assert ("SEEN FROM BELOW, already mirrored: print as it is" in said) == sheet.name.startswith(
            "bottom"
        )
        assert said.count("100 mm") >= 2 and "stretch = [" in said
        kinds = [getattr(item, "kind", "") for item in sheet.items]
        assert kinds.count("bar-x") == kinds.count("bar-y") == kinds.count("orientation") == 1


def test_a_small_board_takes_one_sheet_a_face(hand: Any) -> None:
    assert [sheet.name for sheet in template_sheets(hand.small_plan(), "A4")] == ["top", "bottom"]


def test_cuts_carry_number_length_and_uncertainty(hand: Any) -> None:
    said = words(template_sheets(hand.small_plan(), "A4")[0])
    # JCGM 100:2008 6.2: 2 * sqrt(0.10^2 + 0.15^2 + 0.10^2) = 0.4123.
    for n, length in enumerate((35.0, 25.0, 25.0, 45.0), start=1):
        assert re.search(rf"\b{n} {length:.2f} (mm )?± 0.41", said)


def test_stop_bars_stand_back_from_the_corner_of_the_guide_line(hand: Any) -> None:
    plan = hand.small_plan()
    sheet = template_sheets(plan, "A4")[0]
    edge = np.asarray([xy for path in hand.paths(sheet, "board") for xy in path])
    corner = Point(edge[:, 0].min() + 45.4, edge[:, 1].min() + 35.4)
    bars = [LineString(path) for path in hand.paths(sheet, "stop")]
    # The feet of the bars on the guide line are 4.35 mm from its corner, as the corner says.
    distances = sorted(corner.distance(bar) for bar in bars)
    assert distances[:2] == pytest.approx([4.35, 4.35], abs=1e-6)
    assert "no deeper than 0.5 mm past the far face" in words(sheet)


def test_a_cut_shorter_than_its_stop_is_said_to_be_impossible(hand: Any) -> None:
    plan = hand.plan(
        [(0, 0), (60, 0), (60, 60), (0, 60)],
        [(30, 0), (30, 3), (20, 3), (20, 60)],
        [(0, 0), (30, 0), (30, 3), (20, 3), (20, 60), (0, 60)],
        corners=[Corner((20, 3), True, 14.0, None)],
    )
    assert "not possible with this wheel" in words(template_sheets(plan, "A4")[0])


def test_windows_are_for_what_stays_and_stands_on_that_face(hand: Any) -> None:
    top, bottom = template_sheets(hand.small_plan(), "A4")
    assert "logger chip [1], 2.2 mm high" in words(top) and "choke, 9 mm high" in words(top)
    assert "coin cell [4], 5.4 mm high" in words(bottom) and "logger chip [1], 2.2" not in words(bottom)
    assert "The bottom face is the flatter one" in words(top) and "This is the flatter face" in words(bottom)
    assert "relay: it is to come off; 15 mm high" in words(top)
    assert "on the other face: 1, see its sheet" in words(bottom)
    window = next(path for path in hand.paths(top, "window"))
    assert len(window) >= 2


def test_layers_that_nobody_described_are_called_not_known(hand: Any) -> None:
    assert "NOT KNOWN, so not shown: copper layers without a picture or keep-out: 3." in words(
        template_sheets(hand.small_plan(), "A4")[0]
    )


def test_stretch_is_divided_out_of_board_and_bars(hand: Any) -> None:
    plain = template_sheets(hand.small_plan(), "A4")[0]
    drawn = template_sheets(hand.small_plan(sheet={"stretch": (0.97, 1.02)}), "A4")[0]
    ratio = np.array([0.97, 1.02])
    for kind, axes in (("board", [0, 1]), ("bar-x", [0]), ("bar-y", [1])):
        was, now = (
            np.ptp(np.concatenate([np.asarray(path) for path in hand.paths(sheet, kind)]), axis=0)
            for sheet in (plain, drawn)
        )
        assert (now * ratio)[axes] == pytest.approx(was[axes], abs=1e-9)


def test_bars_are_50_mm_where_the_paper_is_too_short_for_100(hand: Any) -> None:
    sheet = template_sheets(hand.small_plan(sheet={"stretch": (0.6, 1.0)}), "A4")[0]
    (bar,) = hand.paths(sheet, "bar-x")
    assert 0.6 * (bar[1][0] - bar[0][0]) == pytest.approx(50.0, abs=1e-9)
    assert "x 50 mm" in words(sheet) and "x ÷ 50 × 0.6" in words(sheet)


def test_an_unknown_paper_is_refused_by_name(hand: Any) -> None:
    with pytest.raises(JobError, match='"A5"'):
        template_sheets(hand.small_plan(), "A5")


@pytest.fixture(scope="module")
def tiled(hand: Any) -> tuple[Sheet, ...]:
    return hand.crowded_sheets(420, 300, "A4")


def board_offset(sheet: Sheet, name: str, hand: Any) -> np.ndarray[Any, Any]:
    """Place of the match mark of this name on a sheet."""
    text = next(text for text in sheet.texts() if text.text == name)
    marks = [LineString(path) for path in hand.paths(sheet, "match") if len(path) == 5]
    nearest = min(marks, key=lambda mark: mark.distance(Point(text.at)))
    return np.asarray(nearest.envelope.centroid.coords[0])


def test_match_marks_of_neighbouring_pages_coincide_on_the_board(tiled: tuple[Sheet, ...], hand: Any) -> None:
    pages = {sheet.name: sheet for sheet in tiled if re.fullmatch(r"top(-\d+)?", sheet.name)}
    assert len(pages) >= 4 and "top-map" in [sheet.name for sheet in tiled]
    names = [t.text for s in pages.values() for t in s.texts() if re.fullmatch(r"\d+–\d+[ab]", t.text)]
    assert len(names) == 2 * len(set(names)) > 8
    compared = 0.0
    for name in sorted(set(names)):
        one, other = (pages["top" if n == "1" else f"top-{n}"] for n in name[:-1].split("–"))
        shift = board_offset(one, name, hand) - board_offset(other, name, hand)
        strip = page_overlap(one, other, shift)
        # Only what both pages show whole is compared: labels end faint outlines where they stand.
        for kind in ("finished", "board", "cross-hair", "hole"):
            here = shapely.union_all([LineString(p) for p in hand.paths(one, kind)]).intersection(strip)
            there = shapely.union_all([LineString(np.asarray(p) + shift) for p in hand.paths(other, kind)])
            there = there.intersection(strip)
            assert here.is_empty == there.is_empty
            if not here.is_empty:
                assert here.hausdorff_distance(there) < 0.02
                compared += here.length
    assert compared > 100.0


def page_overlap(one: Sheet, other: Sheet, shift: np.ndarray[Any, Any]) -> shapely.Polygon:
    first, second = (box(*body(sheet)) for sheet in (one, other))
    return first.intersection(shapely.transform(second, lambda xy: xy + shift)).buffer(-0.01)


def body(sheet: Sheet) -> tuple[float, float, float, float]:
    xy = np.asarray(
        [
            p
            for item in sheet.items
            if isinstance(item, Strokes) and item.kind == "overlap"
            for q in item.paths
            for p in q
        ]
    )
    low, high = xy.min(axis=0), xy.max(axis=0)
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def test_pages_overlap_by_at_least_10_mm_and_cover_the_whole_board(
    tiled: tuple[Sheet, ...], hand: Any
) -> None:
    pages = [sheet for sheet in tiled if re.fullmatch(r"top(-\d+)?", sheet.name)]
    lengths = [sum(LineString(p).length for p in hand.paths(page, "board")) for page in pages]
    # All pages together show the edge at least once: 2 * (420 + 300) mm.
    assert sum(lengths) >= 1440.0
    for a, b in combinations(pages, 2):
        names = {t.text for t in a.texts()} & {t.text for t in b.texts()}
        for name in (n for n in names if re.fullmatch(r"\d+–\d+a", n)):
            shift = board_offset(a, name, hand) - board_offset(b, name, hand)
            low, high = np.asarray(page_overlap(a, b, shift).bounds).reshape(2, 2)
            assert min(high - low) >= 10.0


def test_a_plan_without_any_cut_still_prints(hand: Any) -> None:
    square = [(0, 0), (50, 0), (50, 40), (0, 40)]
    plan = hand.plan(square, [(50, 0), (50, 40)], square, holes=[Hole("a", (5, 5), 3.0, True)])
    empty = type(plan.lines)((), (), shapely.MultiPolygon(), shapely.MultiPolygon())
    bare = type(plan)(**{**plan.__dict__, "cuts": (), "lines": empty})
    assert [sheet.name for sheet in template_sheets(bare, "A4")] == ["top", "bottom"]


def test_a_closed_guide_line_inside_the_board_is_drawn_whole(hand: Any) -> None:
    inner = [(20.0, 20.0), (60.0, 20.0), (60.0, 50.0), (20.0, 50.0)]
    plan = hand.plan([(0, 0), (80, 0), (80, 70), (0, 70)], [*inner, inner[0]], inner)
    sheet = template_sheets(plan, "A4")[0]
    dashes = [LineString(path) for path in hand.paths(sheet, "guide")]
    # Four drawn corners: dashes that turn.
    assert sum(len(dash.coords) == 3 for dash in dashes) == 4


def test_lifted_parts_without_a_shape_are_marked_where_the_list_says(hand: Any) -> None:
    square = [(0, 0), (50, 0), (50, 40), (0, 40)]
    lift = [Lift("tall one", "top", (40.0, 20.0), None, "it stands in the swept band")]
    plan = hand.plan(square, [(30, 0), (30, 40)], [(0, 0), (30, 0), (30, 40), (0, 40)], lift=lift)
    assert "tall one: it stands in the swept band" in words(template_sheets(plan, "A4")[0])


def test_on_the_map_of_the_pages_numbers_keep_off_every_line_and_nothing_says_true_scale(
    tiled: tuple[Sheet, ...], hand: Any
) -> None:
    chart = next(sheet for sheet in tiled if sheet.name == "top-map")
    lines = shapely.union_all(
        [LineString(p) for kind in ("board", "finished", "page") for p in hand.paths(chart, f"map-{kind}")]
    )
    numbers = [text for text in chart.texts() if re.fullmatch(r"\d+", text.text) and text.size == 5.0]
    assert len(numbers) >= 4
    assert all(not shapely.box(*text_box(number)).intersects(lines) for number in numbers)
    assert "true scale" not in words(chart) and "true scale 1:1" in words(tiled[0])
