"""What stands on every sheet: head, orientation arrows, check bars, what to do with them, cautions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from trimgeo.drawing.lettering import ASCENT, LEADING, width, wrapped, written
from trimgeo.drawing.sheet import XY, Box, Item, Strokes, Text
from trimgeo.drawing.signs import INK, LINES
from trimgeo.model.board import FaceName
from trimgeo.model.plan import Plan
from trimgeo.tables import BAR, SHORT_BAR

MARGIN: Final = 8.0
"""Left free all round: most printers reach to within 5 to 6.5 mm of the edge (common practice)."""

STRIP: Final = 9.0
"""Width of the strip at the left that holds the bar in y."""

ARROWS: Final = 15.0
"""Side of the square that holds the orientation arrows."""

TICK: Final = 1.8
"""Half the length of the ticks at the ends of a bar."""

FIELDS: Final = 64.0
"""Width beside the bar in x that the fields for the measured lengths take."""

SMALL: Final = 2.2
"""Font size of notes, about 6.2 points: the least that is read at arm's length."""

CAUTION: Final = (
    "CAUTION: take lithium cells out, disconnect the mains and discharge capacitors before cutting. "
    "Glass-fibre dust harms lungs and eyes: work with extraction or wet, wear a mask of at least FFP2 / N95 "
    "and eye protection. Local codes and licensed practice come first."
)


@dataclass(frozen=True)
class Head:
    """What the head of a sheet says besides the job: ``part`` such as ``page 1 of 4``."""

    face: FaceName
    part: str
    number: int
    count: int


@dataclass(frozen=True)
class Frame:
    """Where things go on one piece of paper of ``width`` by ``height`` mm; the boxes do not overlap."""

    width: float
    height: float
    head: Box
    body: Box
    foot: Box


def frame(plan: Plan, paper: XY) -> Frame:
    """The frame of every sheet of a plan on paper of this width and height, mm.

    The same for all sheets of a set, so that their bars and boards lie in the same place.
    """
    right, top = paper[0] - MARGIN, paper[1] - MARGIN
    body_left = MARGIN + STRIP
    # The longest head and foot that any sheet of the set can have set the frame of all.
    lines = _head_lines(plan, Head("bottom", "page 99 of 99", 999, 999), right - MARGIN - ARROWS)
    head = max(sum(size * LEADING for _, size in lines), ARROWS) + 1.5
    foot = 17.5 + SMALL * LEADING * len(wrapped(CAUTION, SMALL, right - body_left))
    return Frame(
        *paper,
        head=(MARGIN, top - head, right, top),
        body=(body_left, MARGIN + foot, right, top - head),
        foot=(body_left, MARGIN, right, MARGIN + foot),
    )


def furniture(plan: Plan, page: Frame, head: Head) -> tuple[Item, ...]:
    """Head, orientation arrows, check bars, notes and cautions of one sheet.

    The bars are drawn as the job's ``stretch`` says, so that they come out at their nominal length.
    """
    stretch = plan.board.job.sheet.stretch or (1.0, 1.0)
    return (
        *_head(plan, page, head),
        *_arrows(head.face, (page.head[2] - ARROWS, page.head[3] - ARROWS)),
        *_bars(page, stretch),
        *_foot(page, stretch),
    )


def _head_lines(plan: Plan, head: Head, room: float) -> list[tuple[str, float]]:
    about, variant = plan.board.job.job, plan.board.job.variant
    size = 3.4 if len(wrapped(about.title, 3.4, room)) == 1 else 2.5
    facts = [
        f"revision {about.revision}" if about.revision else "",
        f"variant {variant}" if variant else "",
        f"sheet {head.number} of {head.count}",
        "" if head.part.startswith("map") else "true scale 1:1",
        "print at 100 % without fitting to the page",
    ]
    meta = " · ".join(fact for fact in facts if fact)
    return [
        (_face_words(head), 4.6),
        *((line, size) for line in wrapped(about.title, size, room)),
        *((line, SMALL) for line in wrapped(meta, SMALL, room)),
    ]


def _face_words(head: Head) -> str:
    side = (
        "TOP FACE, seen from above"
        if head.face == "top"
        else "BOTTOM FACE, SEEN FROM BELOW, already mirrored: print as it is"
    )
    return f"{side} · {head.part}" if head.part else side


def _head(plan: Plan, page: Frame, head: Head) -> list[Item]:
    left, bottom, right, top = page.head
    items: list[Item] = []
    y = top
    for text, size in _head_lines(plan, head, right - left - ARROWS):
        fitting = min(size, size * (right - left - ARROWS - 2) / max(width(text, size), 1e-9))
        items.append(Text((left, y - size * ASCENT), text, fitting))
        y -= size * LEADING
    return [*items, rule((left, bottom + 0.7), (right, bottom + 0.7))]


def _arrows(face: FaceName, corner: XY) -> list[Item]:
    """The axes of the board frame as they lie on this sheet."""
    sign = -1.0 if face == "bottom" else 1.0
    x0, y0 = corner[0] + (3.0 if sign > 0 else 12.0), corner[1] + 3.5
    tip_x, tip_y = (x0 + sign * 8.0, y0), (x0, y0 + 8.0)
    shafts = (((x0, y0), tip_x), ((x0, y0), tip_y))
    heads = (
        ((tip_x[0] - sign * 1.8, y0 + 0.8), tip_x, (tip_x[0] - sign * 1.8, y0 - 0.8)),
        ((x0 - 0.8, tip_y[1] - 1.8), tip_y, (x0 + 0.8, tip_y[1] - 1.8)),
    )
    return [
        Strokes("orientation", (*shafts, *heads), INK, 0.25),
        Text((tip_x[0] + sign * 0.8, y0 - 0.8), "x", 2.6, "start" if sign > 0 else "end"),
        Text((x0, tip_y[1] + 1.0), "y", 2.6, "middle"),
        Text((corner[0] + ARROWS / 2, corner[1] + 0.3), "board", 2.2, "middle"),
    ]


def _bars(page: Frame, stretch: XY) -> list[Item]:
    left, bottom = page.body[:2]
    x, y = left, page.foot[3] - 4.6
    x_nominal, y_nominal = _nominals(page, stretch)
    x_end, foot, y_end = x + x_nominal / stretch[0], bottom + 1.0, bottom + 1.0 + y_nominal / stretch[1]
    at = MARGIN + 5.4
    bar, thin = LINES["bar"], LINES["thin"]
    return [
        Strokes("bar-x", (((x, y), (x_end, y)),), bar.colour, bar.width),
        Strokes("bar-y", (((at, foot), (at, y_end)),), bar.colour, bar.width),
        Strokes("tick-x", _ticks((x, y), (x_end, y)), thin.colour, thin.width),
        Strokes("tick-y", _ticks((at, foot), (at, y_end)), thin.colour, thin.width),
        Text(((x + x_end) / 2, y + 0.9), f"x {x_nominal:g} mm", 2.5, "middle"),
        Text((at - 0.9, (foot + y_end) / 2), f"y {y_nominal:g} mm", 2.5, "middle", 90),
    ]


def _nominals(page: Frame, stretch: XY) -> XY:
    """Nominal lengths of the two bars: short where the paper, or what the printer leaves of it, is."""
    left, bottom, right, top = page.body
    room = right - left - FIELDS, top - bottom - 2.0
    x, y = (BAR if BAR / ratio <= length else SHORT_BAR for ratio, length in zip(stretch, room, strict=True))
    return x, y


def _ticks(start: XY, end: XY) -> tuple[tuple[XY, XY], ...]:
    across = (0.0, TICK) if start[1] == end[1] else (TICK, 0.0)
    return tuple(((x - across[0], y - across[1]), (x + across[0], y + across[1])) for x, y in (start, end))


def _foot(page: Frame, stretch: XY) -> list[Item]:
    left, bottom, right, top = page.foot
    nominal = _nominals(page, stretch)
    after_bar = left + nominal[0] / stretch[0] + 5.0
    ways = [
        f"{axis} ÷ {length:g}" + (f" × {used:g}" if used != 1.0 else "")
        for axis, length, used in zip("xy", nominal, stretch, strict=True)
    ]
    how = (
        f"Where a bar is off by more than 0.1 mm: fill in {ways[0]} and {ways[1]} (measured mm), "
        "paste the line under [sheet] in the job, print again."
    )
    fields = form((left, top - 11.4), ("stretch = [", 15.0, ",", 15.0, "]"), 2.8)
    room_left = left + 57.0
    hints = wrapped(how, SMALL, right - room_left)
    y = bottom + SMALL * LEADING * len(wrapped(CAUTION, SMALL, right - left))
    return [
        *form((after_bar, top - 5.4), ("measured: x", 13.0, "mm, y", 13.0, "mm"), 2.5),
        *fields,
        *paragraph((room_left, top - 8.6), hints, SMALL),
        rule((left, y + 1.0), (right, y + 1.0)),
        *paragraph((left, y), wrapped(CAUTION, SMALL, right - left), SMALL),
    ]


def form(at: XY, parts: Sequence[str | float], size: float) -> list[Item]:
    """Texts and, for each number, a line of that length in mm to write on, from left to right.

    >>> text, line, unit = form((10.0, 50.0), ("measured: x", 13.0, "mm"), 2.5)
    >>> (start, end), = line.paths
    >>> round(end[0] - start[0], 6), round(unit.at[0] - end[0], 6)
    (13.0, 1.2)
    """
    items: list[Item] = []
    x, y = at
    for part in parts:
        if isinstance(part, str):
            items.append(Text((x, y), written(part), size))
            x += width(written(part), size) + 1.2
        else:
            items.append(rule((x, y - 0.4), (x + part, y - 0.4)))
            x += part + 1.2
    return items


def paragraph(top_left: XY, lines: Sequence[str], size: float) -> list[Item]:
    """Lines of text below each other, the first one's top at ``top_left``; an empty one leaves a gap.

    >>> [(round(line.at[1], 2), line.text) for line in paragraph((10.0, 50.0), ("one", "", "three"), 2.5)]
    [(47.65, 'one'), (41.25, 'three')]
    """
    x, y = top_left
    return [Text((x, y - size * (ASCENT + LEADING * i)), line, size) for i, line in enumerate(lines) if line]


def rule(start: XY, end: XY) -> Strokes:
    """A thin line between two places of the sheet: to write on, or to part what lies above and below."""
    return Strokes("rule", ((start, end),), LINES["thin"].colour, LINES["thin"].width)
