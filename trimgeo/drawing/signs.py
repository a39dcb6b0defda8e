"""The one table of line kinds and signs for every picture: sheets, overlays, the report.

Colours are those of `trimgeo.tables.OKABE_ITO` and neutral greys; no meaning hangs on colour alone,
each has a dash, a hatch, a shape or a number of its own, so that a grey print reads as well.
Widths, dashes and pitches are mm on paper; a screen scales them as it likes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from trimgeo.tables import OKABE_ITO

Shape = Literal["ring", "triangle", "cross"]

INK: Final = OKABE_ITO["black"]
NEUTRAL: Final = "#6E6E6E"
"""The one ink of faces, inner layers and keep-outs."""
PALE: Final = "#ABABAB"
"""The neutral ink, thinned for hatches."""
HATCH_WIDTH: Final = 0.10
"""Width of the lines of a layer's hatch."""


@dataclass(frozen=True)
class LineSign:
    """How a line looks: ``dashes`` are (ink, gap), empty for a solid line; ``words`` for the legend.

    A line of dots has ink 0: round dots as wide as the line, ``gap`` from centre to centre.
    """

    name: str
    words: str
    colour: str
    width: float
    dashes: tuple[float, float] | tuple[()] = ()


@dataclass(frozen=True)
class Hatch:
    """Parallel lines: ``angles`` in degrees counter-clockwise from x, ``pitch`` between lines."""

    angles: tuple[float, ...]
    pitch: float
    colour: str
    width: float


@dataclass(frozen=True)
class StateSign:
    """How a state looks: a shape of ``size`` mm across, drawn in lines of ``width``."""

    shape: Shape
    colour: str
    words: str
    size: float = 2.4
    width: float = 0.4


_LINES = (
    LineSign("finished", "finished edge", INK, 0.20),
    LineSign("guide", "guide line: stay outside of it", OKABE_ITO["bluish green"], 0.40, (5.0, 1.4)),
    LineSign("kerf", "kerf band", "#808080", 0.12),
    LineSign("swept", "swept band", OKABE_ITO["orange"], 0.35, (0.0, 1.2)),
    LineSign("board", "board edge", INK, 0.12),
    LineSign("hole", "hole and its centre", INK, 0.15),
    LineSign("keepout", "keep-out", NEUTRAL, 0.15),
    LineSign("lift", "part to lift", INK, 0.25, (1.6, 0.9)),
    LineSign("window", "window to cut out: a part stands here", INK, 0.25, (0.9, 0.7)),
    LineSign("stop", "stop mark: the axle stops here", INK, 0.60),
    LineSign("relief", "relief cut: before all others", NEUTRAL, 0.30, (3.0, 1.0)),
    LineSign("start", "start hole: drill it in the waste", INK, 0.35),
    LineSign("clamp", "place for the clamp", INK, 0.20, (1.0, 0.8)),
    LineSign("hit", "in the way of wheel or hand-piece", OKABE_ITO["vermilion"], 0.50),
    LineSign("case", "wall or post of the case", OKABE_ITO["blue"], 0.20),
    LineSign("case-gap", "gap to the case", OKABE_ITO["blue"], 0.14, (0.8, 0.6)),
    LineSign("cut", "new cut", INK, 0.70),
    LineSign("witness", "line that every outline passes", OKABE_ITO["blue"], 0.45, (2.2, 0.9)),
    LineSign("lacks", "how much room it lacks", OKABE_ITO["vermilion"], 0.60),
    LineSign("leader", "pointer of a label", NEUTRAL, 0.12),
    LineSign("thin", "ticks, frames and arrows", INK, 0.12),
    LineSign("bar", "check bar", INK, 0.25),
    LineSign("match", "match mark", INK, 0.18),
    LineSign("overlap", "overlap of pages", NEUTRAL, 0.12, (2.0, 2.0)),
)

LINES: Final[dict[str, LineSign]] = {line.name: line for line in _LINES}
"""Line kinds by name."""

KERF_HATCH: Final = Hatch((45.0,), 1.0, "#808080", 0.14)
"""The material that the cutter turns to dust."""

CASE_HATCH: Final = Hatch((135.0,), 0.9, "#7FB2D6", 0.12)
"""The solid of the case: across the kerf's hatch, and in a direction that no layer has."""

KEPT_FILL: Final = "#C4C4C4"
"""What is kept, in small pictures that have no room for hatches."""

GROWN_FILL: Final = "#E0E0E0"
"""What is kept clear around it."""

FINISHED_FILL: Final = "#F1F1F1"
"""The area of an outline below it."""

CASE_WALL: Final = 2.0
"""How thick the wall of a case is drawn: it is not known, only where its inside is."""

STATES: Final[dict[str, StateSign]] = {
    "clear": StateSign("ring", OKABE_ITO["bluish green"], "clear"),
    "tight": StateSign("triangle", OKABE_ITO["orange"], "tight"),
    "breached": StateSign("cross", OKABE_ITO["vermilion"], "breached"),
}
"""Signs of `trimgeo.model.plan.State`."""

_ANGLES = (22.5, 157.5, 67.5, 112.5, 0.0, 90.0)
_PITCHES = (1.6, 0.9, 2.4)


def layer_hatch(layer: int) -> Hatch:
    """Hatch of one copper layer, from 1: six directions, then the same at other pitches.

    None of the directions is that of the kerf band or of the case.  Past 18 layers the patterns come again;
    the number beside the name tells them apart.

    >>> layer_hatch(1).angles, layer_hatch(2).angles, layer_hatch(7).pitch
    ((22.5,), (157.5,), 0.9)
    """
    index = layer - 1
    pitch = _PITCHES[index // len(_ANGLES) % len(_PITCHES)]
    return Hatch((_ANGLES[index % len(_ANGLES)],), pitch, PALE, HATCH_WIDTH)


def layers_hatch(layers: tuple[int, ...]) -> Hatch | None:
    """Hatch of a keep-out on these copper layers: its one layer's, or none where it is on several.

    >>> layers_hatch((1, 2, 3)) is None
    True
    """
    return layer_hatch(layers[0]) if len(layers) == 1 else None


def layers_number(layers: tuple[int, ...]) -> str:
    """The number that stands beside a name: layers in square brackets, runs joined by a dash.

    >>> layers_number((1, 2, 3, 6))
    '[1–3, 6]'
    """
    runs: list[list[int]] = []
    for layer in sorted(set(layers)):
        if runs and layer == runs[-1][1] + 1:
            runs[-1][1] = layer
        else:
            runs.append([layer, layer])
    return "[" + ", ".join(str(a) if a == b else f"{a}–{b}" for a, b in runs) + "]"


def state_strokes(state: str) -> tuple[tuple[tuple[float, float], ...], ...]:
    """The sign of a state as polylines in a box from -1 to 1, y up; the ring is empty: a circle of radius 1.

    >>> len(state_strokes("breached")), state_strokes("clear")
    (2, ())
    """
    shape = STATES[state].shape
    if shape == "cross":
        return ((-1.0, -1.0), (1.0, 1.0)), ((-1.0, 1.0), (1.0, -1.0))
    if shape == "triangle":
        return (((-1.0, -0.8), (1.0, -0.8), (0.0, 1.0), (-1.0, -0.8)),)
    return ()


def rgb(colour: str) -> tuple[int, int, int]:
    """Red, green and blue, 0 to 255, of ``#RRGGBB``.

    >>> rgb("#009E73")
    (0, 158, 115)
    """
    value = int(colour.removeprefix("#"), 16)
    return value >> 16, value >> 8 & 255, value & 255
