"""Draws the pictures of README from the sample, with the tool itself.

Run: python samples/show.py   (needs the test requirements, and Chromium for the report's picture)
"""

from __future__ import annotations

import shutil
import subprocess
import tempfile
from pathlib import Path

import cv2
import numpy as np
import pypdfium2
from PIL import Image
from scipy.spatial import cKDTree

import trimgeo
from trimgeo.choosing import chosen_outline, trade
from trimgeo.drawing.card import card_file
from trimgeo.drawing.found import found
from trimgeo.drawing.overlay import overlay
from trimgeo.drawing.pdf import to_pdf
from trimgeo.drawing.signs import CASE_HATCH, NEUTRAL, PALE, rgb
from trimgeo.drawing.trade import trade_sheet
from trimgeo.model.board import Board
from trimgeo.tables import OKABE_ITO

HERE = Path(__file__).parent
PICTURES = HERE / "pictures"
WIDTH = 1200
COLOURS = 128


def main() -> None:
    PICTURES.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as name:
        out = Path(name)
        board = trimgeo.prepare(trimgeo.load(HERE / "greenhouse", variant="display"))
        trimgeo.write(trimgeo.plan(board), out)
        save(cv2.imread(str(out / "overlay-scan-top.png")), "overlay-top.png")
        document = pypdfium2.PdfDocument(str(out / "template.pdf"))
        for page, face in zip(document, ("top", "bottom"), strict=False):
            save(page.render(scale=2.0).to_numpy()[:, :, :3], f"sheet-{face}.png")
        save(screenshot(out / "report.html"), "report.png")
    show_the_trade(board)
    show_the_way_from_a_phone()


def show_the_trade(board: Board) -> None:
    """Cuts against size, as ``trimgeo outline --picture`` draws it."""
    sheet = trade_sheet(board, trade(board), chosen_outline(board, None))
    document = pypdfium2.PdfDocument(to_pdf([sheet], "cuts against size"))
    save(document[0].render(scale=2.0).to_numpy()[:, :, :3], "trade.png")


def show_the_way_from_a_phone() -> None:
    """The photo as taken, what was found in it, the picture at true scale with the plan, and the card."""
    board = trimgeo.prepare(trimgeo.load(HERE / "phone"))
    (view,) = board.views
    save(found(board, view), "phone-found.png")
    save(overlay(trimgeo.plan(board), view), "phone-overlay.png")
    document = pypdfium2.PdfDocument(card_file("A4", "card.pdf"))
    save(document[0].render(scale=1.0).to_numpy()[:, :, :3], "card.png")


def screenshot(page: Path) -> np.ndarray:
    """The head of the report as a browser shows it."""
    browser = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    assert browser, "no browser found: install chromium"
    picture = page.with_suffix(".png")
    flags = "--headless --no-sandbox --disable-gpu --no-first-run --disable-background-networking"
    words = [
        browser,
        *flags.split(),
        "--hide-scrollbars",
        f"--user-data-dir={page.parent / 'profile'}",
        "--window-size=1000,900",
    ]
    subprocess.run([*words, f"--screenshot={picture}", page.as_uri()], check=True, capture_output=True)
    return cv2.imread(str(picture))


def save(pixels: np.ndarray, name: str) -> None:
    """At most `WIDTH` pixels wide, in a palette of 128 colours: small enough for a repository.

    The colours of the signs are among them, so that thin lines keep theirs.
    """
    scale = min(1.0, WIDTH / pixels.shape[1])
    small = cv2.resize(pixels, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    image = Image.fromarray(np.ascontiguousarray(small[:, :, ::-1]))
    signs = [rgb(each) for each in (*OKABE_ITO.values(), CASE_HATCH.colour, NEUTRAL, PALE, "#FFFFFF")]
    found = image.quantize(COLOURS - len(signs)).getpalette()[: 3 * (COLOURS - len(signs))]
    palette = np.vstack([signs, np.reshape(found, (-1, 3))])
    _, nearest = cKDTree(palette).query(np.asarray(image).reshape(-1, 3))
    few = Image.fromarray(nearest.reshape(image.height, image.width).astype(np.uint8), "P")
    few.putpalette(palette.astype(np.uint8).tobytes())
    few.save(PICTURES / name, optimize=True)


if __name__ == "__main__":
    main()
