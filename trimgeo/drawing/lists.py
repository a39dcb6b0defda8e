"""The lists of a sheet, and how they flow through columns and on to further sheets."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from trimgeo.drawing.furniture import SMALL
from trimgeo.drawing.lettering import ASCENT, DESCENT, LEADING, width, wrapped, written
from trimgeo.drawing.marks import Mark, inside_stops, length_uncertainty, relief_keys, stands, stops
from trimgeo.drawing.sheet import XY, Box, Item, Text
from trimgeo.model.board import FaceName
from trimgeo.model.plan import Corner, Plan, Row
from trimgeo.model.provisos import provisos

HEADING: Final = 2.7
"""Font size of the headings of lists."""

INDENT: Final = 9.5
"""Column of the marks before the entries."""

PITCH: Final = SMALL * LEADING
GAP: Final = 1.6
"""Free above a heading."""


@dataclass(frozen=True)
class Entry:
    """One entry: what stands before it, and its text."""

    mark: str
    text: str


@dataclass(frozen=True)
class Block:
    """A list with its heading; ``indent`` is the column of the marks before its entries."""

    heading: str
    entries: tuple[Entry, ...]
    indent: float = INDENT


def blocks(
    plan: Plan, face: FaceName, marks: Sequence[Mark], keyed: Sequence[str], unplaced: Sequence[str] = ()
) -> tuple[Block, ...]:
    """All lists of a face.

    ``keyed`` are the keys that stand on the drawing instead of a name, ``unplaced`` those that found no
    place on it: these are listed with their position.
    """
    key, lost = frozenset(keyed), frozenset(unplaced)
    lifts = [Entry(m.key if m.key in key else "–", f"{m.name}: {m.note}") for m in marks if m.kind == "lift"]
    elsewhere = sum(lift.face != face for lift in plan.lift)
    if elsewhere:
        lifts.append(Entry("–", f"on the other face: {elsewhere}, see its sheet"))
    names = [Entry(m.key, _named(m)) for m in marks if m.key in key and m.kind in ("hole", "keepout")]
    names += [Entry(m.key, f"{_named(m)}, at {_position(m)}") for m in marks if m.key in lost - key]
    found = (
        Block("Before taping", tuple(_taping(plan, face)), indent=3.5),
        Block("Cuts, in this order", tuple(_cuts(plan, marks))),
        Block("Inside corners", tuple(_corners(plan))),
        Block("Holding", tuple(_holding(plan)), indent=3.5),
        Block("Lift before cutting", tuple(lifts)),
        Block("Windows to cut out of the paper", tuple(_windows(plan, face, marks, key))),
        Block("Numbers on the drawing", tuple(names)),
        Block("Warnings", tuple(Entry("!", warning) for warning in plan.warnings), indent=4.0),
    )
    return tuple(block for block in found if block.entries)


def _cuts(plan: Plan, marks: Sequence[Mark]) -> list[Entry]:
    """Each cut with the corners of the finished edge that it runs between."""
    names = {mark.key: f": {mark.name}" for mark in marks if mark.kind == "cut"}
    return [
        Entry(str(cut.n), f"{_at(cut.start)} to {_at(cut.end)}{names.get(str(cut.n), '')}")
        for cut in plan.cuts
    ]


def _named(mark: Mark) -> str:
    return f"{mark.name}, {mark.note}" if mark.note else mark.name


def _position(mark: Mark) -> str:
    middle = mark.shape.centroid
    return _at((middle.x, middle.y))


def _taping(plan: Plan, face: FaceName) -> list[Entry]:
    bound = length_uncertainty(plan)
    notes = [
        _flatter(plan, face),
        f"The line is placed to ± {bound:.2f} mm (printing, taping and finishing, factor 2); "
        "lengths carry the same. Cut on the waste side of the guide line, then sand to the finished edge.",
        *provisos(plan),
        _verdict(plan),
    ]
    if plan.unknown_layers:
        numbers = ", ".join(str(layer) for layer in plan.unknown_layers)
        notes.append(f"NOT KNOWN, so not shown: copper layers without a picture or keep-out: {numbers}.")
    return [Entry("–", note) for note in notes if note]


def _verdict(plan: Plan) -> str:
    least, inner = plan.minimum, plan.inner_minimum
    if least is None or least.nominal is None:
        return ""
    text = f"{plan.state.upper()}: least clearance {_clearance(least)}"
    if inner is not None and inner.nominal is not None and inner != least:
        text += f"; on inner copper {_clearance(inner)}"
    return f"{text}."


def _clearance(row: Row) -> str:
    return f"{row.nominal:.2f} ± {row.uncertainty:.2f} mm, to {row.name} (required {row.required:.2f} mm)"


def _flatter(plan: Plan, face: FaceName) -> str:
    other: FaceName = "bottom" if face == "top" else "top"
    here, there = (
        max((height or 0.0 for _, height, _ in stands(plan, side)), default=0.0) for side in (face, other)
    )
    heights = (
        f"{f'parts here stand {here:g} mm high' if here else 'nothing stands here'}, "
        f"on the {other} face {f'{there:g} mm' if there else 'nothing does'}"
    )
    if not here and not there:
        return "No part with a height in the job stands on either face."
    if here == there:
        return f"Neither face is the flatter one: {heights}."
    if here < there:
        return f"This is the flatter face: {heights}. If one sheet will do, tape this one."
    return f"The {other} face is the flatter one: {heights}. If one sheet will do, tape that one."


def _corners(plan: Plan) -> list[Entry]:
    cutter = plan.board.job.cutter
    found: list[Entry] = []
    wheels = inside_stops(plan)
    for corner in plan.corners:
        place = f"at {_at(corner.at)}"
        if corner.inside and corner.stop_short is not None:
            depth = cutter.breakthrough if cutter else 0.0
            text = (
                f"{place}: stop the wheel's axle {corner.stop_short:.2f} mm before the corner of the guide "
                f"line, on both cuts, no deeper than {depth:g} mm past the far face. {_left(plan, corner)}"
            )
            if any(stop.at is None for stop in stops(plan, corner)):
                text += " A cut here is shorter than its stops: not possible with this wheel, saw or file it."
            found.append(Entry(f"stop {wheels.index(corner) + 1}", text))
        elif corner.inside and corner.fillet:
            found.append(
                Entry("–", f"{place}: the bit leaves a radius of {corner.fillet:.2f} mm; file it square.")
            )
    return found


def _left(plan: Plan, corner: Corner) -> str:
    """What is left to saw or file at an inside corner, on the face that is cut from and on the other."""
    cutter = plan.board.job.cutter
    if corner.left is None or cutter is None:
        return "Finish with a fine saw or file."
    near, far = corner.left
    other = "bottom" if cutter.face == "top" else "top"
    # What rounds to nothing is nothing to finish.
    sides = [(near, f"{near:.2f} mm there"), (far, f"{far:.2f} mm on the {other} face")]
    left = " and ".join(text for length, text in sides if length >= 0.005)
    if not left:
        return f"Cut from the {cutter.face} face; nothing is left to finish."
    return f"Cut from the {cutter.face} face; finish the last {left} with a fine saw or file."


def _holding(plan: Plan) -> list[Entry]:
    """Start holes, relief cuts and the clamp."""
    support = plan.holding.support
    found = [
        Entry("–", f"cut {hole.cut}: drill {hole.diameter:g} mm at {_at(hole.at)} to start")
        for hole in plan.holding.start_holes
    ]
    if support is None or not plan.cuts:
        return found
    for key, line in zip(relief_keys(support), support.relief, strict=True):
        start, end = (_at(xy) for xy in line.coords)
        found.append(
            Entry("–", f"before all else, saw the waste apart ({key}) from {start} to {end}, no further")
        )
    if support.clamp is not None:
        at, radius = support.clamp
        found.append(Entry("–", f"clamp at {_at(at)}: nothing stands within {radius:.0f} mm"))
    return found


def _at(point: Sequence[float]) -> str:
    # Adding 0 takes the sign from what rounds to nothing.
    x, y = (round(float(value), 1) + 0.0 for value in point[:2])
    return f"({x:.1f}, {y:.1f})"


def _windows(plan: Plan, face: FaceName, marks: Sequence[Mark], key: frozenset[str]) -> list[Entry]:
    windows = [mark for mark in marks if mark.kind == "window"]
    found = [Entry(m.key if m.key in key else "–", f"{m.name}, {m.note}") for m in windows]
    unknown = [name for name, height, _ in stands(plan, face) if height is None]
    if unknown:
        names = ", ".join(unknown)
        found.append(Entry("?", f"no height given, cut a window where it stands proud: {names}"))
    return found


def block_height(several: Sequence[Block], room: float) -> float:
    """Height of the lists in one column of width ``room``, mm.

    >>> cuts = Block("Cuts", (Entry("1", "30.00 mm"), Entry("2", "20.00 mm")))
    >>> one, two = block_height([cuts], 60.0), block_height([cuts, cuts], 60.0)
    >>> round(one, 2), two == 2 * one
    (10.69, True)
    """
    lines = sum(
        len(wrapped(entry.text, SMALL, room - one.indent)) for one in several for entry in one.entries
    )
    return lines * PITCH + len(several) * (HEADING * LEADING + GAP)


def flow(several: Sequence[Block], columns: Sequence[Box]) -> tuple[tuple[Item, ...], tuple[Block, ...]]:
    """Lay lists into columns, one after the other; returns what was laid and what is left over.

    A heading stays with its first entry, an entry stays whole unless a whole column is too short.

    >>> cuts = Block("Cuts", (Entry("1", "30.00 mm"), Entry("2", "20.00 mm")))
    >>> items, (rest,) = flow([cuts], [(0.0, 0.0, 60.0, 8.0)])
    >>> [item.text for item in items], rest.heading, rest.entries
    (['Cuts', '1', '30.00 mm'], 'Cuts (continued)', (Entry(mark='2', text='20.00 mm'),))
    """
    items: list[Item] = []
    left = list(several)
    for column in columns:
        y = column[3]
        while left:
            laid, y, rest = _lay_block(left[0], column, y, fresh=y == column[3])
            items.extend(laid)
            if rest is not None:
                left[0] = rest
                break
            left.pop(0)
        if not left:
            break
    return tuple(items), tuple(left)


def _lay_block(block: Block, column: Box, top: float, fresh: bool) -> tuple[list[Item], float, Block | None]:
    """Lay what fits of one list below ``top``; returns items, the new top and the rest, if any."""
    x, bottom, right, _ = column
    y = top - (0.0 if fresh else GAP)
    heading = Text((x, y - HEADING * ASCENT), _fitted(block.heading, HEADING, right - x), HEADING)
    y -= HEADING * LEADING
    items: list[Item] = [heading]
    for n, entry in enumerate(block.entries):
        lines = wrapped(entry.text, SMALL, right - x - block.indent)
        room = int((y - bottom + SMALL * (LEADING - ASCENT - DESCENT)) / PITCH + 1e-9)
        if len(lines) > room:
            # An entry longer than a fresh column is broken, everything else moves on whole.
            if fresh and n == 0 and room > 0:
                items.extend(_entry(entry.mark, lines[:room], (x, y), block.indent))
                rest = (Entry("", " ".join(lines[room:])), *block.entries[1:])
                return items, bottom, Block(_continued(block.heading), rest, block.indent)
            if n == 0:
                return [], top, block
            return items, bottom, Block(_continued(block.heading), block.entries[n:], block.indent)
        items.extend(_entry(entry.mark, lines, (x, y), block.indent))
        y -= PITCH * len(lines)
    return items, y, None


def _entry(mark: str, lines: Sequence[str], at: XY, indent: float) -> list[Item]:
    x, y = at[0], at[1] - SMALL * ASCENT
    marked = [Text((x, y), written(mark), SMALL)] if mark else []
    return [
        *marked,
        *(Text((x + indent, y - i * PITCH), line, SMALL) for i, line in enumerate(lines) if line),
    ]


def _continued(heading: str) -> str:
    return heading if heading.endswith("(continued)") else f"{heading} (continued)"


def _fitted(text: str, size: float, room: float) -> str:
    return text if width(text, size) <= room else wrapped(text, size, room)[0]
