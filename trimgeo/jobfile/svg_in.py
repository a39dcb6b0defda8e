"""Pieces of line out of an SVG file.

Read are path, rect, circle, ellipse, polygon, polyline and line, in groups, nested pages and copies
(use), through all their transforms.  The frame is the board's: mm, x right, y up, the origin at the
lower left corner of the page.  A pixel is 1/96 inch.  Not read: what is not drawn (definitions,
display none), text, pictures, widths of lines, style sheets.  Nothing outside the file is opened.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from xml.parsers import expat

import numpy as np

from trimgeo.errors import quoted
from trimgeo.jobfile.pieces import DEEPEST, MOST_PIECES, MOST_POINTS, Piece, Source, unknown_layer
from trimgeo.jobfile.svg_path import conic, length, mapped, numbers, subpaths, transform
from trimgeo.jobfile.words import short
from trimgeo.plane.arcs import Floats
from trimgeo.tables import CSS_PIXELS_PER_INCH, MM_PER_INCH

SVG = "http://www.w3.org/2000/svg"
LINK = "http://www.w3.org/1999/xlink href"
GROUPS = frozenset(["g", "a", "switch", "svg", "symbol"])
SHAPES = frozenset(["path", "rect", "circle", "ellipse", "polygon", "polyline", "line"])
MM_PER_PIXEL = MM_PER_INCH / CSS_PIXELS_PER_INCH


@dataclass(frozen=True, eq=False)
class Element:
    """An element of the file: its name without namespace, its attributes, what it holds.

    >>> group = Element("g", {"id": "g7", "http://example.org/editor label": "EDGE"})
    >>> group.names, group.get("transform", "none")
    (['g7', 'EDGE'], 'none')
    """

    tag: str
    values: dict[str, str]
    children: list[Element] = field(default_factory=list)

    def get(self, key: str, default: str = "") -> str:
        """An attribute, or the default."""
        return self.values.get(key, default)

    @property
    def names(self) -> list[str]:
        """Its id, and its label: any attribute whose local name is ``label``."""
        labels = [value for key, value in self.values.items() if key.rpartition(" ")[2] == "label"]
        return [name for name in (self.get("id"), *labels) if name]


@dataclass(frozen=True)
class _Place:
    """Where in the file the walk is: matrix to mm, size of the viewport, in the layer or not."""

    matrix: Floats
    size: tuple[float, float]
    chosen: bool
    depth: int = 0


def read_svg(data: bytes, layer: str | None, source: Source) -> tuple[list[Piece], str]:
    """The pieces in a group (in the whole file: None) in file order, in mm, y up, and the page's unit.

    ``layer`` is the id or the label of a group.  Raises `JobError` where the file is no SVG, says no
    size, has no such group, or has anything that cannot be read to the letter.

    >>> page = b'<svg width="30mm" height="20mm" viewBox="0 0 30 20"><path d="M10 5 h4 v3 z"/></svg>'
    >>> (piece,), unit = read_svg(page, None, Source("x.svg", "x.svg"))
    >>> unit, piece.vertices[:, :2].round(9).tolist(), piece.closed  # y up, from the lower left corner
    ('millimetres', [[10.0, 15.0], [14.0, 15.0], [14.0, 12.0]], True)
    """
    root = _parse(data, source)
    everything = list(_all(root))
    names = [name for element in everything if element.tag in GROUPS for name in element.names]
    if layer is not None and layer not in names:
        raise unknown_layer(source, layer, names, "group")
    page, size = _page(root, source)
    walk = _Walk(source, layer, {e.get("id"): e for e in reversed(everything) if e.get("id")})
    pieces: list[Piece] = []
    points = 0
    start = _Place(page, size, layer is None or layer in root.names)
    for piece in walk.children(root, start):
        points += len(piece.vertices)
        pieces.append(piece)
        if len(pieces) > MOST_PIECES or points > MOST_POINTS:
            raise source.error(
                f"has more than {MOST_PIECES} pieces of line", "name the group that holds the shapes"
            )
    return pieces, _unit(root)


def _unit(root: Element) -> str:
    """The word "pixels" where the page's size has no unit of length: such a file may be of any scale."""
    sizes = [root.get(key, "auto").strip() for key in ("width", "height")]
    return "millimetres" if any(re.search(r"(mm|cm|in|pt|pc|q)$", size, re.I) for size in sizes) else "pixels"


def _parse(data: bytes, source: Source) -> Element:
    """The tree; entities of a document's own are refused, so that none can grow or reach out."""
    parser = expat.ParserCreate(namespace_separator=" ")
    parser.buffer_text = True
    top = Element("", {})
    stack = [top]

    def begin(name: str, values: dict[str, str]) -> None:
        space, _, tag = name.rpartition(" ")
        element = Element(tag if space in ("", SVG) else "", values)
        stack[-1].children.append(element)
        stack.append(element)
        if len(stack) > 4 * DEEPEST:
            raise source.error(f"has elements nested over {4 * DEEPEST} deep", "ungroup the drawing")

    def refuse(*_: object) -> None:
        raise source.error("declares entities of its own", "save it as a plain SVG file")

    parser.StartElementHandler = begin
    parser.EndElementHandler = lambda _: stack.pop()
    parser.EntityDeclHandler = refuse
    parser.SkippedEntityHandler = refuse
    doctypes: list[str] = []
    parser.StartDoctypeDeclHandler = lambda name, *_: doctypes.append(name)
    try:
        parser.Parse(data, True)
    except expat.ExpatError as error:
        raise source.error(
            f"is no SVG file, or it is damaged or cut off (line {error.lineno})", "save the drawing again"
        ) from error
    except (ValueError, LookupError) as error:
        raise source.error("has an encoding that cannot be read", "save the drawing as UTF-8") from error
    # With a document type elsewhere, an entity in an attribute would be left out without a word.
    if doctypes and re.search(rb"&(?!#|amp;|lt;|gt;|quot;|apos;)", data):
        refuse()
    root = top.children[0]
    if root.tag != "svg":
        raise source.error("is not an SVG file", "give an SVG file, or name a DXF file .dxf")
    return root


def _all(element: Element) -> Iterator[Element]:
    yield element
    for child in element.children:
        yield from _all(child)


def _page(root: Element, source: Source) -> tuple[Floats, tuple[float, float]]:
    """Matrix from user units to mm, y up, and the size of the viewport in user units."""
    try:
        box = numbers(root.get("viewBox")) or None
        width, height = (
            None if root.get(key, "auto").strip() in ("auto", "100%") else length(root.get(key), 0.0)
            for key in ("width", "height")
        )
    except ValueError as error:
        raise source.error(f"has an unreadable page size: {error}", 'write such as width="100mm"') from error
    if box is not None and (len(box) != 4 or min(box[2:]) <= 0):
        raise source.error("has a viewBox that is no rectangle", "write left, top, width and height")
    if box is not None and (width is None) != (height is None):
        width = box[2] * height / box[3] if width is None and height is not None else width
        height = box[3] * width / box[2] if height is None and width is not None else height
    if width is None or height is None or not (0 < width < np.inf and 0 < height < np.inf):
        raise source.error(
            "does not say how large its page is", 'give its svg element a width and a height, such as "100mm"'
        )
    up = np.array([[MM_PER_PIXEL, 0, 0], [0, -MM_PER_PIXEL, height * MM_PER_PIXEL], [0, 0, 1]])
    fitted = _fit(box, (width, height), root.get("preserveAspectRatio"), source)
    return up @ fitted, (box[2], box[3]) if box else (width, height)


def _fit(box: list[float] | None, size: tuple[float, float], how: str, source: Source) -> Floats:
    """Matrix that puts a viewBox into a viewport, W3C SVG 1.1, 7.8."""
    if box is None:
        return np.eye(3)
    left, top, width, height = box
    scale = np.array([size[0] / width, size[1] / height])
    words = how.replace("defer", "").split() or ["xMidYMid"]
    if words[0] == "none":
        shares = np.zeros(2)
    else:
        match = re.fullmatch(r"x(Min|Mid|Max)Y(Min|Mid|Max)", words[0])
        if not match:
            raise source.error(f"has preserveAspectRatio {quoted(short(how))}", "leave it out")
        scale[:] = scale.max() if "slice" in words else scale.min()
        shares = np.array([("Min", "Mid", "Max").index(word) / 2 for word in match.groups()])
    spare = (np.array(size) - scale * (width, height)) * shares
    matrix = np.diag([scale[0], scale[1], 1.0])
    matrix[:2, 2] = spare - scale * (left, top)
    return matrix


@dataclass(frozen=True)
class _Walk:
    """A walk through the drawn elements, in file order."""

    source: Source
    layer: str | None
    by_id: dict[str, Element]
    count: list[int] = field(default_factory=lambda: [0])

    def children(self, element: Element, place: _Place) -> Iterator[Piece]:
        """The pieces of all that an element holds, in file order; ``place`` is the one inside it."""
        for child in element.children:
            yield from self.element(child, place)

    def element(self, element: Element, place: _Place) -> Iterator[Piece]:
        """The pieces of one element; ``place`` is the one of its parent."""
        tag = element.tag
        drawn = tag in SHAPES or (tag in GROUPS and tag != "symbol") or tag == "use"
        if not drawn or self._hidden(element):
            return
        self._count(place)
        try:
            inside = place.matrix @ transform(element.get("transform"))
            if tag in SHAPES:
                if place.chosen:
                    for vertices, closed in _shape(element, inside, place.size):
                        yield Piece(vertices, closed, "", (element.names or [""])[0])
                return
        except (ValueError, OverflowError, FloatingPointError) as error:
            name = f' "{element.names[0]}"' if element.names else ""
            raise self.source.error(f"{tag}{name} is damaged: {error}", "draw it again") from error
        chosen = place.chosen or (tag in GROUPS and self.layer in element.names)
        group = _Place(inside, place.size, chosen, place.depth + 1)
        if tag == "use":
            yield from self._copy(element, group)
        elif tag == "svg":
            yield from self.children(element, self._viewport(element, group, element))
        else:
            yield from self.children(element, group)

    def _count(self, place: _Place) -> None:
        self.count[0] += 1
        if self.count[0] > 4 * MOST_PIECES:
            raise self.source.error("has too many copies of its elements", "save the shapes alone")
        if place.depth > 4 * DEEPEST:
            raise self.source.error("has a copy (use) that holds itself", "save the shapes alone")

    def _hidden(self, element: Element) -> bool:
        words = (part.partition(":") for part in element.get("style").split(";"))
        style = {key.strip(): value.strip() for key, _, value in words}
        if "transform" in style or "transform-origin" in style or "transform-origin" in element.values:
            raise self.source.error("has a transform in a style", "use the transform attribute alone")
        return style.get("display", element.get("display").strip()) == "none"

    def _copy(self, element: Element, place: _Place) -> Iterator[Piece]:
        link = element.get("href", element.get(LINK)).strip()
        if not link.startswith("#"):
            raise self.source.error(
                f"copies (use) from elsewhere: {quoted(short(link))}", "copy the shapes into the file"
            )
        target = self.by_id.get(link[1:])
        if target is None:
            raise self.source.error(f"copies {quoted(short(link))}, which it does not have", "save it again")
        shift = np.eye(3)
        shift[:2, 2] = self._lengths(element, ("x", "y"), place)
        moved = _Place(place.matrix @ shift, place.size, place.chosen, place.depth)
        if target.tag == "symbol":
            chosen = place.chosen or self.layer in target.names
            inner = _Place(moved.matrix, place.size, chosen, place.depth)
            yield from self.children(target, self._viewport(target, inner, element))
        else:
            yield from self.element(target, moved)

    def _viewport(self, element: Element, place: _Place, sized_by: Element) -> _Place:
        """The place inside a nested page or symbol: its own corner, its own viewBox."""
        corner = self._lengths(element, ("x", "y"), place) if element is sized_by else (0.0, 0.0)
        size = self._lengths(sized_by, ("width", "height"), place, "100%")
        try:
            box = numbers(element.get("viewBox")) or None
        except ValueError as error:
            raise self.source.error(f"has an unreadable viewBox: {error}", "leave it out") from error
        if box is not None and (len(box) != 4 or min(box[2:]) <= 0):
            raise self.source.error("has a viewBox that is no rectangle", "leave it out")
        shift = np.eye(3)
        shift[:2, 2] = corner
        fitted = _fit(box, size, element.get("preserveAspectRatio"), self.source)
        return _Place(
            place.matrix @ shift @ fitted, (box[2], box[3]) if box else size, place.chosen, place.depth
        )

    def _lengths(
        self, element: Element, keys: tuple[str, str], place: _Place, default: str = "0"
    ) -> tuple[float, float]:
        try:
            first, second = (
                length(element.get(key, default), whole) for key, whole in zip(keys, place.size, strict=True)
            )
        except ValueError as error:
            raise self.source.error(f"{element.tag} is damaged: {error}", "draw it again") from error
        return first, second


def _shape(element: Element, matrix: Floats, size: tuple[float, float]) -> Iterator[tuple[Floats, bool]]:
    """Vertices in mm, shape (n, 3), and whether they close; raises ValueError where unreadable."""
    tag = element.tag
    if tag == "path":
        yield from subpaths(element.get("d"), matrix)
    elif tag in ("polygon", "polyline"):
        points = numbers(element.get("points"))
        if len(points) % 2:
            raise ValueError("an odd number of coordinates")
        if len(points) > 2:
            yield _straight(np.array(points).reshape(-1, 2), matrix), tag == "polygon"
    elif tag == "line":
        x1, y1, x2, y2 = _measures(element, ("x1", "y1", "x2", "y2"), size)
        yield _straight(np.array([[x1, y1], [x2, y2]]), matrix), False
    elif tag == "rect":
        yield from subpaths(_rectangle(element, size), matrix)
    else:
        cx, cy, rx, ry = _measures(
            element, ("cx", "cy", *(("r", "r") if tag == "circle" else ("rx", "ry"))), size
        )
        if min(rx, ry) < 0:
            raise ValueError("a negative radius")
        if min(rx, ry) > 0:
            axes = np.diag([rx, ry])
            yield conic(matrix, np.array([cx, cy]), axes[0], axes[1], 0.0, 2 * np.pi)[:-1], True


def _measures(element: Element, keys: tuple[str, ...], size: tuple[float, float]) -> list[float]:
    """Lengths in user units; a percentage is of the viewport's width, height or, for r, diagonal."""
    whole = {"r": float(np.hypot(*size)) / 2**0.5}
    for key in keys:
        whole.setdefault(key, size[1] if "y" in key or key == "height" else size[0])
    return [length(element.get(key, "0"), whole[key]) for key in keys]


def _rectangle(element: Element, size: tuple[float, float]) -> str:
    """A rectangle as path data, its corners rounded as W3C SVG 1.1, 9.2, says."""
    x, y, width, height, rx, ry = _measures(element, ("x", "y", "width", "height", "rx", "ry"), size)
    if min(width, height, rx, ry) < 0:
        raise ValueError("a negative length")
    if width == 0 or height == 0:
        return ""
    given = [key in element.values and element.get(key).strip() != "auto" for key in ("rx", "ry")]
    rx, ry = (rx if given[0] else ry), (ry if given[1] else rx)
    rx, ry = min(rx, width / 2), min(ry, height / 2)
    if rx == 0 or ry == 0:
        return f"M{x!r} {y!r} H{x + width!r} V{y + height!r} H{x!r} Z"
    turn = f"A{rx!r} {ry!r} 0 0 1"
    return (
        f"M{x + rx!r} {y!r} H{x + width - rx!r} {turn} {x + width!r} {y + ry!r} V{y + height - ry!r} "
        f"{turn} {x + width - rx!r} {y + height!r} H{x + rx!r} {turn} {x!r} {y + height - ry!r} "
        f"V{y + ry!r} {turn} {x + rx!r} {y!r} Z"
    )


def _straight(points: Floats, matrix: Floats) -> Floats:
    return np.column_stack([mapped(matrix, points), np.zeros(len(points))])
