"""A sheet as SVG: true scale by width and height in mm, one user unit a millimetre."""

from __future__ import annotations

from typing import Any

import svgwrite

from trimgeo.drawing import lettering
from trimgeo.drawing.sheet import Discs, Filled, Sheet, Strokes, Text


def to_svg(sheet: Sheet) -> bytes:
    """The sheet as an SVG file, UTF-8; the same sheet gives the same bytes.

    Every text states the length that it was measured to have, so that it takes the same room
    in whatever typeface the viewer has.

    >>> to_svg(Sheet("empty", 210.0, 297.0, ())).count(b'width="210mm"')
    1
    """
    width, height = _number(sheet.width), _number(sheet.height)
    drawing = svgwrite.Drawing(
        size=(f"{width}mm", f"{height}mm"), viewBox=f"0 0 {width} {height}", debug=False, profile="full"
    )
    drawing.set_desc(title=sheet.name)
    drawing.add(drawing.rect((0, 0), (width, height), fill="#FFFFFF", class_="paper"))
    for item in sheet.items:
        drawing.add(_element(drawing, item, sheet.height))
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{drawing.tostring()}\n'.encode()


def _element(drawing: Any, item: Strokes | Filled | Discs | Text, height: float) -> Any:
    if isinstance(item, Text):
        return _text(drawing, item, height)
    if isinstance(item, Discs):
        return _discs(drawing, item, height)
    if isinstance(item, Filled):
        return drawing.path(_route(item.ring, height, True), fill=item.colour, class_=item.kind)
    return drawing.path(
        "".join(_route(path, height, item.closed) for path in item.paths),
        fill="none",
        stroke=item.colour,
        stroke_width=_number(item.width),
        stroke_miterlimit=10,
        class_=item.kind,
    )


def _discs(drawing: Any, item: Discs, height: float) -> Any:
    ink = (
        {"fill": item.colour}
        if item.stroke is None
        else {"fill": "none", "stroke": item.colour, "stroke_width": _number(item.stroke)}
    )
    group = drawing.g(class_=item.kind, **ink)
    for x, y in item.centres:
        group.add(drawing.circle((_number(x), _number(height - y)), _number(item.radius)))
    return group


def _text(drawing: Any, item: Text, height: float) -> Any:
    x, y = _number(item.at[0]), _number(height - item.at[1])
    turned = {"transform": f"rotate(-90 {x} {y})"} if item.angle == 90 else {}
    return drawing.text(
        item.text,
        insert=(x, y),
        font_family=f"'{lettering.FONT}', sans-serif",
        font_size=_number(item.size),
        text_anchor=item.anchor,
        textLength=_number(lettering.width(item.text, item.size)),
        lengthAdjust="spacingAndGlyphs",
        fill=item.colour,
        **turned,
    )


def _route(path: tuple[tuple[float, float], ...], height: float, closed: bool) -> str:
    points = "L".join(f"{_number(x)} {_number(height - y)}" for x, y in path)
    return f"M{points}Z" if closed else f"M{points}"


def _number(value: float) -> str:
    """Tenths of a micrometre, without needless zeros or a negative zero."""
    return f"{round(value, 4) + 0.0:.4f}".rstrip("0").rstrip(".")
