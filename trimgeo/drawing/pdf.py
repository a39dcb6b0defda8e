"""Sheets as PDF: true scale, print scaling off, the typeface embedded."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from io import BytesIO
from typing import Any, Final

from trimgeo.drawing import lettering
from trimgeo.drawing.sheet import Discs, Filled, Sheet, Strokes, Text
from trimgeo.drawing.signs import rgb
from trimgeo.tables import MM_PER_INCH, POINTS_PER_INCH

POINTS_PER_MM: Final = POINTS_PER_INCH / MM_PER_INCH
MITRE_LIMIT: Final = 10.0
"""Of line joins, in line widths: the default of PDF, said for SVG as well."""


def to_pdf(sheets: Sequence[Sheet], title: str) -> bytes:
    """The sheets as pages of one PDF file; the same sheets give the same bytes.

    The viewer preference PrintScaling is None (ISO 32000-1:2008, table 150): print at 100 %.

    >>> to_pdf([Sheet("empty", 210.0, 297.0, ())], "Nothing")[:5]
    b'%PDF-'
    """
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfgen.canvas import Canvas

    typeface = lettering.typeface()
    pdfmetrics.registerFont(typeface)
    buffer = BytesIO()
    # Print scaling came with PDF 1.6 (ISO 32000-1:2008, table 150).
    canvas = Canvas(
        buffer, invariant=1, pageCompression=1, pdfVersion=(1, 6), initialFontName=typeface.fontName
    )
    canvas.setViewerPreference("PrintScaling", "None")
    canvas.setTitle(title)
    canvas.setAuthor("trimgeo")
    canvas.setCreator("trimgeo")
    canvas.setSubject("sheets at true scale: print at 100 %")
    with _binary():
        _pages(canvas, sheets, typeface.fontName)
        canvas.save()
    return buffer.getvalue()


@contextmanager
def _binary() -> Iterator[None]:
    """Streams as they are, not in the letters of base 85: a quarter shorter."""
    from reportlab import rl_config

    before, rl_config.useA85 = rl_config.useA85, 0
    try:
        yield
    finally:
        rl_config.useA85 = before


def _pages(canvas: Any, sheets: Sequence[Sheet], font: str) -> None:
    for sheet in sheets:
        canvas.setPageSize((sheet.width * POINTS_PER_MM, sheet.height * POINTS_PER_MM))
        canvas.bookmarkPage(sheet.name)
        canvas.addOutlineEntry(sheet.name, sheet.name)
        canvas.scale(POINTS_PER_MM, POINTS_PER_MM)
        canvas.setMiterLimit(MITRE_LIMIT)
        for item in sheet.items:
            _draw(canvas, item, font)
        canvas.showPage()


def _draw(canvas: Any, item: Strokes | Filled | Discs | Text, font: str) -> None:
    if isinstance(item, Text):
        _draw_text(canvas, item, font)
        return
    if isinstance(item, Discs):
        _draw_discs(canvas, item)
        return
    _set_ink(canvas, item.colour)
    route = canvas.beginPath()
    filled = isinstance(item, Filled)
    for path in (item.ring,) if isinstance(item, Filled) else item.paths:
        route.moveTo(*path[0])
        for point in path[1:]:
            route.lineTo(*point)
        if filled or (isinstance(item, Strokes) and item.closed):
            route.close()
    if isinstance(item, Strokes):
        canvas.setLineWidth(item.width)
    canvas.drawPath(route, stroke=int(not filled), fill=int(filled))


def _draw_discs(canvas: Any, item: Discs) -> None:
    _set_ink(canvas, item.colour)
    if item.stroke is not None:
        canvas.setLineWidth(item.stroke)
    for x, y in item.centres:
        canvas.circle(x, y, item.radius, stroke=int(item.stroke is not None), fill=int(item.stroke is None))


def _draw_text(canvas: Any, item: Text, font: str) -> None:
    length = lettering.width(item.text, item.size)
    before = {"start": 0.0, "middle": length / 2, "end": length}[item.anchor]
    canvas.saveState()
    _set_ink(canvas, item.colour)
    canvas.setFont(font, item.size)
    canvas.translate(*item.at)
    canvas.rotate(item.angle)
    canvas.drawString(-before, 0.0, item.text)
    canvas.restoreState()


def _set_ink(canvas: Any, colour: str) -> None:
    red, green, blue = (part / 255 for part in rgb(colour))
    canvas.setStrokeColorRGB(red, green, blue)
    canvas.setFillColorRGB(red, green, blue)
