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
    Name,
    NotNegative,
    PaperName,
    Point,
    Polygon,
    Positive,
    Ratio,
    Resolution,
    Table,
    ViewName,
    fault,
    key,
    layers_where_needed,
    one_of_keys,
    required,
)


def _scale_of(value: Any) -> str | None:
    """Tag of the way in which a view is scaled."""
    if isinstance(value, BaseModel):
        return "<points>" if isinstance(value, PointsScale) else "<dpi>"
    if not isinstance(value, dict):
        return None
    return "<points>" if "points" in value else "<dpi>"


_BY_SCALE = Discriminator(_scale_of, custom_error_type="form", custom_error_message="is no way to scale")


class ShapeFile(Table):
    """Shapes drawn elsewhere, in a DXF or SVG file."""

    file: FileName = required('the name of a DXF or SVG file, such as "edge.dxf"')
    layer: Name | None = key(None, 'the layer of that file to read, such as "EDGE"')


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
    edge: Annotated[Annotated[Polygon, Tag("<list>")] | Annotated[ShapeFile, Tag("<table>")], BY_FORM] = (
        required(
            "the edge of the board as points, such as [[0, 0], [100, 0], [100, 80], [0, 80]], "
            'or as a drawing, such as { file = "edge.dxf" }'
        )
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


class ScalePoint(Table):
    """A pixel whose board position was measured."""

    pixel: Point = required("its pixel position, column and row, such as [412, 1033]")
    at: Point = required("its measured position on the board in mm, such as [3.5, 3.5]")


class PointsScale(Table):
    """Scale from measured points."""

    points: Annotated[tuple[ScalePoint, ...], Field(min_length=2)] = required(
        "two or more measured points, such as { pixel = [412, 1033], at = [3.5, 3.5] }"
    )


class DpiScale(Table):
    """Scale of a flatbed scan: one resolution, one for x and one for y, or the file's own."""

    dpi: Annotated[
        Annotated[Resolution, Tag("<number>")]
        | Annotated[tuple[Resolution, Resolution], Tag("<list>")]
        | Annotated[Literal["file"], Tag("<text>")],
        BY_FORM,
    ] = key("file", 'the resolution of the scan, such as 300, [300, 301] for x and y, or "file"')


class OriginPlace(Table):
    """Where board point (0, 0) is, and a pixel on the +x axis."""

    origin: Point = required("the pixel of board point (0, 0), such as [120, 2950]")
    along: Point = required("a pixel on the +x axis, such as [3900, 2948]")


class LengthToCheck(Table):
    """A length measured on the board that took no part in the scale."""

    from_: Point = required("the pixel where the length begins, such as [412, 1033]", alias="from")
    to: Point = required("the pixel where the length ends, such as [1912, 1030]")
    length: Positive = required("the length measured between them in mm, such as 50.8")


class ViewTable(Table):
    """``[[view]]``: a picture of a face or of an inner layer."""

    name: ViewName = required('a name of letters, digits, - and _, such as "top" (files are named for it)')
    image: FileName = required('the file name of the picture, such as "scan-top.png"')
    shows: Annotated[Annotated[Face, Tag("<text>")] | Annotated[Layer, Tag("<number>")], BY_FORM] = required(
        'what it shows: "top", "bottom", or the number of a copper layer, such as 2'
    )
    scale: Annotated[
        Annotated[PointsScale, Tag("<points>")] | Annotated[DpiScale, Tag("<dpi>")], _BY_SCALE
    ] = required(
        "where its millimetres come from: { dpi = 300 }, or "
        "{ points = [{ pixel = [412, 1033], at = [3.5, 3.5] }, ...] }"
    )
    place: OriginPlace | None = key(
        None, "where the board lies in it, such as { origin = [120, 2950], along = [3900, 2948] }"
    )
    checks: tuple[LengthToCheck, ...] = key(
        (), "lengths to compare, such as [{ from = [412, 1033], to = [1912, 1030], length = 50.8 }]"
    )


class Disc(Table):
    """An exact circle."""

    at: Point = required("its centre, such as [10, 20]")
    diameter: Positive = required("its diameter in mm, such as 3.2")


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

    @model_validator(mode="after")
    def _is_one_shape_on_known_layers(self) -> Self:
        one_of_keys(self, ("polygon", "circle", "path"))
        layers_where_needed(self.kind, self.layers)
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


class Cutter(Table):
    """``[cutter]``: what cuts, and how far it strays."""

    kind: Literal["wheel", "bit", "blade"] = required("what cuts: wheel, bit or blade")
    kerf: Positive = required("the width that the cut turns to dust in mm, such as 1.0")
    diameter: Positive | None = key(None, "the diameter of the wheel or bit in mm, such as 38")
    wander: NotNegative = key(0.3, "how far the hand strays to either side in mm, such as 0.3")
    breakthrough: NotNegative = key(0.5, "how far a wheel passes the far face in mm, such as 0.5")


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
            Annotated[Literal["smallest"], Tag("<text>")] | Annotated[CutCount, Tag("<table>")], BY_FORM
        ]
        | None
    ) = key(None, 'how to build it: "smallest", or { cuts = 4 } for at most so many new cuts')
    gain: Area | None = key(None, "the area in mm² that one more cut must gain, such as 50")

    @model_validator(mode="after")
    def _is_given_or_built(self) -> Self:
        one_of_keys(self, ("points", "file", "build"))
        for name, owner in (("on", "points"), ("layer", "file"), ("gain", "build")):
            if getattr(self, name) is not None and getattr(self, owner) is None:
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
    lift: tuple[PartTable, ...] = key((), "parts that come off, each a [[lift]] table")
    part: tuple[PartTable, ...] = key((), "parts that may be lost, each a [[part]] table")
    cutter: Cutter | None = key(None, "the cutter, a [cutter] table")
    finish: Finish | None = key(None, "the finish, a [finish] table")
    clearance: ClearanceTable = key(ClearanceTable(), "required clearances, a [clearance] table")
    placing: Placing = key(Placing(), "standard uncertainties, a [placing] table")
    outline: OutlineTable | None = key(None, "the finished outline, an [outline] table")
    sheet: SheetTable = key(SheetTable(), "the paper, a [sheet] table")
    probe: tuple[ProbeTable, ...] = key((), "places to measure, each a [[probe]] table")
    folder: Path = Path()
    source: str = "job.toml"
    variant: str | None = None
