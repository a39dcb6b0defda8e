"""SVG sheets as a browser draws them."""

from __future__ import annotations

import shutil
import subprocess
import xml.etree.ElementTree as ET
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from trimgeo.drawing.sheet import Sheet, Text
from trimgeo.drawing.svg import to_svg
from trimgeo.drawing.template import template_sheets

BROWSER = next(
    filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome", "chrome"))), None
)
CSS_PIXELS_PER_MM = 96 / 25.4  # W3C CSS Values and Units
ZOOM = 4


def screenshot(svg: bytes, folder: Path, width: float, height: float) -> np.ndarray:
    """The SVG as a browser draws it, at ZOOM device pixels a CSS pixel."""
    (folder / "sheet.svg").write_bytes(svg)
    size = f"{int(width * CSS_PIXELS_PER_MM) + 2},{int(height * CSS_PIXELS_PER_MM) + 2}"
    subprocess.run(
        [
            str(BROWSER),
            *("--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--hide-scrollbars"),
            *("--disable-background-networking", f"--force-device-scale-factor={ZOOM}"),
            f"--user-data-dir={folder / 'profile'}",
            f"--screenshot={folder / 'sheet.png'}",
            f"--window-size={size}",
            (folder / "sheet.svg").as_uri(),
        ],
        check=True,
        capture_output=True,
        timeout=60,
    )
    return np.asarray(Image.open(folder / "sheet.png").convert("RGB"))


@pytest.mark.skipif(BROWSER is None, reason="no Chromium here: the SVG was not looked at in a browser")
def test_a_browser_draws_bars_and_guide_line_true_to_scale(hand: Any, tmp_path: Path) -> None:
    plan = hand.small_plan()
    sheet = template_sheets(plan, "A4")[1]
    picture = screenshot(to_svg(sheet), tmp_path, sheet.width, sheet.height)
    scale = CSS_PIXELS_PER_MM * ZOOM
    for kind, axis in (("tick-x", 0), ("tick-y", 1)):
        ends = [hand.ink_centre(picture, sheet, path, axis, scale) for path in hand.paths(sheet, kind)]
        assert abs(ends[1] - ends[0]) / scale == pytest.approx(100.0, abs=0.1)
    errors = hand.corner_errors(picture, sheet, plan, scale, mirrored=True)
    assert len(errors) == 3 and errors.max() <= 0.1


def test_bars_in_the_svg_are_100_mm_once_the_printer_has_stretched_them(hand: Any) -> None:
    root = ET.fromstring(to_svg(template_sheets(hand.small_plan(sheet={"stretch": (0.97, 1.02)}), "A4")[0]))
    for kind, axis, ratio in (("bar-x", 0, 0.97), ("bar-y", 1, 1.02)):
        (path,) = [one.get("d", "") for one in root.iter() if one.get("class") == kind]
        ends = [float(point.split()[axis]) for point in path.removeprefix("M").split("L")]
        # One user unit is a millimetre; positions are written to 0.0001 mm.
        assert abs(ends[1] - ends[0]) * ratio == pytest.approx(100.0, abs=3e-4)


def test_an_svg_sheet_says_its_size_in_millimetres_and_every_text_its_length(hand: Any) -> None:
    sheet = template_sheets(hand.small_plan(), "letter")[0]
    root = ET.fromstring(to_svg(sheet))
    # ANSI/ASME Y14.1: letter is 8.5 x 11 in.
    assert sorted((root.get("width"), root.get("height"))) == ["215.9mm", "279.4mm"]
    assert root.get("viewBox") == f"0 0 {sheet.width:g} {sheet.height:g}"
    texts = [one for one in root.iter() if one.tag.endswith("}text")]
    assert len(texts) == len(sheet.texts()) > 20
    assert all(float(one.get("textLength", "0")) > 0 for one in texts)


def test_no_name_breaks_the_file() -> None:
    nasty = Text((1.0, 1.0), "<&\">' ]]> �", 2.0)
    root = ET.fromstring(to_svg(Sheet("a & b <c>", 10.0, 10.0, (nasty,))))
    assert "<&\">' ]]> �" in [one.text for one in root.iter()]


def test_the_same_sheet_gives_the_same_svg(hand: Any) -> None:
    assert to_svg(template_sheets(hand.small_plan(), "A4")[0]) == to_svg(
        template_sheets(hand.small_plan(), "A4")[0]
    )
