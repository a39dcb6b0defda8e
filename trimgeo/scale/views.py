"""The views of a job: each picture with its map to the board and what it is worth.

What only some ways to a scale need (the card, other views) is loaded where a job asks for it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

from shapely import Polygon

from trimgeo.errors import JobError
from trimgeo.model.board import CardLying, CardSeen, Circle, EdgeSeen, Picture, Ring, View
from trimgeo.model.capture import (
    CardScale,
    DpiScale,
    LikePlace,
    LikeScale,
    OriginPlace,
    PointsScale,
    ViewTable,
)
from trimgeo.model.job import EdgeView, Job
from trimgeo.model.planemap import PlaneMap
from trimgeo.scale import bound
from trimgeo.scale.by_dpi import by_dpi
from trimgeo.scale.by_points import by_points
from trimgeo.scale.checked import checked
from trimgeo.scale.limits import MOST_LEFT_OUT
from trimgeo.scale.placing import moved_point, moved_ring, placed_by_corner, placed_by_edge, placed_by_pixels
from trimgeo.scale.rectify import picture, shown_area
from trimgeo.scale.scaled import Scaled, refuse_folded, refuse_horizon, residual_figures
from trimgeo.scale.shot import shot_of
from trimgeo.scale.source import Source, open_source
from trimgeo.tables import COVERAGE_FACTOR

if TYPE_CHECKING:
    from trimgeo.scale.by_like import HolesOf
    from trimgeo.scale.holes_matched import Holes

EdgeOf = Callable[[Picture, tuple[float, float, float] | None, str, CardLying | None], EdgeSeen]
"""The board's edge in a true-scale picture, by the camera's place (mm), the place for messages, and the
card below the board."""

_NO_BARS: Final = "nobody measured the bars of its card"


@dataclass(frozen=True)
class Seeing:
    """What the millimetres of views need to be told about their pictures: edge and holes of the board."""

    edge: EdgeOf
    holes: HolesOf


@dataclass(frozen=True)
class Views:
    """All views, the board edge, and its holes where one of them shows them."""

    views: tuple[View, ...]
    edge: Ring | None
    edge_view: str | None = None
    holes: tuple[Circle, ...] = ()


@dataclass(frozen=True)
class _Reading:
    """One view being read: its table and file, the place for messages, the job's folder, what is done."""

    table: ViewTable
    source: Source
    where: str
    folder: Path
    done: Mapping[str, View]
    sources: Mapping[str, Source]


def read_views(job: Job, edge: Polygon | None) -> tuple[View, ...]:
    """Every view of a job whose board edge, mm, is known, or does not matter.

    No picture is looked at, so views that are registered on others are not refined on holes.
    Errors as in `views_and_edge`.
    """
    assert not isinstance(job.board.edge, EdgeView)
    return views_and_edge(job, None if edge is None else Ring(edge), None).views


def views_and_edge(job: Job, edge: Ring | None, seeing: Seeing | None) -> Views:
    """Every view of the job, in its order; reads pixels only where a scale rests on them.

    ``edge`` is the board edge, mm, None where ``[board]`` says that a view shows it; uncertainties are
    stated over it.  Raises `trimgeo.JobError` for a picture that cannot be opened, a pixel off the
    picture, or a scale, a place or a check that cannot be used.
    """
    wheres = {table.name: f'{job.source}, [[view]] "{table.name}"' for table in job.view}
    sources = {
        table.name: open_source(job.folder / table.image, wheres[table.name], table.image)
        for table in job.view
    }
    cards = _cards(job, sources, wheres)
    wanted = job.board.edge.view if isinstance(job.board.edge, EdgeView) else None
    done: dict[str, View] = {}
    holes: tuple[Circle, ...] = ()
    shown: dict[str, Holes] = {}  # of views on which others are registered: looked for once
    for table in _in_order(job.view, wanted):
        reading = _Reading(table, sources[table.name], wheres[table.name], job.folder, done, sources)
        scaled = cards.get(table.name) or _scaled(reading)
        if table.name == wanted:
            assert seeing is not None
            scaled, edge, holes = _with_edge(scaled, reading, seeing)
        if not scaled.in_board_frame:
            scaled = _placed(scaled, reading)
        polygon = None if edge is None else edge.polygon
        view = _view(scaled, reading, polygon)
        if table.like is not None and seeing is not None:
            scaled = _on_holes(scaled, view, done[table.like], polygon, seeing.holes, shown)
            view = _view(scaled, reading, polygon)
        done[table.name] = view
    return Views(tuple(done[table.name] for table in job.view), edge, wanted, holes)


def _cards(job: Job, sources: Mapping[str, Source], wheres: Mapping[str, str]) -> dict[str, Scaled]:
    """The maps of all views that show the card, by name."""
    carded = [table for table in job.view if isinstance(table.scale, CardScale)]
    if not carded:
        return {}
    from trimgeo.scale.by_card import by_cards

    return by_cards([(sources[table.name], table, wheres[table.name]) for table in carded])


def _on_holes(
    scaled: Scaled,
    view: View,
    other: View,
    edge: Polygon | None,
    holes_of: HolesOf,
    shown: dict[str, Holes],
) -> Scaled:
    """The map of a view that is registered on another, refined on the holes that both show."""
    from trimgeo.scale.by_like import holes_in, refined_on_holes

    if other.name not in shown:
        shown[other.name] = holes_in(other, edge, holes_of)
    return refined_on_holes(scaled, holes_in(view, edge, holes_of), other, shown[other.name])


def _in_order(tables: Sequence[ViewTable], first: str | None) -> Iterator[ViewTable]:
    """The view that shows the edge first of all, and each after the one on which it is registered."""
    by_name = {table.name: table for table in tables}
    given: set[str] = set()

    def with_those_before(name: str) -> Iterator[ViewTable]:
        table = by_name[name]
        if table.like is not None and table.like not in given:
            yield from with_those_before(table.like)
        if name not in given:
            given.add(name)
            yield table

    for name in (*([first] if first else ()), *by_name):
        yield from with_those_before(name)


def _scaled(reading: _Reading) -> Scaled:
    table, source, where, scale = reading.table, reading.source, reading.where, reading.table.scale
    if isinstance(scale, PointsScale):
        return by_points(source, table, scale, where)
    if isinstance(scale, LikeScale):
        from trimgeo.scale.by_like import scaled_by_like

        other = reading.done[scale.like]
        return scaled_by_like(source, table, scale, other, reading.sources[scale.like], where)
    assert isinstance(scale, DpiScale)
    return by_dpi(source, table, scale, reading.folder, where)


def _placed(scaled: Scaled, reading: _Reading) -> Scaled:
    table, source, where, place = reading.table, reading.source, reading.where, reading.table.place
    if isinstance(place, OriginPlace):
        return placed_by_pixels(scaled, source, table, place, where)
    if isinstance(place, LikePlace):
        from trimgeo.scale.by_like import placed_by_like

        other = reading.done[place.like]
        return placed_by_like(scaled, source, place, other, reading.sources[place.like], where)
    return placed_by_corner(scaled, source, table)


def _with_edge(scaled: Scaled, reading: _Reading, seeing: Seeing) -> tuple[Scaled, Ring, tuple[Circle, ...]]:
    """The view placed, and the board's edge and holes that it shows."""
    sheet = None
    if scaled.card is not None:
        from trimgeo.scale.by_card import card_area

        sheet = card_area(scaled, reading.table.shows == "bottom")
    unplaced = scaled.to_board
    if reading.table.place is not None and not scaled.in_board_frame:
        scaled = _placed(scaled, reading)
    before = scaled.to_board
    area = None if sheet is None else moved_ring(Ring(sheet), unplaced, before).polygon
    card = None if scaled.card is None else _lying(scaled.card, before)
    found = seeing.edge(picture(reading.source, before, area), before.eye, reading.where, card)
    scaled = replace(
        scaled,
        note=f"{scaled.note}; the board's edge found in it, to {COVERAGE_FACTOR * found.uncertainty:.2f} mm",
        warnings=(*scaled.warnings, *found.warnings),
    )
    if not scaled.in_board_frame:
        scaled = placed_by_edge(scaled, found.ring, found.uncertainty)
    after = scaled.to_board
    holes = tuple(Circle(moved_point(disc.centre, before, after), disc.radius) for disc in found.holes)
    return scaled, moved_ring(found.ring, before, after), holes


def _lying(card: CardSeen, to_mm: PlaneMap) -> CardLying:
    """The card's corners in the plane of the shown face, as the camera sees them there."""
    return CardLying(card.paper, card.ids, to_mm.to_mm(card.corners))


def _view(scaled: Scaled, reading: _Reading, edge: Polygon | None) -> View:
    """The finished view: checked, bounded, and with its pictures to be drawn when looked at."""
    table, source, where = reading.table, reading.source, reading.where
    refuse_horizon(scaled.to_board, where)
    refuse_folded(shown_area(scaled.to_board, source.size), where)
    checks, to_board, disagreement = checked(scaled, source, table, where)
    shown = shown_area(to_board, source.size)
    if edge is not None and shown.intersection(edge).area <= 0:
        left, low, right, high = shown.bounds
        raise JobError(
            where,
            f"its picture shows x {left:.0f} to {right:.0f}, y {low:.0f} to {high:.0f} mm, "
            "and no part of the board",
            "check `place` and `scale` of the view, and `edge` of the board",
        )
    partial = () if edge is None else _told_part(shown, edge)
    rms, most = residual_figures(scaled.residuals)
    warnings = (*scaled.warnings, *disagreement, *partial)
    return View(
        name=table.name,
        shows=table.shows,
        method=scaled.method,
        to_board=to_board,
        picture=picture(source, to_board, edge),
        residual_rms=rms,
        residual_max=most,
        uncertainty=bound.bound(to_board, bound.places(to_board, shown, edge)),
        checks=checks,
        note=scaled.note,
        warnings=tuple(f"view {table.name}: {text}" for text in warnings),
        shot=shot_of(source),
        card=scaled.card,
        placed=scaled.placed,
        scale_known=scaled.scale_known,
        doubt="; ".join(disagreement) or (scaled.note if scaled.scale_known else _NO_BARS),
    )


def _told_part(shown: Polygon, edge: Polygon) -> tuple[str, ...]:
    """A warning where a picture leaves out part of the board: such as width and height swapped."""
    share = shown.intersection(edge).area / edge.area
    if share > 1 - MOST_LEFT_OUT:
        return ()
    return (
        f"its picture shows {math.floor(100 * share)} % of the board: unless that is on purpose, "
        "check `edge` in [board] (width first, in mm) and the scale",
    )
