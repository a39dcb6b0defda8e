"""What pictures show, for those who may not look at them: edge, holes, copper and the drawn line.

`trimgeo.vision` is loaded where a job asks for something of it, and nowhere else.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiLineString, Polygon

from trimgeo.errors import JobError, quoted
from trimgeo.jobfile.clearances import required
from trimgeo.jobfile.outlines import on_board
from trimgeo.jobfile.positions import marks
from trimgeo.jobfile.words import place
from trimgeo.model.board import CardLying, Circle, DrawnLine, EdgeSeen, Hole, Keepout, Picture, Ring, View
from trimgeo.model.job import CopperTable, Job
from trimgeo.model.proposal import Proposal
from trimgeo.tables import EDGE_TOLERANCE

if TYPE_CHECKING:
    from trimgeo.vision.nets import Link, Seed

Floats = NDArray[np.float64]

_SPECK: Final = 0.02
"""mm²: a square of 0.14 mm; copper as small as that would peel off, dust in a scan is of this size."""

_COMPARE_EDGE: Final = (
    "the board's edge was found in its picture, where a part of the ground's colour at the edge can pass for "
    "a notch: compare it with the board, or measure the edge and give its corners; of its holes those alone "
    "are listed that are seen clearly"
)
_COMPARE_LINE: Final = "the outline was found in its picture: look at it on the picture before you rely on it"


def edge_seen(
    thickness: float,
    picture: Picture,
    eye: tuple[float, float, float] | None,
    where: str,
    card: CardLying | None = None,
) -> EdgeSeen:
    """The board's edge in a true-scale picture; raises `trimgeo.JobError` where none can be told.

    ``card`` is the reference card below the board, whose print is no part of it.
    """
    from trimgeo.vision.edge import find_edge
    from trimgeo.vision.ground_card import print_of

    printed = None if card is None else print_of(card)
    found = find_edge(picture, thickness, eye, where=where, printed=printed)
    holes = tuple(Circle(hole.at, hole.diameter / 2) for hole in found.holes)
    return EdgeSeen(found.ring, found.uncertainty, holes, (*found.warnings, _COMPARE_EDGE))


def holes_seen(thickness: float, view: View, edge: Polygon | None) -> Floats:
    """Holes that a view's picture shows: x, y, standard uncertainty and diameter, mm, shape (n, 4).

    ``thickness`` is the board's: a camera that looks from aside sees into its holes.  Outside the board's
    ``edge``, and what its view may be off, none is looked for.
    """
    from trimgeo.vision.holes import find_holes

    within = None if edge is None else edge.buffer(max(view.uncertainty, 1.0))
    found = find_holes(view.picture, within, view.to_board.eye, thickness)
    rows = [[*hole.at, hole.uncertainty, hole.diameter] for hole in found]
    return np.array(rows, dtype=np.float64).reshape(-1, 4)


def copper_seen(
    job: Job, views: Mapping[str, View], edge: Ring, holes: Sequence[Hole], vias: Sequence[Keepout]
) -> tuple[tuple[Keepout, ...], tuple[str, ...]]:
    """The keep-outs of ``[[copper]]``, and warnings; plated holes and vias carry nets between layers.

    Raises `trimgeo.JobError` for a picture without two greys, a net's place on no copper, and two nets
    that meet.
    """
    if not job.copper:
        return (), ()
    from trimgeo.vision.copper_board import keepouts
    from trimgeo.vision.nets import nets

    _refuse_two_of_a_layer(job)
    areas: dict[int, list[Polygon]] = {}
    warnings: list[str] = []
    for number, table in enumerate(job.copper, 1):
        areas[table.layer], specks = _areas(table, views[table.view], edge, _of_copper(job, number))
        if specks:
            warnings.append(f"layer {table.layer}: {specks} specks of its picture are taken for dust")
    copper = nets(
        areas,
        _links(job, holes, vias),
        _seeds(job, views),
        may_cut={table.layer: table.may_cut for table in job.copper},
        where=place(job.source, "[[copper]]", None, "nets"),
    )
    shown = {table.layer: views[table.view] for table in job.copper}
    found = keepouts(
        copper,
        lambda layer: required(job, "copper", [layer], None),
        {layer: view.to_board for layer, view in shown.items()},
    )
    by_view = [(each, shown[each.layers[0]]) for each in found]
    made = (replace(each, view=view.name, scale_known=view.scale_known) for each, view in by_view)
    return tuple(made), tuple(warnings)


def _of_copper(job: Job, number: int) -> str:
    return place(job.source, "[[copper]]", number)


def _areas(table: CopperTable, view: View, edge: Ring, where: str) -> tuple[list[Polygon], int]:
    """Copper of one layer, mm, and how many specks were dropped."""
    from trimgeo.vision.copper_board import board_copper

    assert view.shot is not None
    found = board_copper(
        view.shot.grey(),
        view.to_board,
        edge.polygon,
        level=table.level,
        copper_is=table.copper_is,
        speck=_SPECK if table.speck is None else table.speck,
        where=where,
    )
    return found.polygons, found.specks


def _links(job: Job, holes: Sequence[Hole], vias: Sequence[Keepout]) -> list[Link]:
    """What carries a net from layer to layer: plated holes of the board, and round vias."""
    from trimgeo.vision.nets import Link

    layers = tuple(range(1, job.board.layers + 1))
    links = [Link(hole.name, hole.at, hole.diameter, layers) for hole in holes if hole.plated]
    for via in vias:
        if via.kind == "via" and isinstance(via.spine, shapely.Point):
            at = (via.spine.x, via.spine.y)
            links.append(Link(via.name, at, 2 * via.radius, via.layers, via.net))
    return links


def _seeds(job: Job, views: Mapping[str, View]) -> list[Seed]:
    """The places that name nets, mm."""
    from trimgeo.vision.nets import Seed

    listed = [
        (number, table.layer, each) for number, table in enumerate(job.copper, 1) for each in table.nets
    ]
    if not listed:
        return []
    at = marks(
        [(each.at,) for _, _, each in listed],
        [each.on for _, _, each in listed],
        views,
        lambda n: f"{_of_copper(job, listed[n][0])}, nets {quoted(listed[n][2].net)}, at",
    )
    return [
        Seed(layer, each.net, (float(x), float(y)), each.may_cut)
        for (_, layer, each), (x, y) in zip(listed, at.xy, strict=True)
    ]


def _refuse_two_of_a_layer(job: Job) -> None:
    layers = [table.layer for table in job.copper]
    for number, layer in enumerate(layers, 1):
        if layer in layers[: number - 1]:
            raise JobError(
                place(job.source, "[[copper]]", number, "layer"),
                f"found layer {layer} a second time",
                "keep one [[copper]] table for each layer",
            )


def line_seen(
    job: Job,
    view: View,
    edge: Ring,
    keepouts: Sequence[Keepout],
    near: Sequence[tuple[float, float]] | None,
    pen: str | None,
    where: str,
) -> tuple[Ring, DrawnLine, tuple[str, ...]]:
    """The finished outline from the line drawn on the board in a view's picture, snapped to the board.

    Raises `trimgeo.JobError` for a view that shows no face, or the board after the cut, and where no
    line can be told for sure.
    """
    if not isinstance(view.shows, str):
        raise JobError(where, f"found view {quoted(view.name)}, which shows no face", "name a view of a face")
    table = next(each for each in job.view if each.name == view.name)
    if table.moment == "after":
        raise JobError(
            where,
            f"found view {quoted(view.name)}, which shows the board after the cut",
            "name a view with the line still drawn on the board",
        )
    from trimgeo.vision.line import find_line

    rough = None if near is None else marks([near], [view.name], {view.name: view}, lambda _: where).xy
    keep = [
        each.spine if each.radius == 0 else each.spine.buffer(each.radius)
        for each in keepouts
        if not each.may_cut
    ]
    found = find_line(
        view.picture, edge.polygon, keep, rough, "inside" if pen == "inside" else "middle", where
    )
    ring = found.ring
    if table.line == "guide":
        if job.finish is None:
            raise JobError(
                job.source, "found no [finish]", "add sanding: a drawn guide line lies outside by it"
            )
        ring = inside_of_guide(ring, edge.polygon, job.finish.sanding)
    finished = on_board(Ring(ring), edge, where, max(EDGE_TOLERANCE, view.uncertainty))
    drawn = DrawnLine(view.name, found.drawn, found.pen_width, found.uncertainty)
    return finished, drawn, tuple(f"view {view.name}: {text}" for text in (*found.warnings, _COMPARE_LINE))


def suggested(job: Job, view: View, edge: Ring) -> tuple[Proposal, ...]:
    """Keep-outs that a view's picture suggests; raises `trimgeo.JobError` where it shows no face."""
    if not isinstance(view.shows, str):
        where = place(job.source, "[[view]]", view.name, "shows")
        raise JobError(where, f"found layer {view.shows}", "name a view of a face")
    from trimgeo.vision.suggest import suggest

    return suggest(view.picture, edge.polygon, view.to_board.eye, view.shows)


def inside_of_guide(guide: Polygon, edge: Polygon, sanding: float) -> Polygon:
    """The finished outline whose guide line is given: moved in by the sanding margin along new edges.

    >>> board, guide = shapely.box(0, 0, 100, 80), shapely.box(0, 0, 50.3, 80)
    >>> inside_of_guide(guide, board, 0.3).bounds
    (0.0, 0.0, 50.0, 80.0)
    """
    new = guide.exterior.difference(edge.exterior.buffer(EDGE_TOLERANCE))
    merged = shapely.line_merge(new) if isinstance(new, MultiLineString) else new
    strips = [
        shapely.buffer(
            shapely.LineString(_run_on(shapely.get_coordinates(line), 2 * sanding + 1.0)),
            sanding,
            cap_style="flat",
            join_style="mitre",
            mitre_limit=20.0,
        )
        for line in shapely.get_parts(merged)
    ]
    rest = guide.difference(shapely.union_all(strips)) if strips else guide
    parts = shapely.get_parts(rest)
    return Polygon(max(parts, key=lambda part: part.area).exterior)


def _run_on(points: Floats, by: float) -> Floats:
    """A line run on straight at both ends; a closed one is left as it is."""
    if np.array_equal(points[0], points[-1]):
        return points
    first, last = points[0] - points[1], points[-1] - points[-2]
    return np.vstack(
        [points[0] + by * first / np.hypot(*first), points, points[-1] + by * last / np.hypot(*last)]
    )
