"""What is computed: the cuts, the clearances and everything that follows from them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal, NamedTuple

import numpy as np
import shapely
from shapely import LineString, MultiLineString, MultiPolygon, Polygon

from trimgeo.model import answer
from trimgeo.model.board import Board, Circle, FaceName, Ring

XY = tuple[float, float]
State = Literal["clear", "tight", "breached"]


@dataclass(frozen=True)
class Cut:
    """A new edge, in cutting order: ``line`` runs counter-clockwise along the finished outline.

    ``circle`` is the circle that a curved cut follows, None for a straight one.

    >>> quarter = Cut(1, LineString([(5, 0), (0, 5)]), Circle((0.0, 0.0), 5.0))
    >>> quarter.start, round(quarter.line.length, 2), round(quarter.length, 2)
    ((5.0, 0.0), 7.07, 7.85)
    """

    n: int
    line: LineString
    circle: Circle | None = None

    @property
    def start(self) -> XY:
        """First point, counter-clockwise."""
        x, y = self.line.coords[0]
        return x, y

    @property
    def end(self) -> XY:
        """Last point, counter-clockwise."""
        x, y = self.line.coords[-1]
        return x, y

    @property
    def length(self) -> float:
        """Length along the finished edge, mm; of a curved cut that of its arc, not of its chords."""
        if self.circle is None:
            return float(self.line.length)
        chords = np.hypot(*np.diff(shapely.get_coordinates(self.line), axis=0).T)
        radius = self.circle.radius
        return float(np.sum(2 * radius * np.arcsin(np.minimum(chords / (2 * radius), 1.0))))


@dataclass(frozen=True)
class Lines:
    """What the cutter follows and takes, outside the finished outline.

    ``guide`` and ``tool_centre`` are open lines from beyond the board edge to beyond the board
    edge, or closed ones; ``kerf_band`` and ``swept_band`` are areas on the board.
    """

    guide: tuple[LineString, ...]
    tool_centre: tuple[LineString, ...]
    kerf_band: MultiPolygon
    swept_band: MultiPolygon
    notes: tuple[str, ...] = ()


class Row(NamedTuple):
    """The clearance of one keep-out; all lengths mm, None where there is no new edge.

    ``worst`` is ``nominal`` less the ``uncertainty`` (a 95 % bound) and what the cutter strays past the
    sanding margin; ``at`` is the place of the least clearance.  A named tuple and not a dataclass: a
    board has thousands of rows, and these are made several times as fast.
    """

    name: str
    kind: str
    layers: tuple[int, ...]
    net: str | None
    nominal: float | None
    uncertainty: float
    worst: float | None
    required: float
    at: XY | None
    state: State
    may_cut: bool = False


@dataclass(frozen=True)
class Lift:
    """A part that comes off before cutting, and why; ``height`` above its face, mm, where it is known."""

    name: str
    face: FaceName
    at: XY
    height: float | None
    reason: str


@dataclass(frozen=True)
class Severed:
    """A trace or named net that the outline cuts, and where it crosses new edges, mm."""

    name: str
    net: str | None
    at: tuple[XY, ...]


@dataclass(frozen=True)
class Exposed:
    """Copper that ends at a new edge: on which cut and layer, from where to where, mm."""

    cut: int
    layer: int
    net: str | None
    start: XY
    end: XY
    length: float


@dataclass(frozen=True)
class Corner:
    """A corner between two new edges: what a round cutter leaves or overruns there.

    ``stop_short`` (wheels, inside corners): from the guide line's corner back along the cut to the
    wheel's axle.  ``fillet``: radius left on the finished edge by a bit.  ``left`` (wheels, inside corners):
    what the wheel leaves of each cut before that corner, on the face that it stands on and on the other.
    """

    at: XY
    inside: bool
    stop_short: float | None
    fillet: float | None
    left: tuple[float, float] | None = None


@dataclass(frozen=True)
class Hit:
    """What the cutter would run into: a part that stays, ``height`` mm above the face that is cut from.

    ``by`` is the wheel itself or the holder of the hand-piece, the latter over the ``side`` of the waste or
    of the kept board; along which ``cut``.  ``must_live`` says that it is a keep-out that may not be lost.
    """

    name: str
    height: float
    cut: int
    by: Literal["wheel", "holder"]
    side: Literal["waste", "kept"] | None = None
    must_live: bool = False


@dataclass(frozen=True)
class Hole:
    """A hole to drill in the waste, so that a blade can start there: its centre, mm, and for which cut."""

    at: XY
    diameter: float
    cut: int


@dataclass(frozen=True)
class Fit:
    """Whether the finished board goes into its case, by the pose that leaves it the most room.

    Turned by ``angle`` degrees about the board frame's (0, 0) and then moved by ``shift``, it has ``spare``
    mm more than the gap all round (negative: less); no pose has more than ``most``.  ``as_placed`` is the
    same where it lies in the board frame.  ``binds`` are pairs of points, of the board and of the case,
    between which it is closest; ``too_high`` are parts that the lid or the floor does not clear, and by how
    much it lacks.  ``shifted`` is the most that was found without a turn, and its shift: None where none was
    found that goes into the case at all.  ``notes`` say all that in words.
    """

    fits: bool
    spare: float
    most: float
    shift: XY
    angle: float
    as_placed: float
    binds: tuple[tuple[XY, XY], ...]
    too_high: tuple[tuple[str, float], ...] = ()
    notes: tuple[str, ...] = ()
    shifted: tuple[float, XY] | None = None


@dataclass(frozen=True)
class Support:
    """How to hold the board: relief cuts in the waste, made first, and where to clamp.

    ``relief`` are straight lines from the board's edge to beside the kerf; ``clamp`` is the middle and the
    radius, mm, of the largest place on the kept board on which no part stands.
    """

    relief: tuple[LineString, ...]
    clamp: tuple[XY, float] | None


@dataclass(frozen=True)
class Holding:
    """What holds board, hand-piece and blade; ``notes`` are what a person has to hear about it."""

    fit: Fit | None = None
    hits: tuple[Hit, ...] = ()
    start_holes: tuple[Hole, ...] = ()
    support: Support | None = None
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Distance:
    """One caliper distance: perpendicular from the n-th side of the board edge, or from a hole's rim."""

    mm: float
    edge: int | None = None
    hole: str | None = None


@dataclass(frozen=True)
class SetOut:
    """A corner of the finished outline or guide line by two caliper distances."""

    n: int
    at: XY
    line: Literal["finished", "guide"]
    distances: tuple[Distance, ...]


@dataclass(frozen=True)
class Plan:
    """All that `trimgeo.plan` computes; pure, writes nothing.

    ``cuts`` are in cutting order; ``rows`` in the order of the job; ``minimum`` is the row of least
    nominal clearance and ``inner_minimum`` the same over inner copper, None where there is none.
    """

    board: Board
    finished: Ring
    cuts: tuple[Cut, ...]
    lines: Lines
    rows: tuple[Row, ...]
    minimum: Row | None
    inner_minimum: Row | None
    lift: tuple[Lift, ...]
    severed: tuple[Severed, ...]
    exposed: tuple[Exposed, ...]
    corners: tuple[Corner, ...]
    set_out: tuple[SetOut, ...]
    unknown_layers: tuple[int, ...]
    warnings: tuple[str, ...]
    holding: Holding = Holding()

    @property
    def state(self) -> State:
        """The worst state of all rows."""
        states = {row.state for row in self.rows}
        return "breached" if "breached" in states else "tight" if "tight" in states else "clear"

    def report(self) -> dict[str, Any]:
        """The dict of report.json; its ``files`` is None until `trimgeo.write` has written them."""
        return answer.report(self)


@dataclass(frozen=True)
class Choice:
    """One line of the trade of cuts against size: mm and mm².

    ``inside_corners`` are those between two new cuts, off the board's own edge; ``clearance`` is the least
    to a new edge, None where there is none; ``notes`` say what is awkward about it.
    """

    cuts: int
    finished: Polygon
    area: float
    cut_length: float
    inside_corners: int
    clearance: float | None
    fits: bool | None = None
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Trade:
    """The choices from the fewest cuts up, and what is proved about the fewest.

    ``fewest`` is the least number of new cuts found, ``proved`` a number that no outline goes below.
    """

    choices: tuple[Choice, ...]
    fewest: int | None = None
    proved: int | None = None


@dataclass(frozen=True)
class Weighed:
    """A board's trade and the choice that its job asks for; ``variant`` None stands for all together.

    ``refused`` says why there is no such choice; ``trade`` is None where there is no outline at all.
    """

    variant: str | None
    trade: Trade | None
    chosen: Choice | None
    refused: str | None = None


@dataclass(frozen=True, eq=False)
class Proof:
    """What proves that no outline has less than ``proved`` new cuts, all in the board frame.

    ``witnesses`` are the lines of sight that bound each cut: one that begins before it reaches no further.
    They are drawn in the room between ``kept`` (what they lead around) and ``allowed`` (the board within the
    case); ``fewest`` is the outline with the fewest cuts found. ``around`` says in words what is
    led around: all keep-outs, or a piece of them where only that piece counts.
    """

    fewest: Choice
    proved: int
    witnesses: MultiLineString
    kept: Polygon | MultiPolygon
    allowed: Polygon
    around: str
