"""What the user wrote, checked for form: the job file as frozen values.

Positions are millimetres in the board frame, or pixels of the picture that ``on`` names;
lengths are always millimetres.  Nothing here opens a file: `trimgeo.jobfile` reads one into
these values, `trimgeo.stages.prepare` turns them into a `trimgeo.model.board.Board`.

The descriptions of the keys are what people read when a key is missing or wrong.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import BaseModel, Discriminator, Field, Tag, model_validator

from trimgeo.model.capture import ViewTable
from trimgeo.model.case import CaseTable, Disc, ShapeFile
from trimgeo.model.keys import (
    BY_FORM,
    CIRCLE,
    CLEARANCE,
    HEIGHT,
    KIND,
    LAYERS,
    MAY_CUT,
    NET,
    ON,
    POLYGON,
    VARIANTS,
    Area,
    Face,
    FileName,
    Flag,
    Kind,
    Layer,
    Layers,
    Level,
    Name,
    NotNegative,
    PaperName,
    Point,
    Polygon,
    Positive,
    Ratio,
    Table,
    fault,
    key,
    layers_where_needed,
    one_of_keys,
    required,
)


class EdgeView(Table):
    """The edge of the board as a picture shows it."""

    view: Name = required('the name of the [[view]] that shows the whole board, such as "top"')


def _edge_of(value: Any) -> str | None:
    """Tag of the way in which the board edge is given."""
    if isinstance(value, list | tuple):
        return "<list>"
    if isinstance(value, BaseModel):
        return "<view>" if isinstance(value, EdgeView) else "<table>"
    if isinstance(value, dict):
        return "<view>" if "view" in value else "<table>"
    return None


_BY_EDGE = Discriminator(_edge_of, custom_error_type="form", custom_error_message="is no way to give an edge")


class About(Table):
    """``[job]``: what the job is called."""

    title: Name = required('what the job is called, such as "Logger board"')
    revision: Name | None = key(None, 'the revision of the board or the job, such as "B"')
    variants: tuple[Name, ...] = key((), 'names of the variants, such as ["display", "blind"]')


class BoardHole(Table):
    """``[[board.holes]]``: a hole of the bare board."""

    name: Name = required('a name of its own, such as "H1"')
    at: Point = required("its centre, such as [3.5, 3.5]")
    diameter: Positive = required("its diameter in mm, such as 3.2")
    plated: Flag = key(True, "true where it is lined with copper, else false")
    on: Name | None = key(None, ON)


class BoardTable(Table):
    """``[board]``: the board as it is before any cut."""

    thickness: Positive = required("the thickness of the board in mm, such as 1.6")
    layers: Layer = key(2, "the number of copper layers, such as 4")
    depths: tuple[NotNegative, ...] | None = key(
        None, "the depth of each copper layer below the top face in mm, such as [0, 0.3, 1.3, 1.6]"
    )
    edge: Annotated[
        Annotated[Polygon, Tag("<list>")]
        | Annotated[ShapeFile, Tag("<table>")]
        | Annotated[EdgeView, Tag("<view>")],
        _BY_EDGE,
    ] = required(
        "the edge of the board as points, such as [[0, 0], [100, 0], [100, 80], [0, 80]], "
        'as a drawing, such as { file = "edge.dxf" }, or found in a picture, such as { view = "top" }'
    )
    holes: tuple[BoardHole, ...] = key((), "holes of the bare board, each a [[board.holes]] table")

    @model_validator(mode="after")
    def _depths_go_down_layer_by_layer(self) -> Self:
        if self.depths is None:
            return self
        if len(self.depths) != self.layers:
            found = f"found {len(self.depths)} depths for {self.layers} copper layers"
            raise fault("depths", found, "give one depth for each layer, from the top face down")
        if any(lower <= upper for upper, lower in zip(self.depths, self.depths[1:], strict=False)):
            raise fault("depths", "found depths that do not increase", "give them from the top face down")
        if self.depths[-1] > self.thickness:
            found = f"found a layer {self.depths[-1]:g} mm deep in a board {self.thickness:g} mm thick"
            raise fault("depths", found, "give depths within the thickness")
        return self


class Track(Table):
    """A path with round ends and joins."""

    points: Annotated[tuple[Point, ...], Field(min_length=2)] = required(
        "the points of its middle line, such as [[10, 20], [30, 20]]"
    )
    width: Positive = required("its width in mm, such as 0.25")


class KeepoutTable(Table):
    """``[[keepout]]``: an area that the finished edge stays clear of."""

    name: Name = required('a name of its own, such as "U1"')
    kind: Kind = required(KIND)
    polygon: Polygon | None = key(None, POLYGON)
    circle: Disc | None = key(None, CIRCLE)
    path: Track | None = key(
        None, "a path with round ends, such as { points = [[10, 20], [30, 20]], width = 0.25 }"
    )
    layers: Layers | None = key(None, LAYERS)
    height: NotNegative | None = key(None, HEIGHT)
    net: Name | None = key(None, NET)
    clearance: NotNegative | None = key(None, CLEARANCE)
    may_cut: Flag = key(False, MAY_CUT)
    variants: tuple[Name, ...] = key((), VARIANTS)
    on: Name | None = key(None, ON)
    traced: Literal["foot", "top"] | None = key(
        None, 'which outline of a standing part was marked: "foot", or "top", which leans away by its height'
    )

    @model_validator(mode="after")
    def _is_one_shape_on_known_layers(self) -> Self:
        one_of_keys(self, ("polygon", "circle", "path"))
        layers_where_needed(self.kind, self.layers)
        if self.traced is not None:
            for name, fix in (("on", "name its view"), ("height", "give its height above the face in mm")):
                if getattr(self, name) is None:
                    raise fault("traced", f"found it without {name}", f"{fix} with `{name}`, or take it out")
        return self


class KeepoutFileTable(Table):
    """``[[keepouts]]``: keep-outs of one kind from a layer of a DXF or SVG file."""

    file: FileName = required('the name of a DXF or SVG file, such as "keepouts.dxf"')
    layer: Name = required('the layer of that file that holds them, such as "PARTS"')
    kind: Kind = required(KIND)
    layers: Layers | None = key(None, LAYERS)
    height: NotNegative | None = key(None, HEIGHT)
    net: Name | None = key(None, NET)
    clearance: NotNegative | None = key(None, CLEARANCE)
    may_cut: Flag = key(False, MAY_CUT)
    variants: tuple[Name, ...] = key((), VARIANTS)

    @model_validator(mode="after")
    def _has_layers_where_needed(self) -> Self:
        layers_where_needed(self.kind, self.layers)
        return self


class NetSeed(Table):
    """A place on copper that tells which net it is."""

    net: Name = required(NET)
    at: Point = required("a place on its copper on that layer in mm, such as [12.5, 30]")
    may_cut: Flag | None = key(None, MAY_CUT)
    on: Name | None = key(None, ON)


class CopperTable(Table):
    """``[[copper]]``: the copper that a picture of a layer shows."""

    view: Name = required('the name of the [[view]] that shows it, such as "inner-2"')
    layer: Layer = required("the number of the copper layer, such as 2")
    level: Level | None = key(None, "the grey level between copper and the rest, 1 to 254, such as 128")
    copper_is: Literal["light", "dark"] = key("light", 'how copper looks in the picture: "light" or "dark"')
    nets: tuple[NetSeed, ...] = key((), 'places that name nets, such as [{ net = "GND", at = [12.5, 30] }]')
    may_cut: Flag = key(True, MAY_CUT)
    speck: NotNegative | None = key(None, "areas below this are dust, in mm², such as 0.02")


class PartTable(Table):
    """``[[lift]]`` or ``[[part]]``: a part that comes off, or may be lost."""

    name: Name = required('a name of its own, such as "C12"')
    polygon: Polygon | None = key(None, POLYGON)
    circle: Disc | None = key(None, CIRCLE)
    face: Face | None = key(None, 'the face it stands on: "top" or "bottom"')
    height: NotNegative | None = key(None, HEIGHT)
    on: Name | None = key(None, ON)
    variants: tuple[Name, ...] = key((), VARIANTS)

    @model_validator(mode="after")
    def _is_one_shape(self) -> Self:
        one_of_keys(self, ("polygon", "circle"))
        return self


class Holder(Table):
    """What holds the cutter: a cylinder about its axis."""

    radius: Positive = required("the radius of the hand-piece's holder in mm, such as 10")
    reach: NotNegative = required(
        "how far it begins from the cutter, along the cutter's axis, in mm, such as 6: from a wheel's side, "
        "from a bit's tip"
    )


class Cutter(Table):
    """``[cutter]``: what cuts, and how far it strays."""

    kind: Literal["wheel", "bit", "blade"] = required("what cuts: wheel, bit or blade")
    kerf: Positive = required("the width that the cut turns to dust in mm, such as 1.0")
    diameter: Positive | None = key(None, "the diameter of the wheel or bit in mm, such as 38")
    wander: NotNegative = key(0.3, "how far the hand strays to either side in mm, such as 0.3")
    breakthrough: NotNegative = key(0.5, "how far a wheel passes the far face in mm, such as 0.5")
    face: Face = key("top", 'the face from which it is cut: "top" or "bottom"')
    holder: Holder | None = key(
        None, "the holder of the hand-piece, such as { radius = 10, reach = 6 }, to see what it runs into"
    )


class Finish(Table):
    """``[finish]``: the material left for the abrasive."""

    sanding: NotNegative = required("the material left outside the finished edge in mm, such as 0.3")


class ClearanceTable(Table):
    """``[clearance]``: required clearances that override the defaults of `trimgeo.tables`."""

    component: NotNegative | None = key(None, "the clearance of parts in mm, such as 0.5")
    trace: NotNegative | None = key(None, "the clearance of traces in mm, such as 0.5")
    via: NotNegative | None = key(None, "the clearance of vias in mm, such as 0.5")
    pad: NotNegative | None = key(None, "the clearance of pads in mm, such as 0.5")
    hole: NotNegative | None = key(None, "the clearance of holes in mm, such as 0.5")
    copper: NotNegative | None = key(None, "the clearance of copper areas in mm, such as 0.5")
    other: NotNegative | None = key(None, "the clearance of anything else in mm, such as 0")


class Placing(Table):
    """``[placing]``: standard uncertainties of printing, taping and sanding."""

    print: NotNegative = key(0.10, "the standard uncertainty of printing in mm, such as 0.10")
    taping: NotNegative = key(0.15, "the standard uncertainty of taping in mm, such as 0.15")
    finish: NotNegative = key(0.10, "the standard uncertainty of sanding in mm, such as 0.10")


class CutCount(Table):
    """Build the smallest outline with at most this many new cuts."""

    cuts: Annotated[int, Field(ge=0, le=64, strict=True)] = required("the most new cuts, such as 4")


class OutlineTable(Table):
    """``[outline]``: the finished outline, given or to be built."""

    points: Polygon | None = key(
        None, "the corners of the finished outline, such as [[0, 0], [50, 0], [50, 40], [0, 40]]"
    )
    on: Name | None = key(None, ON)
    file: FileName | None = key(None, 'the name of a DXF or SVG file, such as "outline.dxf"')
    layer: Name | None = key(None, 'the layer of that file to read, such as "FINISHED"')
    build: (
        Annotated[
            Annotated[Literal["fewest", "smallest"], Tag("<text>")] | Annotated[CutCount, Tag("<table>")],
            BY_FORM,
        ]
        | None
    ) = key(
        None,
        'how to build it: "fewest" new cuts that fit the [case], "smallest", '
        "or { cuts = 4 } for at most so many new cuts",
    )
    allow_inside_corners: Flag = key(True, "false where a straight cutter is to make it without overrun")
    gain: Area | None = key(None, "the area in mm² that one more cut must gain, such as 50")
    neck: Positive = key(5.0, "the least width in mm at which the board still holds together, such as 5")
    round: Positive | None = key(
        None, "the grid in mm to which the corners are rounded, always to the safe side, such as 0.5"
    )
    view: Name | None = key(
        None, 'the name of the [[view]] in which the line is drawn on the board, such as "top"'
    )
    near: Polygon | None = key(
        None,
        "rough corners of the drawn line as pixels of that picture, such as [[410, 320], [2950, 330], ...]",
    )
    pen: Literal["middle", "inside"] | None = key(
        None, 'which part of the pen\'s stroke is the line: "middle" or "inside"'
    )

    @model_validator(mode="after")
    def _is_given_or_built(self) -> Self:
        one_of_keys(self, ("points", "file", "build", "view"))
        owners = (("on", "points"), ("layer", "file"), ("gain", "build"), ("round", "build"))
        for name, owner in (*owners, ("near", "view"), ("pen", "view"), ("allow_inside_corners", "build")):
            if getattr(self, name) not in (None, True) and getattr(self, owner) is None:
                raise fault(name, f"found it without {owner}", f"take it out, or give {owner}")
        return self


class SheetTable(Table):
    """``[sheet]``: paper, and what the printer does to lengths."""

    paper: PaperName = key("A4", "the paper: A4, A3 or letter")
    stretch: tuple[Ratio, Ratio] | None = key(
        None, "measured length / nominal length of the printed bars in x and y, such as [0.997, 1.002]"
    )


class ProbeTable(Table):
    """``[[probe]]``: a place where a rail is measured."""

    name: Name = required('a name of its own, such as "TP1"')
    at: Point = required("where it is, such as [12.5, 30]")
    face: Face = required('the face it is reached from: "top" or "bottom"')
    rail: Name = required('the rail that is measured there, such as "3V3"')
    on: Name | None = key(None, ON)


class Job(Table):
    """A whole job.

    ``folder`` is where relative paths start, ``source`` the name of the file for messages,
    ``variant`` the variant that was asked for; they come from the caller, not from the file.

    >>> square = [[0, 0], [100, 0], [100, 80], [0, 80]]
    >>> job = Job(job={"title": "Logger board"}, board={"thickness": 1.6, "edge": square})
    >>> job.board.layers, job.placing.taping, job.sheet.paper
    (2, 0.15, 'A4')
    """

    job: About = required('the table of the job itself, such as [job] with title = "Logger board"')
    board: BoardTable = required(
        "the table of the board, such as [board] with thickness = 1.6 and "
        "edge = [[0, 0], [100, 0], [100, 80], [0, 80]]"
    )
    view: tuple[ViewTable, ...] = key((), "pictures, each a [[view]] table")
    keepout: tuple[KeepoutTable, ...] = key((), "keep-outs, each a [[keepout]] table")
    keepouts: tuple[KeepoutFileTable, ...] = key((), "keep-outs from files, each a [[keepouts]] table")
    copper: tuple[CopperTable, ...] = key((), "copper of layers in pictures, each a [[copper]] table")
    lift: tuple[PartTable, ...] = key((), "parts that come off, each a [[lift]] table")
    part: tuple[PartTable, ...] = key((), "parts that may be lost, each a [[part]] table")
    cutter: Cutter | None = key(None, "the cutter, a [cutter] table")
    finish: Finish | None = key(None, "the finish, a [finish] table")
    clearance: ClearanceTable = key(ClearanceTable(), "required clearances, a [clearance] table")
    placing: Placing = key(Placing(), "standard uncertainties, a [placing] table")
    outline: OutlineTable | None = key(None, "the finished outline, an [outline] table")
    case: CaseTable | None = key(None, "the enclosure, a [case] table")
    sheet: SheetTable = key(SheetTable(), "the paper, a [sheet] table")
    probe: tuple[ProbeTable, ...] = key((), "places to measure, each a [[probe]] table")
    folder: Path = Path()
    source: str = "job.toml"
    variant: str | None = None
