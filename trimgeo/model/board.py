"""The board in millimetres: what is left of a job once its pixels and files are read.

Frame: looking at the top face, x right, y up; both faces and all layers in this one frame.
Geometry is shapely's; every value is frozen.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal, TypeAlias

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, MultiLineString, MultiPolygon, Point, Polygon

from trimgeo.model.job import Job
from trimgeo.model.planemap import PlaneMap
from trimgeo.plane.arcs import bulged, enclosed_area

Area: TypeAlias = Polygon | MultiPolygon
FaceName = Literal["top", "bottom"]
Pixels = NDArray[np.uint8]


@dataclass(frozen=True)
class Picture:
    """A true-scale picture in the board frame, drawn only when first looked at.

    ``x = (column - origin[0]) / pixels_per_mm``, ``y = (origin[1] - row) / pixels_per_mm``.
    ``size`` is (columns, rows); ``pixels`` has shape (rows, columns, 3), blue-green-red.
    """

    pixels_per_mm: float
    origin: tuple[float, float]
    size: tuple[int, int]
    render: Callable[[], Pixels] = field(repr=False, compare=False)

    @cached_property
    def pixels(self) -> Pixels:
        """The pixels; raises `trimgeo.JobError` where the file cannot be decoded."""
        return self.render()


@dataclass(frozen=True)
class Shot:
    """A picture as it was taken, turned as a viewer shows it; its file is decoded at each call.

    ``size`` is (columns, rows).  ``colour`` gives shape (rows, columns, 3), blue-green-red, ``grey``
    shape (rows, columns); both raise `trimgeo.JobError` where the file cannot be decoded.
    """

    size: tuple[int, int]
    colour: Callable[[], Pixels] = field(repr=False, compare=False)
    grey: Callable[[], Pixels] = field(repr=False, compare=False)


@dataclass(frozen=True)
class EdgeSeen:
    """The board's edge and round holes as a picture shows them, mm.

    ``uncertainty`` is the standard uncertainty of finding the edge, in one direction, without that of
    the view; ``warnings`` say what a person must hear about it.
    """

    ring: Ring
    uncertainty: float
    holes: tuple[Circle, ...]
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class CardSeen:
    """What a picture shows of the reference card: corners and what the fit leaves of each, pixels, (n, 2).

    ``markers`` is the number of codes read, ``focal`` the focal length in pixels, ``ids`` (n,) the corners'
    numbers on the card.
    """

    paper: str
    markers: int
    focal: float
    corners: NDArray[np.float64]
    residuals: NDArray[np.float64]
    ids: NDArray[np.intp]


@dataclass(frozen=True, eq=False)
class CardLying:
    """Where the reference card for ``paper`` is seen in a true-scale picture.

    ``ids`` (n,) number the card's corners, ``at`` (n, 2) their places, mm, in the plane of the shown face.
    """

    paper: str
    ids: NDArray[np.intp]
    at: NDArray[np.float64]


@dataclass(frozen=True)
class LengthCheck:
    """A caliper length against the same length in the picture, mm.

    >>> round(LengthCheck(length=50.8, measured=50.65).error, 3)
    -0.15
    """

    length: float
    measured: float

    @property
    def error(self) -> float:
        """Picture minus caliper, mm."""
        return self.measured - self.length


@dataclass(frozen=True)
class View:
    """A picture with its scale: ``shows`` is a face or a copper layer's number.

    ``to_board`` maps source pixels to mm and knows its uncertainty; residuals, mm, are None where
    the points leave none; ``uncertainty`` is the 95 % bound, mm, of a position over the board edge.
    ``note`` says in words what the scale rests on; ``warnings`` what a person must hear about it.
    ``shot`` is the picture as taken; ``card`` what it shows of the reference card, where it was scaled
    by one.  ``placed`` says that board point (0, 0) is known in it, and not just taken for a corner;
    ``scale_known`` is false for a card of which nobody measured the bars; ``doubt`` says in words what the
    bound is due to.
    """

    name: str
    shows: FaceName | int
    method: str
    to_board: PlaneMap
    picture: Picture
    residual_rms: float | None
    residual_max: float | None
    uncertainty: float
    checks: tuple[LengthCheck, ...] = ()
    note: str = ""
    warnings: tuple[str, ...] = ()
    shot: Shot | None = None
    card: CardSeen | None = None
    placed: bool = True
    scale_known: bool = True
    doubt: str = ""


@dataclass(frozen=True)
class Hole:
    """A hole of the bare board: centre and diameter, mm."""

    name: str
    at: tuple[float, float]
    diameter: float
    plated: bool


@dataclass(frozen=True)
class Keepout:
    """An area that the finished edge stays clear of.

    The exact shape is ``spine`` grown by ``radius``: a circle is a Point and its radius, a path a
    LineString and half its width, a polygon itself and 0.  ``on_board`` says that the whole of it
    lies on the board; where it does not, only the part on the board counts.
    ``uncertainty`` is the standard uncertainty, in one direction, of its position (0 without a view);
    ``view`` names the view whose picture it was marked on; ``scale_known`` as for that view.
    ``face`` is where a component stands, else None.

    >>> via = Keepout("V3", "via", Point(12, 8), 0.4, (1, 2), "GND", 0.5, "the ring must stay whole")
    >>> new_edge = LineString([(14, 0), (14, 20)])
    >>> via.spine.distance(new_edge) - via.radius  # its clearance: exact, where a polygon's would not be
    1.6
    """

    name: str
    kind: str
    spine: Point | LineString | Polygon | MultiPolygon
    radius: float
    layers: tuple[int, ...]
    net: str | None
    required: float
    reason: str
    may_cut: bool = False
    height: float | None = None
    face: FaceName | None = None
    uncertainty: float = 0.0
    on_board: bool = True
    view: str | None = None
    scale_known: bool = True


@dataclass(frozen=True)
class Part:
    """A part that comes off: ``must_go`` for one that is lifted whatever the line; ``height`` in mm."""

    name: str
    area: Polygon
    face: FaceName
    height: float | None
    must_go: bool


@dataclass(frozen=True)
class Probe:
    """A place where a rail is measured, mm, and the face from which it is reached."""

    name: str
    at: tuple[float, float]
    face: FaceName
    rail: str


@dataclass(frozen=True)
class Circle:
    """A circle, mm, that part of a flattened ring follows: its arcs stay arcs in the DXF."""

    centre: tuple[float, float]
    radius: float


@dataclass(frozen=True)
class Ring:
    """A closed shape as flattened polygon, mm, and the circles that its curved stretches follow.

    >>> from trimgeo.plane.arcs import circle_piece, flatten
    >>> points, _ = flatten(circle_piece(0.0, 0.0, 5.0), closed=True)
    >>> disc = Ring(Polygon(points), (Circle((0.0, 0.0), 5.0),))
    >>> round(disc.polygon.area, 2), round(disc.area, 2)
    (78.44, 78.54)
    """

    polygon: Polygon
    circles: tuple[Circle, ...] = ()

    @cached_property
    def area(self) -> float:
        """Area in mm², of the true arcs and not of the chords that stand for them."""
        if not self.circles:
            return float(self.polygon.area)
        circles = np.array([[*circle.centre, circle.radius] for circle in self.circles])
        points = shapely.get_coordinates(self.polygon.exterior)[:-1]
        return abs(enclosed_area(bulged(points, True, circles)))


@dataclass(frozen=True)
class Case:
    """The enclosure in the board frame: cavity, posts that stand in it, and the least gap, mm.

    ``lid`` and ``floor`` are the free heights over the top and under the bottom face, None where not given.
    """

    cavity: Ring
    posts: tuple[Ring, ...]
    gap: float
    lid: float | None = None
    floor: float | None = None

    @cached_property
    def room(self) -> Area:
        """The cavity less its posts."""
        room: Area = shapely.difference(
            self.cavity.polygon, shapely.union_all([post.polygon for post in self.posts])
        )
        return room


@dataclass(frozen=True)
class DrawnLine:
    """The line found in a view's picture: the stretches that were really drawn, and the pen's width, mm.

    ``uncertainty`` is the standard uncertainty of finding its middle, without that of the view.
    """

    view: str
    strokes: MultiLineString
    pen_width: float
    uncertainty: float


@dataclass(frozen=True)
class Board:
    """The whole job in millimetres.

    ``edge`` is the board edge, counter-clockwise; ``outline`` the finished outline where the job
    gives one, already snapped to the board, else None (built by `trimgeo.stages.plan`).
    ``depths`` has the depth of each copper layer below the top face.
    ``ignored`` are the keep-outs that lie wholly off the board: they have a row, and no effect.
    ``described_layers`` are the copper layers that a view or keep-out describes.
    ``edge_view`` names the view in which the edge was found, ``found_holes`` are the holes that it
    shows, ``drawn`` is the line where the outline was found in a picture; ``case`` the enclosure.
    """

    job: Job
    edge: Ring
    depths: tuple[float, ...]
    holes: tuple[Hole, ...] = ()
    views: tuple[View, ...] = ()
    keepouts: tuple[Keepout, ...] = ()
    parts: tuple[Part, ...] = ()
    probes: tuple[Probe, ...] = ()
    outline: Ring | None = None
    described_layers: frozenset[int] = frozenset()
    warnings: tuple[str, ...] = ()
    ignored: tuple[Keepout, ...] = ()
    edge_view: str | None = None
    found_holes: tuple[Circle, ...] = ()
    drawn: DrawnLine | None = None
    case: Case | None = None
