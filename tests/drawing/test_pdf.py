"""PDF sheets as PDFium draws and reads them."""

from __future__ import annotations

import re
from dataclasses import replace
from io import BytesIO
from typing import Any

import numpy as np
import pypdfium2
import pypdfium2.raw
import pytest

from trimgeo.drawing.lettering import text_box
from trimgeo.drawing.pdf import to_pdf
from trimgeo.drawing.template import template_sheets

DPI = 600
PIXELS_PER_MM = DPI / 25.4


@pytest.mark.parametrize(
    ("paper", "stretch"),
    [("A4", (1.0, 1.0)), ("A4", (0.97, 0.98)), ("letter", (1.02, 0.95)), ("A3", (1.0, 1.0))],
)
def test_bars_are_100_mm_once_the_printer_has_stretched_them(
    hand: Any, paper: str, stretch: tuple[float, float]
) -> None:
    plan = hand.small_plan(sheet={"paper": paper, "stretch": stretch})
    sheet = template_sheets(plan, paper)[0]
    picture = hand.rendered(to_pdf([sheet], "t"), 0, DPI)
    for axis, ratio in enumerate(stretch):
        ticks = hand.paths(sheet, f"tick-{'xy'[axis]}")
        ends = [hand.ink_centre(picture, sheet, tick, axis, PIXELS_PER_MM) for tick in ticks]
        assert abs(ends[1] - ends[0]) / PIXELS_PER_MM * ratio == pytest.approx(100.0, abs=0.05)


@pytest.mark.parametrize("face", [0, 1])
def test_corners_of_the_guide_line_lie_where_the_plan_has_them(hand: Any, face: int) -> None:
    plan = hand.small_plan()
    sheet = template_sheets(plan, "A4")[face]
    picture = hand.rendered(to_pdf([sheet], "t"), 0, DPI)
    errors = hand.corner_errors(picture, sheet, plan, PIXELS_PER_MM, mirrored=bool(face))
    assert len(errors) == 3 and errors.max() <= 0.05


def test_the_bottom_sheet_shows_the_holes_mirrored(hand: Any) -> None:
    plan = hand.small_plan()
    top, bottom = template_sheets(plan, "A4")
    for sheet, mirrored in ((top, False), (bottom, True)):
        # The cross hairs alone: a pointer of a label may pass near the end of one.
        hairs = tuple(item for item in sheet.items if getattr(item, "kind", "") == "cross-hair")
        picture = hand.rendered(to_pdf([replace(sheet, items=hairs)], "t"), 0, DPI)
        edge = np.asarray([xy for path in hand.paths(sheet, "board") for xy in path])
        for hole in plan.board.holes:
            x = edge[:, 0].min() + (100.0 - hole.at[0] if mirrored else hole.at[0])
            y = edge[:, 1].min() + hole.at[1]
            # The ends of the cross hairs stick out of the rim.
            hair = hole.diameter / 2 + 1.0
            ticks = ((x, y + hair - 0.3), (x, y + hair + 0.3)), ((x + hair - 0.3, y), (x + hair + 0.3, y))
            for axis, tick in enumerate(ticks):
                found = hand.ink_centre(picture, sheet, tick, axis, PIXELS_PER_MM)
                expected = (x if axis == 0 else sheet.height - y) * PIXELS_PER_MM
                assert abs(found - expected) / PIXELS_PER_MM <= 0.05


def test_print_scaling_is_none_in_the_viewer_preferences(hand: Any) -> None:
    pdf = to_pdf(template_sheets(hand.small_plan(), "A4"), "t")
    # ISO 32000-1:2008, table 150 (from memory): the name PrintScaling with the value None.
    number = re.search(rb"/Type /Catalog /ViewerPreferences (\d+) 0 R", pdf)
    assert number is not None
    assert re.search(rb"\n%b 0 obj\s*<<\s*/PrintScaling\s*/None\s*>>" % number[1], pdf)
    document = pypdfium2.PdfDocument(BytesIO(pdf))
    assert not pypdfium2.raw.FPDF_VIEWERREF_GetPrintScaling(document.raw)


def test_pages_have_the_size_of_the_paper(hand: Any) -> None:
    sheets = hand.crowded_sheets(330, 250, "A3")
    document = pypdfium2.PdfDocument(BytesIO(to_pdf(sheets, "t")))
    assert len(document) == len(sheets)
    for page, sheet in zip(document, sheets, strict=True):
        # ISO 216: A3 is 297 x 420 mm; 1/72 in a point.
        assert sorted(page.get_size()) == pytest.approx([297 / 25.4 * 72, 420 / 25.4 * 72], abs=1e-3)
        assert page.get_width() == pytest.approx(sheet.width / 25.4 * 72, abs=1e-3)


@pytest.mark.parametrize(
    ("paper", "mm"),
    [
        ("A4", (210, 297)),  # ISO 216
        ("A3", (297, 420)),  # ISO 216
        ("letter", (8.5 * 25.4, 11 * 25.4)),  # ANSI/ASME Y14.1
    ],
)
def test_a_page_has_the_standard_size_of_its_paper(hand: Any, paper: str, mm: tuple[float, float]) -> None:
    for page in pypdfium2.PdfDocument(BytesIO(to_pdf(template_sheets(hand.small_plan(), paper), "t"))):
        # 1/72 in a unit, ISO 32000-1:2008, 8.3.2.3 (from memory)
        assert sorted(page.get_size()) == pytest.approx([side / 25.4 * 72 for side in mm], abs=1e-3)


def test_texts_are_as_wide_as_they_were_measured(hand: Any) -> None:
    sheet = template_sheets(hand.small_plan(), "A4")[0]
    page = pypdfium2.PdfDocument(BytesIO(to_pdf([sheet], "t")))[0]
    text_page = page.get_textpage()
    point = 25.4 / 72
    for item in sheet.texts():
        if item.angle or len(item.text) < 12:
            continue
        left, bottom, right, top = text_box(item)
        found = text_page.get_text_bounded(
            (left - 0.2) / point, (bottom - 0.1) / point, (right + 0.2) / point, (top + 0.1) / point
        )
        assert item.text in found.replace("\r\n", " ")


def test_names_without_a_glyph_and_without_an_end_are_drawn(hand: Any) -> None:
    plan = hand.small_plan(
        job={"title": "温室 \U0001f331 " + "W" * 190, "revision": "é" * 200}, variant="שלום" * 30
    )
    pdf = to_pdf(template_sheets(plan, "A4"), "温室 \U0001f331")
    assert len(pypdfium2.PdfDocument(BytesIO(pdf))) >= 2


def test_the_same_plan_gives_the_same_pdf_without_a_clock(hand: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    first = to_pdf(template_sheets(hand.small_plan(), "A4"), "t")
    monkeypatch.setenv("TZ", "Asia/Tokyo")
    second = to_pdf(template_sheets(hand.small_plan(), "A4"), "t")
    assert first == second
    dates = re.findall(rb"Date \(D:(\d{8})", first)
    assert set(dates) == {b"20000101"}
