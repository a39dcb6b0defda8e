"""What the user wrote, checked for form: the job file as frozen values.

Positions are millimetres in the board frame, or pixels of the picture that ``on`` names;
lengths are always millimetres.  Nothing here opens a file: `trimgeo.jobfile` reads one into
these values, `trimgeo.stages.prepare` turns them into a `trimgeo.model.board.Board`.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

Finite = Annotated[float, Field(strict=True, allow_inf_nan=False)]
Positive = Annotated[float, Field(strict=True, gt=0, allow_inf_nan=False)]
NotNegative = Annotated[float, Field(strict=True, ge=0, allow_inf_nan=False)]
Point = tuple[Finite, Finite]
Name = Annotated[str, Field(min_length=1, max_length=200)]
Face = Literal["top", "bottom"]
Kind = Literal["component", "trace", "via", "pad", "hole", "copper", "other"]
PaperName = Literal["A4", "A3", "letter"]


class Table(BaseModel):
    """A table of the job file: frozen, and no key that is not named here."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class ShapeFile(Table):
    """Shapes drawn elsewhere, in a DXF or SVG file."""

    file: str
    layer: str | None = None


class About(Table):
    """``[job]``: what the job is called."""

    title: Name
    revision: Name | None = None
    variants: tuple[Name, ...] = ()


class BoardHole(Table):
    """``[[board.holes]]``: a hole of the bare board."""

    name: Name
    at: Point
    diameter: Positive
    plated: bool = True
    on: Name | None = None


class BoardTable(Table):
    """``[board]``: the board as it is before any cut."""

    thickness: Positive
    layers: Annotated[int, Field(ge=1, le=64, strict=True)] = 2
    depths: tuple[NotNegative, ...] | None = None
    edge: tuple[Point, ...] | ShapeFile
    holes: tuple[BoardHole, ...] = ()


class ScalePoint(Table):
    """A pixel whose board position was measured."""

    pixel: Point
    at: Point


class PointsScale(Table):
    """Scale from measured points."""

    points: Annotated[tuple[ScalePoint, ...], Field(min_length=2)]


class DpiScale(Table):
    """Scale of a flatbed scan: one resolution, one for x and one for y, or the file's own."""

    dpi: Positive | tuple[Positive, Positive] | Literal["file"] = "file"


class OriginPlace(Table):
    """Where board point (0, 0) is, and a pixel on the +x axis."""

    origin: Point
    along: Point


class LengthToCheck(Table):
    """A length measured on the board that took no part in the scale."""

    from_: Annotated[Point, Field(alias="from")]
    to: Point
    length: Positive


class ViewTable(Table):
    """``[[view]]``: a picture of a face or of an inner layer."""

    name: Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9_-]{0,63}$")]
    image: str
    shows: Face | Annotated[int, Field(ge=1, strict=True)]
    scale: PointsScale | DpiScale
    place: OriginPlace | None = None
    checks: tuple[LengthToCheck, ...] = ()


class Disc(Table):
    """An exact circle."""

    at: Point
    diameter: Positive


class Track(Table):
    """A path with round ends and joins."""

    points: Annotated[tuple[Point, ...], Field(min_length=2)]
    width: Positive


class KeepoutTable(Table):
    """``[[keepout]]``: an area that the finished edge stays clear of."""

    name: Name
    kind: Kind
    polygon: tuple[Point, ...] | None = None
    circle: Disc | None = None
    path: Track | None = None
    layers: tuple[Annotated[int, Field(ge=1, strict=True)], ...] | None = None
    height: NotNegative | None = None
    net: Name | None = None
    clearance: NotNegative | None = None
    may_cut: bool = False
    variants: tuple[Name, ...] = ()
    on: Name | None = None


class KeepoutFileTable(Table):
    """``[[keepouts]]``: keep-outs of one kind from a layer of a DXF or SVG file."""

    file: str
    layer: str
    kind: Kind
    layers: tuple[Annotated[int, Field(ge=1, strict=True)], ...] | None = None
    height: NotNegative | None = None
    net: Name | None = None
    clearance: NotNegative | None = None
    may_cut: bool = False
    variants: tuple[Name, ...] = ()


class PartTable(Table):
    """``[[lift]]`` or ``[[part]]``: a part that comes off, or may be lost."""

    name: Name
    polygon: tuple[Point, ...] | None = None
    circle: Disc | None = None
    face: Face | None = None
    height: NotNegative | None = None
    on: Name | None = None
    variants: tuple[Name, ...] = ()


class Cutter(Table):
    """``[cutter]``: what cuts, and how far it strays."""

    kind: Literal["wheel", "bit", "blade"]
    kerf: Positive
    diameter: Positive | None = None
    wander: NotNegative = 0.3
    breakthrough: NotNegative = 0.5


class Finish(Table):
    """``[finish]``: the material left for the abrasive."""

    sanding: NotNegative


class ClearanceTable(Table):
    """``[clearance]``: required clearances that override the defaults of `trimgeo.tables`."""

    component: NotNegative | None = None
    trace: NotNegative | None = None
    via: NotNegative | None = None
    pad: NotNegative | None = None
    hole: NotNegative | None = None
    copper: NotNegative | None = None
    other: NotNegative | None = None


class Placing(Table):
    """``[placing]``: standard uncertainties of printing, taping and sanding."""

    print: NotNegative = 0.10
    taping: NotNegative = 0.15
    finish: NotNegative = 0.10


class CutCount(Table):
    """Build the smallest outline with at most this many new cuts."""

    cuts: Annotated[int, Field(ge=0, le=64, strict=True)]


class OutlineTable(Table):
    """``[outline]``: the finished outline, given or to be built."""

    points: tuple[Point, ...] | None = None
    on: Name | None = None
    file: str | None = None
    layer: str | None = None
    build: Literal["smallest"] | CutCount | None = None
    gain: Positive | None = None


class SheetTable(Table):
    """``[sheet]``: paper, and what the printer does to lengths."""

    paper: PaperName = "A4"
    stretch: tuple[Positive, Positive] | None = None


class ProbeTable(Table):
    """``[[probe]]``: a place where a rail is measured."""

    name: Name
    at: Point
    face: Face
    rail: Name
    on: Name | None = None


class Job(Table):
    """A whole job.

    ``folder`` is where relative paths start, ``source`` the name of the file for messages,
    ``variant`` the variant that was asked for; they come from the caller, not from the file.
    """

    job: About
    board: BoardTable
    view: tuple[ViewTable, ...] = ()
    keepout: tuple[KeepoutTable, ...] = ()
    keepouts: tuple[KeepoutFileTable, ...] = ()
    lift: tuple[PartTable, ...] = ()
    part: tuple[PartTable, ...] = ()
    cutter: Cutter | None = None
    finish: Finish | None = None
    clearance: ClearanceTable = ClearanceTable()
    placing: Placing = Placing()
    outline: OutlineTable | None = None
    sheet: SheetTable = SheetTable()
    probe: tuple[ProbeTable, ...] = ()
    folder: Path = Path()
    source: str = "job.toml"
    variant: str | None = None
