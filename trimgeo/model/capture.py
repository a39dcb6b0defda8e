"""The pictures of a job as the user wrote them: where their millimetres come from, where the board lies."""

from __future__ import annotations

from typing import Annotated, Any, Literal, Self

from pydantic import BaseModel, Discriminator, Field, Tag, model_validator

from trimgeo.model.keys import (
    BY_FORM,
    Bar,
    Face,
    FileName,
    Layer,
    Name,
    NotNegative,
    PaperName,
    Point,
    Positive,
    Resolution,
    Table,
    ViewName,
    fault,
    key,
    required,
)


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
    turned: FileName | None = key(
        None,
        "the file name of a second scan of the same face, turned by 180 degrees on the glass, such as "
        '"scan-top-turned.png": it shows the scanner\'s own bends',
    )


class HeightPoint(Table):
    """How high the shown face lies above the card at one place."""

    pixel: Point = required("a pixel of the place on the shown face, such as [412, 1033]")
    mm: NotNegative = required("how high that place lies above the card in mm, such as 8.5")


class CardScale(Table):
    """Scale from the printed reference card in the picture."""

    card: PaperName = required("the paper of the reference card: A4, A3 or letter")
    height: Annotated[
        Annotated[NotNegative, Tag("<number>")]
        | Annotated[Annotated[tuple[HeightPoint, ...], Field(min_length=3, max_length=3)], Tag("<list>")],
        BY_FORM,
    ] = required(
        "how high the shown face lies above the card in mm, such as 1.6, or three places, each as "
        "{ pixel = [412, 1033], mm = 8.5 }"
    )
    bars: tuple[Bar, Bar] | None = key(
        None,
        "the card's two 100 mm bars as measured by caliper in mm, x along its text, such as [97.1, 97.3]",
    )


class LikePoint(Table):
    """A pixel, and the pixel of the same spot in another view's picture."""

    pixel: Point = required("its pixel in this picture, column and row, such as [412, 1033]")
    there: Point = required("the pixel of the same spot in the other picture, such as [1210, 880]")


class LikeScale(Table):
    """Scale by registering the picture on that of another view."""

    like: Name = required('the name of the other [[view]], such as "top"')
    points: Annotated[tuple[LikePoint, ...], Field(min_length=2)] = required(
        "two or more spots that both show, such as { pixel = [412, 1033], there = [1210, 880] }"
    )


class OriginPlace(Table):
    """Where board point (0, 0) is, and a pixel on the +x axis."""

    origin: Point = required("the pixel of board point (0, 0), such as [120, 2950]")
    along: Point = required("a pixel on the +x axis, such as [3900, 2948]")


class LikePlace(Table):
    """Where the board lies, from spots that another view shows too."""

    like: Name = required('the name of the other [[view]], such as "top"')
    points: Annotated[tuple[LikePoint, ...], Field(min_length=2)] = required(
        "two or more spots that both show, such as { pixel = [412, 1033], there = [1210, 880] }"
    )


class LengthToCheck(Table):
    """A length measured on the board that took no part in the scale."""

    from_: Point = required("the pixel where the length begins, such as [412, 1033]", alias="from")
    to: Point = required("the pixel where the length ends, such as [1912, 1030]")
    length: Positive = required("the length measured between them in mm, such as 50.8")


def _scale_of(value: Any) -> str | None:
    """Tag of the way in which a view is scaled."""
    if isinstance(value, BaseModel):
        kinds = {PointsScale: "<points>", CardScale: "<card>", LikeScale: "<like>"}
        return next((tag for kind, tag in kinds.items() if isinstance(value, kind)), "<dpi>")
    if not isinstance(value, dict):
        return None
    return next((f"<{name}>" for name in ("card", "like", "points") if name in value), "<dpi>")


_BY_SCALE = Discriminator(_scale_of, custom_error_type="form", custom_error_message="is no way to scale")


def _place_of(value: Any) -> str | None:
    """Tag of the way in which a view is placed."""
    if isinstance(value, BaseModel):
        return "<like>" if isinstance(value, LikePlace) else "<origin>"
    if not isinstance(value, dict):
        return None
    return "<like>" if "like" in value else "<origin>"


_BY_PLACE = Discriminator(_place_of, custom_error_type="form", custom_error_message="is no way to place")


class ViewTable(Table):
    """``[[view]]``: a picture of a face or of an inner layer."""

    name: ViewName = required('a name of letters, digits, - and _, such as "top" (files are named for it)')
    image: FileName = required('the file name of the picture, such as "scan-top.png"')
    shows: Annotated[Annotated[Face, Tag("<text>")] | Annotated[Layer, Tag("<number>")], BY_FORM] = required(
        'what it shows: "top", "bottom", or the number of a copper layer, such as 2'
    )
    moment: Literal["before", "drawn", "after"] = key(
        "before", 'when it was taken: "before", with the line "drawn" on the board, or "after" the cut'
    )
    line: Literal["finished", "guide"] = key(
        "finished", 'what a line drawn on the board is: the "finished" edge or the "guide" line'
    )
    scale: Annotated[
        Annotated[PointsScale, Tag("<points>")]
        | Annotated[CardScale, Tag("<card>")]
        | Annotated[LikeScale, Tag("<like>")]
        | Annotated[DpiScale, Tag("<dpi>")],
        _BY_SCALE,
    ] = required(
        'where its millimetres come from: { card = "A4", height = 1.6, bars = [99.9, 100.1] }, '
        '{ dpi = 300 } or { dpi = 300, turned = "scan-top-turned.png" }, '
        "{ points = [{ pixel = [412, 1033], at = [3.5, 3.5] }, ...] }, or "
        '{ like = "top", points = [{ pixel = [412, 1033], there = [1210, 880] }, ...] }'
    )
    place: (
        Annotated[Annotated[OriginPlace, Tag("<origin>")] | Annotated[LikePlace, Tag("<like>")], _BY_PLACE]
        | None
    ) = key(
        None,
        "where the board lies in it, such as { origin = [120, 2950], along = [3900, 2948] } or "
        '{ like = "top", points = [{ pixel = [412, 1033], there = [1210, 880] }, ...] }',
    )
    checks: tuple[LengthToCheck, ...] = key(
        (), "lengths to compare, such as [{ from = [412, 1033], to = [1912, 1030], length = 50.8 }]"
    )

    @model_validator(mode="after")
    def _is_placed_once(self) -> Self:
        if isinstance(self.scale, LikeScale) and self.place is not None:
            found = "found it beside a scale that is registered on another view and places the picture too"
            raise fault("place", found, "take it out")
        return self

    @property
    def like(self) -> str | None:
        """The view on which this one is registered, if any."""
        for each in (self.scale, self.place):
            if isinstance(each, LikeScale | LikePlace):
                return each.like
        return None
