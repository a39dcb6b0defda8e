"""The greenhouse board as it was drawn: the exact geometry that pictures, job and tests share.

Millimetres in the board frame: looking at the top face, x right, y up, (0, 0) its lower left corner.
Everything is invented: parts, names and nets belong to no product.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

XY = tuple[float, float]
Face = Literal["top", "bottom"]

EDGE: tuple[XY, ...] = (
    *((0.0, 0.0), (104.0, 0.0), (104.0, 7.0), (110.0, 7.0), (110.0, 0.0)),
    *((140.0, 0.0), (140.0, 90.0), (8.0, 90.0), (0.0, 82.0)),
)
THICKNESS = 1.6
LAYERS = 4
DEPTHS = (0.0, 0.3, 1.3, 1.6)


@dataclass(frozen=True)
class Part:
    """A part by its outline, leads included: a box, or a disc where ``style`` is a round one.

    ``size`` is along x and y as placed; ``turn`` counts quarter turns of the pins and the drawing.
    """

    name: str
    style: str
    at: XY
    size: XY
    height: float
    face: Face = "top"
    turn: int = 0
    pins: int = 0
    label: str = ""

    @property
    def round(self) -> bool:
        """Whether the outline is a disc of diameter ``size[0]``."""
        return self.style in ("can", "coin", "buzzer")

    @property
    def corners(self) -> tuple[XY, ...]:
        """Corners of the box, counter-clockwise from the lower left."""
        (x, y), (w, h) = self.at, self.size
        return tuple((x + i * w / 2, y + j * h / 2) for i, j in ((-1, -1), (1, -1), (1, 1), (-1, 1)))


@dataclass(frozen=True)
class Trace:
    """Copper of one width along a line, with round ends and joins."""

    name: str
    layer: int
    points: tuple[XY, ...]
    width: float
    net: str


@dataclass(frozen=True)
class Via:
    """A plated hole through all layers, with a round pad on each."""

    name: str
    at: XY
    net: str
    diameter: float = 0.9
    drill: float = 0.4


@dataclass(frozen=True)
class Hole:
    """A hole of the bare board."""

    name: str
    at: XY
    diameter: float
    plated: bool = False


@dataclass(frozen=True)
class Plane:
    """A copper area of an inner layer by its outer boundary."""

    name: str
    layer: int
    points: tuple[XY, ...]
    net: str


@dataclass(frozen=True)
class TestPad:
    """A bare copper disc to measure on."""

    name: str
    at: XY
    face: Face
    net: str
    diameter: float = 1.8


PARTS = (
    # The logger half, which is to live on.
    Part("J1", "socket", (3.5, 31.0), (10.0, 14.0), 8.0, pins=4, label="SOIL"),
    Part("J2", "socket", (3.5, 50.0), (10.0, 14.0), 8.0, pins=4, label="AIR"),
    Part("J3", "shell", (45.0, 85.5), (14.0, 12.0), 5.0, pins=4, label="LOG"),
    Part("J4", "header", (22.0, 86.0), (7.6, 5.1), 8.5, turn=1, pins=3),
    Part("J5", "header", (95.6, 52.2), (5.1, 20.3), 9.0, pins=8, label="DISPLAY"),
    Part("U1", "quad", (36.0, 50.0), (12.0, 12.0), 1.6, pins=12),
    Part("U2", "dual", (20.0, 67.0), (6.0, 5.0), 1.8, pins=4),
    Part("U3", "tab", (17.0, 31.0), (7.0, 7.0), 1.8, turn=1),
    Part("U4", "dual", (27.5, 31.0), (6.0, 9.0), 1.8, pins=7),
    Part("U7", "dual", (77.5, 60.0), (6.0, 5.0), 1.8, pins=4),
    Part("U8", "dual", (86.0, 54.0), (6.0, 10.0), 1.8, pins=8),
    Part("Y1", "crystal", (36.0, 63.5), (10.0, 4.0), 3.6),
    Part("BT1", "coin", (60.0, 65.0), (24.0, 24.0), 6.0),
    Part("C1", "can", (17.5, 42.0), (6.4, 6.4), 7.5),
    Part("C2", "can", (25.0, 58.5), (5.0, 5.0), 5.5),
    Part("U6", "dual", (62.0, 24.0), (6.0, 5.0), 1.8, face="bottom", pins=4),
    # The switching half, which is waste.
    Part("K1", "relay", (93.5, 24.0), (19.0, 15.5), 15.5, label="PUMP"),
    Part("K2", "relay", (117.0, 22.0), (19.0, 15.5), 15.5, label="FAN"),
    Part("K3", "relay", (117.0, 41.0), (19.0, 15.5), 15.5, label="HEAT"),
    Part("X1", "terminal", (134.5, 20.0), (11.0, 15.0), 10.0, turn=1, pins=3, label="PUMP"),
    Part("X2", "terminal", (134.5, 36.0), (11.0, 15.0), 10.0, turn=1, pins=3, label="FAN"),
    Part("X3", "terminal", (134.5, 52.0), (11.0, 15.0), 10.0, turn=1, pins=3, label="HEAT"),
    Part("X4", "terminal", (87.0, 85.0), (15.0, 11.0), 10.0, pins=3, label="SUPPLY"),
    Part("J6", "socket", (45.0, 3.5), (14.0, 10.0), 8.0, turn=1, pins=4, label="FLOW"),
    Part("C8", "can", (106.0, 71.0), (16.0, 16.0), 25.0),
    Part("C9", "can", (121.5, 70.5), (12.5, 12.5), 20.0),
    Part("C10", "can", (27.0, 12.0), (10.0, 10.0), 12.5),
    Part("L1", "coil", (109.5, 56.0), (11.0, 11.0), 7.0),
    Part("U5", "tab", (123.0, 57.0), (10.0, 10.0), 4.5),
    Part("F1", "fuse", (114.0, 84.5), (22.0, 6.0), 8.0),
    Part("BZ1", "buzzer", (80.0, 8.0), (12.0, 12.0), 9.5),
    Part("SW1", "button", (15.0, 7.5), (6.0, 6.0), 5.0),
    Part("D1", "diode", (105.3, 24.0), (3.0, 6.4), 2.4, turn=1),
    Part("D2", "diode", (105.3, 40.0), (3.0, 6.4), 2.4, turn=1),
    Part("D3", "diode", (99.0, 11.0), (6.4, 3.0), 2.4),
)

TRACES = (
    Trace("RAIN", 3, ((6.0, 27.25), (11.0, 22.5), (38.0, 17.0), (58.0, 15.5)), 0.30, "RAIN"),
    Trace("RAIN below", 4, ((58.0, 15.5), (59.6, 17.1), (59.6, 21.6)), 0.30, "RAIN"),
    Trace("COUNT", 2, ((89.0, 27.0), (88.6, 32.0), (80.0, 40.0), (52.0, 44.0), (47.0, 46.0)), 0.25, "COUNT"),
    Trace("CELL", 3, ((81.0, 71.5), (77.0, 67.5), (71.5, 67.5)), 0.40, "VBAT"),
    Trace(
        "DISPLAY data",
        3,
        ((94.33, 43.31), (89.0, 38.0), (76.0, 46.0), (54.0, 51.0), (47.0, 51.0)),
        0.25,
        "DATA",
    ),
    Trace(
        "DISPLAY clock",
        2,
        ((96.87, 48.39), (100.2, 51.5), (100.2, 63.0), (97.4, 66.0), (84.0, 66.0), (81.5, 63.5)),
        0.25,
        "CLOCK",
    ),
    Trace(
        "PUMP drive", 1, ((42.0, 47.0), (47.0, 40.5), (86.0, 40.5), (99.9, 35.5), (99.9, 30.0)), 0.40, "PUMP"
    ),
    Trace("FLOW", 1, ((41.25, 6.0), (41.25, 12.0), (34.5, 19.0), (34.5, 44.0)), 0.30, "FLOW"),
)

VIAS = (
    Via("V1", (58.0, 15.5), "RAIN"),
    Via("V2", (89.0, 27.0), "COUNT"),
    Via("V3", (81.0, 71.5), "VBAT"),
    Via("V4", (47.0, 46.0), "COUNT"),
    Via("V5", (47.0, 51.0), "DATA"),
    Via("V6", (81.5, 63.5), "CLOCK"),
)

HOLES = (
    Hole("H1", (6.5, 81.0), 3.2),
    Hole("H2", (72.0, 84.0), 3.2),
    Hole("H3", (5.0, 5.0), 3.2),
    Hole("H4", (135.0, 5.0), 3.2),
    Hole("H5", (135.0, 85.0), 3.2),
    Hole("H6", (66.0, 4.5), 3.2),
    Hole("T1", (132.0, 66.0), 2.0),
    Hole("T2", (58.0, 82.0), 2.0),
)

GND: tuple[XY, ...] = (
    *((1.2, 1.2), (96.0, 1.2), (103.3, 16.0), (103.3, 30.0), (104.5, 46.0), (104.5, 62.0)),
    *((99.6, 67.0), (99.6, 77.0), (97.0, 88.8), (8.5, 88.8), (1.2, 81.5)),
)
PGND: tuple[XY, ...] = (
    *((97.4, 1.2), (102.8, 1.2), (102.8, 8.2), (111.2, 8.2), (111.2, 1.2), (138.8, 1.2), (138.8, 88.8)),
    *((98.4, 88.8), (100.9, 77.0), (100.9, 67.6), (105.8, 62.6), (105.8, 46.0), (104.6, 30.0), (104.6, 15.6)),
)
SUPPLY_3V3: tuple[XY, ...] = (
    *((12.0, 30.0), (52.0, 22.0), (80.0, 30.0), (103.0, 40.0), (103.0, 66.0)),
    *((88.0, 78.0), (18.0, 78.0), (18.0, 64.0), (12.0, 58.0)),
)
CELL: tuple[XY, ...] = ((49.0, 56.0), (73.0, 56.0), (73.0, 70.0), (66.0, 76.0), (49.0, 76.0))
SUPPLY_12V: tuple[XY, ...] = (
    *((105.0, 51.0), (127.0, 51.0), (127.0, 80.0), (112.0, 88.0)),
    *((80.0, 88.0), (80.0, 81.0), (91.0, 79.0), (105.0, 67.6)),
)
PLANES = (
    Plane("GND", 2, GND, "GND"),
    Plane("PGND", 2, PGND, "PGND"),
    Plane("3V3", 3, SUPPLY_3V3, "3V3"),
    Plane("VBAT", 3, CELL, "VBAT"),
    Plane("12V", 3, SUPPLY_12V, "12V"),
)

TEST_PADS = (
    TestPad("TP1", (30.0, 73.0), "top", "GND"),
    TestPad("TP2", (50.0, 34.0), "top", "3V3"),
    TestPad("TP3", (68.0, 50.0), "bottom", "VBAT"),
)
