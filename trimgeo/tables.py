"""Published values with their sources, and our own tolerances with their reasons.

All lengths are millimetres.
"""

from __future__ import annotations

from typing import Final, NamedTuple

# Published values ---------------------------------------------------------------------------

MM_PER_INCH: Final = 25.4
"""Definition of the inch since 1959."""

POINTS_PER_INCH: Final = 72
"""PDF default user space unit, ISO 32000-1:2008, 8.3.2.3."""

CSS_PIXELS_PER_INCH: Final = 96
"""W3C CSS Values and Units: 1 in = 96 px."""

PAPERS: Final[dict[str, tuple[float, float]]] = {
    "A4": (210.0, 297.0),  # ISO 216
    "A3": (297.0, 420.0),  # ISO 216
    "letter": (215.9, 279.4),  # ANSI/ASME Y14.1: 8.5 x 11 in
}
"""Sheet sizes, portrait, width by height."""


class Required(NamedTuple):
    """A required clearance and the reason for it."""

    mm: float
    reason: str


CONDUCTOR_INNER: Final = Required(
    0.45,
    "conductor spacing 0.05 mm (IPC-2221B table 6-1, column B1, up to 30 V, from memory) "
    "+ 0.4 mm to the edge (IPC-2222 10.1.1, second hand)",
)
CONDUCTOR_OUTER: Final = Required(
    0.50,
    "conductor spacing 0.1 mm (IPC-2221B table 6-1, column B2, up to 30 V, from memory) "
    "+ 0.4 mm to the edge (IPC-2222 10.1.1, second hand)",
)
COMPONENT: Final = Required(0.5, "room for the sanding block beside a part (common practice)")
HOLE: Final = Required(0.5, "wall of board left beside a hole (common practice)")
OTHER: Final = Required(0.0, "no clearance asked for this kind")

COVERAGE_FACTOR: Final = 2.0
"""Coverage factor for about 95 % in one direction, JCGM 100:2008 (GUM) 6.2."""

COVERAGE_FACTOR_PLANE: Final = 2.45
"""The same in two directions: sqrt of the 95 % point of chi-square with 2 degrees of freedom."""

OKABE_ITO: Final[dict[str, str]] = {
    "black": "#000000",
    "orange": "#E69F00",
    "sky blue": "#56B4E9",
    "bluish green": "#009E73",
    "yellow": "#F0E442",
    "blue": "#0072B2",
    "vermilion": "#D55E00",
    "reddish purple": "#CC79A7",
}
"""Colour-blind-safe palette, Okabe and Ito 2008."""

# Our tolerances ---------------------------------------------------------------------------

EDGE_TOLERANCE: Final = 0.05
"""A stretch of outline this near to the board edge is on it: finer than anyone saws or files."""

CHAIN_TOLERANCE: Final = 0.01
"""Ends of drawn lines and arcs this near to each other meet: ten times finer than a cut."""

FLATTENING: Final = 0.005
"""Greatest distance between an arc and the chords that stand for it: below every other error."""

LARGEST_BOARD: Final = 1000.0
"""A board over one metre is a unit mistake."""

LEAST_BOARD: Final = 12.0
"""A board shorter than this, mm, was more likely given in inches: nobody holds a smaller one to cut it."""

LARGEST_PICTURE: Final = 400_000_000
"""Pixels: 1.2 GB decoded; a larger picture is a mistake or an attack."""

PART_HEIGHT: Final = 0.1
"""Standard uncertainty, mm, of a part's height above its face, taken by caliper (common practice)."""

PIXEL_READING: Final = 0.5
"""Standard uncertainty, in pixels, of a position that a person reads off a picture."""

BLADE_RUN_OUT: Final = 2.0
"""How far a saw blade passes the board edge: a saw needs a few teeth beyond it (common practice)."""

BAR: Final = 100.0
"""Nominal length of the check bars."""

SHORT_BAR: Final = 50.0
"""Nominal length of a check bar where the sheet is short."""
