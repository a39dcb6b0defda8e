"""The wordings of labels, the room that each takes, and the label as drawn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from numpy.typing import NDArray

from trimgeo.drawing import labels
from trimgeo.drawing.lettering import ASCENT, DESCENT, LEADING, width, wrapped
from trimgeo.drawing.marks import Mark
from trimgeo.drawing.sheet import Box, Discs, Item, Text
from trimgeo.drawing.signs import LINES

LABEL: Final = 2.2
"""Font size of names."""

CUT_LABEL: Final = 2.8
"""Font size of cut numbers and lengths."""

RING: Final = 2.2
"""Radius of the ring round a cut number."""

HALF_CAPITAL: Final = 0.36
"""Half the height of a capital, in font sizes: from the base line to the middle of a line of text."""

NAME_ROOM: Final = 34.0
"""Widest line of a name; what needs more than two goes into the list and leaves its key on the drawing."""

NEXT_LINE: Final = 1.0
"""What each further line costs, in mm of distance."""

NUMBER_ALONE: Final = 0.5
"""What leaving out the word before a number costs, in mm of distance."""

KEY_ALONE: Final = {
    "cut": 60.0,
    "stop": 9.0,
    "start": 9.0,
    "relief": 6.0,
    "hole": 8.0,
    "lift": 6.0,
    "window": 6.0,
    "clamp": 6.0,
    "keepout": 8.0,
}
"""What a key costs where a name could stand: a length to cut belongs at its cut, a name may be looked up."""

ORDER: Final = tuple(KEY_ALONE)
"""Who gets a place first."""


@dataclass(frozen=True)
class Wording:
    """Lines of a label; of a cut, what follows the ring with its number.  A ``key`` is looked up."""

    lines: tuple[str, ...]
    room: labels.Form
    key: bool = False


def claims(marks: Sequence[Mark], shapes: NDArray[Any]) -> list[int]:
    """Numbers of the marks whose shapes show, in the order of their claims: by kind, largest first.

    ``shapes`` has what shows of each mark, shape (k,); what does not show at all is empty.

    >>> from numpy import array
    >>> from shapely import Polygon, box
    >>> shapes = array([box(0, 0, 1, 1), box(0, 0, 5, 5), Polygon(), box(8, 8, 9, 9)])
    >>> kinds = ("keepout", "keepout", "keepout", "hole")
    >>> claims([Mark(kind, "#1", "U1", shape) for kind, shape in zip(kinds, shapes)], shapes)
    [3, 1, 0]
    """
    shown = [
        (ORDER.index(mark.kind), -float(shape.area), n)
        for n, (mark, shape) in enumerate(zip(marks, shapes, strict=True))
        if not shape.is_empty
    ]
    return [n for _, _, n in sorted(shown)]


def forms(mark: Mark) -> tuple[Wording, ...]:
    """Wordings, dearest last; at the end come keys alone, which for a cut is the ring with its number.

    >>> from shapely import LineString, Point
    >>> cut = Mark("cut", "1", "30.00 ± 0.20 mm", LineString([(0, 0), (30, 0)]))
    >>> [one.lines for one in forms(cut)]
    [('30.00 ± 0.20 mm',), ('30.00 mm', '± 0.20 mm'), ()]
    >>> [one.lines for one in forms(Mark("keepout", "#7", "battery charger [1]", Point(0, 0)))]
    [('battery charger [1]',), ('battery', 'charger [1]'), ('#7',)]
    """
    if mark.kind == "cut":
        value, bound = mark.name.split(" ± ")
        return (
            _cut_wording(mark, (mark.name,), 0.0),
            _cut_wording(mark, (f"{value} mm", f"± {bound}"), NEXT_LINE),
            _cut_wording(mark, (), KEY_ALONE["cut"]),
        )
    full = f"lift {mark.name}" if mark.kind == "lift" else mark.name
    length = width(full, LABEL)
    found: list[Wording] = []
    if length <= NAME_ROOM:
        found.append(_wording((full,), 0.0))
    # Broken between words only, into two lines or three of about the same length.
    longest_word = max(width(word, LABEL) for word in full.split(" "))
    share = NAME_ROOM if mark.kind == "stop" else max(0.62 * length, longest_word)
    broken = wrapped(full, LABEL, share + 1e-6) if share <= NAME_ROOM else ()
    if 1 < len(broken) <= 3:
        found.append(_wording(broken, NEXT_LINE * (len(broken) - 1)))
    alone = KEY_ALONE[mark.kind] if found else 0.0
    key = f"lift {mark.key}" if mark.kind == "lift" else mark.key
    found.append(_wording((key,), alone, key=True))
    if mark.kind == "lift":  # its dashes tell that it is lifted: the number has room in more of them
        found.append(_wording((mark.key,), alone + NUMBER_ALONE, key=True))
    return tuple(found)


def _wording(lines: tuple[str, ...], price: float, key: bool = False) -> Wording:
    wide = max(width(line, LABEL) for line in lines)
    high = LABEL * (ASCENT + DESCENT + LEADING * (len(lines) - 1))
    return Wording(lines, labels.Form(wide + 0.5, high, price), key)


def _cut_wording(mark: Mark, lines: tuple[str, ...], price: float) -> Wording:
    text = 1.0 + max(width(line, CUT_LABEL) for line in lines) if lines else 0.0
    high = max(2 * _ring(mark) + 0.4, CUT_LABEL * (ASCENT + DESCENT + LEADING * (len(lines) - 1)))
    return Wording(lines, labels.Form(2 * _ring(mark) + text + 0.4, high, price), key=not lines)


def _ring(mark: Mark) -> float:
    return max(RING, width(mark.key, CUT_LABEL) / 2 + 0.7)


def label(mark: Mark, wording: Wording, box: Box) -> list[Item]:
    """The label in the middle of its box, a box of the sheet at least as large as the wording's room.

    >>> from shapely import LineString
    >>> cut = Mark("cut", "1", "30.00 ± 0.20 mm", LineString([(0, 0), (30, 0)]))
    >>> ring, number, length = label(cut, forms(cut)[0], (0.0, 0.0, 40.0, 6.0))
    >>> number.text, number.at[0] == ring.centres[0][0], length.text
    ('1', True, '30.00 ± 0.20 mm')
    """
    left, bottom, right, top = box
    middle = (left + right) / 2, (bottom + top) / 2
    if mark.kind != "cut":
        first = middle[1] + wording.room.height / 2 - LABEL * ASCENT
        return [
            Text((middle[0], first - n * LEADING * LABEL), line, LABEL, "middle")
            for n, line in enumerate(wording.lines)
        ]
    radius, base = _ring(mark), middle[1] - CUT_LABEL * HALF_CAPITAL
    upper = base + CUT_LABEL * LEADING * (len(wording.lines) - 1) / 2
    x = middle[0] - wording.room.width / 2 + 0.2 + radius
    return [
        Discs("cut-number", ((x, middle[1]),), radius, LINES["finished"].colour, 0.25),
        Text((x, base), mark.key, CUT_LABEL, "middle"),
        *(
            Text((x + radius + 1.0, upper - n * LEADING * CUT_LABEL), line, CUT_LABEL)
            for n, line in enumerate(wording.lines)
        ),
    ]
