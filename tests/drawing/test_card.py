"""The reference card as PDFium, a browser and OpenCV see it."""

from __future__ import annotations

import shutil
import subprocess
from importlib.resources import as_file, files
from io import BytesIO
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from PIL import Image, ImageFont

from trimgeo.drawing.card import card_file, card_sheet
from trimgeo.drawing.lettering import text_box
from trimgeo.errors import JobError
from trimgeo.model.card import CARDS, Card

BROWSER = next(
    filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome", "chrome"))), None
)
DPI = 600
NEAR = 0.05


def corner_errors(grey: np.ndarray, card: Card, pixels_per_mm: float) -> np.ndarray:
    """Where OpenCV's detector sees the card's corners against where they belong, mm, shape (n, 2)."""
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_1000)
    ids = card.first_id + np.arange(card.columns * card.rows // 2)
    board = cv2.aruco.CharucoBoard((card.columns, card.rows), card.square, 0.7 * card.square, dictionary, ids)
    found, numbers = cv2.aruco.CharucoDetector(board).detectBoard(np.ascontiguousarray(grey))[:2]
    ours = np.isin(numbers.ravel(), card.corner_ids)
    column, row = found.reshape(-1, 2)[ours].T
    at = np.column_stack([(column + 0.5) / pixels_per_mm, card.size[1] - (row + 0.5) / pixels_per_mm])
    return at - card.corners(numbers.ravel()[ours])


def bar_lengths(hand: Any, picture: np.ndarray, card: Card, pixels_per_mm: float) -> list[float]:
    sheet = card_sheet(card)
    lengths = []
    for axis, name in enumerate("xy"):
        ends = [
            hand.ink_centre(picture, sheet, tick, axis, pixels_per_mm)
            for tick in hand.paths(sheet, f"tick-{name}")
        ]
        lengths.append(abs(ends[1] - ends[0]) / pixels_per_mm)
    return lengths


def test_the_printed_card_is_true_to_scale_and_every_corner_is_found(hand: Any) -> None:
    card = CARDS["A4"]
    picture = hand.rendered(card_file("A4", "card.pdf"), 0, DPI)
    assert bar_lengths(hand, picture, card, DPI / 25.4) == pytest.approx([100.0, 100.0], abs=NEAR)
    errors = corner_errors(picture if picture.ndim == 2 else picture.min(2), card, DPI / 25.4)
    assert len(errors) == len(card.corner_ids) and np.abs(errors).max() <= NEAR


@pytest.mark.parametrize("paper", ["A4", "letter"])
def test_the_png_has_every_corner_on_a_pixel_edge_and_nothing_in_its_middle(paper: str) -> None:
    card = CARDS[paper]
    picture = Image.open(BytesIO(card_file(paper, "card.png")))
    density = picture.info["dpi"][0] / 25.4
    assert [side / density for side in picture.size] == pytest.approx(card.size, abs=1e-3)
    grey = np.asarray(picture.convert("L"))
    errors = corner_errors(grey, card, density)
    assert len(errors) == len(card.corner_ids) and np.abs(errors).max() <= 0.005
    left, low, right, high = (round(side * density) for side in card.middle)
    assert (grey[len(grey) - high : len(grey) - low, left:right] == 255).all()


@pytest.mark.skipif(BROWSER is None, reason="no Chromium here: the SVG was not looked at in a browser")
def test_a_browser_draws_the_card_true_to_scale(hand: Any, tmp_path: Path) -> None:
    card, zoom = CARDS["A4"], 4
    per_mm = zoom * 96 / 25.4  # W3C CSS Values and Units
    (tmp_path / "card.svg").write_bytes(card_file("A4", "card.svg"))
    size = ",".join(str(int(side * 96 / 25.4) + 2) for side in card.size)
    subprocess.run(
        [
            str(BROWSER),
            *("--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--hide-scrollbars"),
            *("--disable-background-networking", f"--force-device-scale-factor={zoom}"),
            f"--user-data-dir={tmp_path / 'profile'}",
            f"--screenshot={tmp_path / 'card.png'}",
            f"--window-size={size}",
            (tmp_path / "card.svg").as_uri(),
        ],
        check=True,
        capture_output=True,
        timeout=60,
    )
    picture = np.asarray(Image.open(tmp_path / "card.png").convert("RGB"))
    assert bar_lengths(hand, picture, card, per_mm) == pytest.approx([100.0, 100.0], abs=NEAR)
    errors = corner_errors(picture.min(2), card, per_mm)
    assert len(errors) == len(card.corner_ids) and np.abs(errors).max() <= NEAR


@pytest.mark.parametrize("paper", sorted(CARDS))
def test_the_words_at_the_top_are_at_least_2_mm_high_and_on_the_page(paper: str) -> None:
    card = CARDS[paper]
    top = [text for text in card_sheet(card).texts() if text.at[1] > card.size[1] / 2 and not text.angle]
    assert len(top) == 2
    with as_file(files("trimgeo.drawing") / "fonts" / "DejaVuSans.ttf") as path:
        font = ImageFont.truetype(str(path), 1000)
    for text in top:
        # The height of a capital by another reader of the typeface.
        capital = -font.getbbox("H", anchor="ls")[1] / 1000 * text.size
        assert capital >= 2.0 - 1e-3
        left, _, right, _ = text_box(text)
        assert left >= 7 and right <= card.size[0] - 7


@pytest.mark.parametrize("name", ["card.pdf", "card.svg", "card.png"])
def test_the_same_card_has_the_same_bytes(name: str) -> None:
    assert card_file("letter", name) == card_file("letter", name)


def test_an_unknown_ending_is_refused() -> None:
    with pytest.raises(JobError, match=r"pdf, \.svg or \.png"):
        card_file("A4", "card.jpg")
