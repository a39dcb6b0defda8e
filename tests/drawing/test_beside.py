"""Labels where a person looks for them: cuts outside what is kept, numbers within their parts."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import shapely
from shapely import LineString

from trimgeo.drawing.lettering import text_box
from trimgeo.drawing.naming import RING
from trimgeo.drawing.sheet import Discs, Sheet
from trimgeo.drawing.template import template_sheets
from trimgeo.model.board import Part
from trimgeo.model.plan import Corner, Holding, Lift, Plan, Support


def words(sheet: Sheet) -> str:
    return " ".join(text.text for text in sheet.texts())


def zero(sheet: Sheet, hand: Any) -> np.ndarray:
    """Where (0, 0) of the board lies on the top sheet, which is true to scale."""
    return np.asarray([xy for path in hand.paths(sheet, "board") for xy in path]).min(axis=0)


def test_numbers_of_cuts_stand_outside_the_kept_board_where_there_is_room(hand: Any) -> None:
    plan = hand.small_plan()
    sheet = template_sheets(plan, "A4")[0]
    x, y = zero(sheet, hand)
    kept = shapely.affinity.translate(plan.finished.polygon, x, y)
    rings = [item for item in sheet.items if isinstance(item, Discs) and item.kind == "cut-number"]
    assert len(rings) == len(plan.cuts)
    assert all(shapely.Point(ring.centres[0]).distance(kept) >= RING for ring in rings)


def lifting(hand: Any, name: str) -> Plan:
    """A part of 8 x 7 mm to lift beside the cut, with a name that has no room in it."""
    area = shapely.box(52, 20, 60, 27)
    return hand.plan(
        [(0, 0), (100, 0), (100, 60), (0, 60)],
        [(50, 0), (50, 60)],
        [(0, 0), (50, 0), (50, 60), (0, 60)],
        parts=[Part(name, area, "top", 8.0, True)],
        lift=[Lift(name, "top", (56.0, 23.5), 8.0, "asked for in the job")],
    )


def test_the_number_of_a_part_stands_in_its_own_dashes(hand: Any) -> None:
    sheet = template_sheets(lifting(hand, "incandescent supplyterminal"), "A4")[0]
    x, y = zero(sheet, hand)
    boxes = [shapely.box(*text_box(text)) for text in sheet.texts() if text.text == "#1"]
    part = shapely.box(x + 52, y + 20, x + 60, y + 27)
    assert any(part.contains(box) for box in boxes)
    assert "#1 incandescent supplyterminal: asked for in the job; 8 mm high" in words(sheet)


def test_every_cut_is_listed_with_its_ends(hand: Any) -> None:
    plan = hand.small_plan()
    said = words(template_sheets(plan, "A4")[0])
    listed = re.findall(r"\((-?[\d.]+), (-?[\d.]+)\) to \((-?[\d.]+), (-?[\d.]+)\): ([\d.]+) ±", said)
    found = [tuple(map(float, each)) for each in listed]
    ends = [(70, 0, 70, 35, 35), (70, 35, 45, 35, 25), (45, 35, 45, 60, 25), (45, 60, 0, 60, 45)]
    assert found == ends


def test_relief_cuts_are_named_on_the_drawing_and_in_the_list(hand: Any) -> None:
    lines = LineString([(100, 20), (72, 20)]), LineString([(20, 80), (20, 62)])
    for count in (1, 2):
        plan = replace(hand.small_plan(), holding=Holding(support=Support(lines[:count], None)))
        for sheet in template_sheets(plan, "A4"):
            texts = [text.text for text in sheet.texts()]
            names = ["relief cut"] if count == 1 else ["relief 1", "relief 2"]
            assert all(texts.count(name) == 1 for name in names)
            said = words(sheet)
            assert all(f"before all else, saw the waste apart ({name}) from" in said for name in names)


def test_a_page_for_the_bottom_face_says_that_it_is_mirrored_already(hand: Any) -> None:
    top, bottom = template_sheets(hand.small_plan(), "A4")
    assert "already mirrored: print as it is" in words(bottom) and "mirrored" not in words(top)


@pytest.mark.parametrize(
    ("left", "said"),
    [
        ((0.004, 4.35), "finish the last 4.35 mm on the bottom face with"),
        ((0.61, 4.97), "finish the last 0.61 mm there and 4.97 mm on the bottom face with"),
        ((0.61, 0.0), "finish the last 0.61 mm there with"),
        ((0.0, 0.0), "nothing is left to finish"),
    ],
)
def test_what_rounds_to_nothing_is_not_to_be_finished(
    hand: Any, left: tuple[float, float], said: str
) -> None:
    corner = Corner((45, 35), True, 4.35, None, left)
    text = words(template_sheets(replace(hand.small_plan(), corners=(corner,)), "A4")[0])
    assert said in text and "0.00 mm" not in text
