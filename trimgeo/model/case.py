"""The enclosure of a job as the user wrote it, and shapes that are given by a circle or a file."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import BaseModel, Discriminator, Tag

from trimgeo.model.keys import FileName, Name, NotNegative, Point, Polygon, Positive, Table, key, required


class ShapeFile(Table):
    """Shapes drawn elsewhere, in a DXF or SVG file."""

    file: FileName = required('the name of a DXF or SVG file, such as "edge.dxf"')
    layer: Name | None = key(None, 'the layer of that file to read, such as "EDGE"')


class Disc(Table):
    """An exact circle."""

    at: Point = required("its centre, such as [10, 20]")
    diameter: Positive = required("its diameter in mm, such as 3.2")


def _shape_of(value: Any) -> str | None:
    """Tag of the way in which a cavity or a post is given."""
    if isinstance(value, list | tuple):
        return "<list>"
    if isinstance(value, BaseModel):
        return "<table>" if isinstance(value, ShapeFile) else "<circle>"
    if isinstance(value, dict):
        return "<table>" if "file" in value else "<circle>"
    return None


def _by_shape(message: str) -> Discriminator:
    return Discriminator(_shape_of, custom_error_type="form", custom_error_message=message)


Post = Annotated[
    Annotated[Polygon, Tag("<list>")]
    | Annotated[ShapeFile, Tag("<table>")]
    | Annotated[Disc, Tag("<circle>")],
    _by_shape("is no way to give a post"),
]


class CaseTable(Table):
    """``[case]``: the enclosure that the finished board goes into, in the board frame."""

    cavity: Annotated[
        Annotated[Polygon, Tag("<list>")] | Annotated[ShapeFile, Tag("<table>")],
        _by_shape("is no way to give a cavity"),
    ] = required(
        "the inside of the case as points, such as [[0, 0], [62, 0], [62, 41], [0, 41]], "
        'or as a drawing, such as { file = "case.dxf" }'
    )
    gap: NotNegative = required("the least gap between board and case in mm, such as 0.3")
    holes: tuple[Post, ...] = key(
        (),
        "posts that stand in the cavity, each a circle, such as { at = [5, 5], diameter = 6 }, "
        'three or more points, or all shapes of a drawing, such as { file = "case.dxf", layer = "POSTS" }',
    )
    lid: NotNegative | None = key(None, "the height from the board's top face to the lid in mm, such as 14")
    floor: NotNegative | None = key(
        None, "the height from the board's bottom face to the floor of the case in mm, such as 4"
    )
