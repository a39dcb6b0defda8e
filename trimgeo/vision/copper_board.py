"""Copper of a picture on the board: its areas in millimetres, and the keep-outs that they are."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import Polygon

from trimgeo.model.board import Keepout
from trimgeo.model.planemap import PlaneMap
from trimgeo.tables import COVERAGE_FACTOR_PLANE, Required
from trimgeo.vision.copper import CopperIs, Found, copper_polygons, polygons_of
from trimgeo.vision.copper_level import Floats, Grey
from trimgeo.vision.nets import CopperArea

BOUNDARY = 0.3
"""Standard uncertainty of a boundary across itself, pixels: of drawn layers at 600 and 1200 dpi with blur
of up to 1.2 px 95 % lies within 0.6 px (measured: tests/bench/copper.py)."""

FINEST = 0.075
"""The finest copper and gaps that boards have, mm (common practice: 0.1, seldom 0.075)."""

_SAMPLED = 200
"""Places of an area at which the uncertainty of the map is looked up: it changes slowly over a picture."""


@dataclass(frozen=True, eq=False)
class BoardCopper:
    """Copper of a layer on the board: ``polygons`` in mm; ``level`` and ``specks`` as in `Found`."""

    polygons: list[Polygon]
    level: int
    specks: int


def board_copper(
    grey: Grey,
    view: PlaneMap,
    edge: Polygon,
    *,
    level: int | None,
    copper_is: CopperIs,
    speck: float,
    where: str,
) -> BoardCopper:
    """Copper of one layer, mm, out of its grey picture, shape (rows, columns).

    ``view`` maps the picture to the board, ``edge`` is the board edge, mm; ``speck`` in mm².  Only the part
    of the picture that shows the board is worked on.  Raises `trimgeo.JobError` as `copper_polygons`.

    >>> picture = np.full((100, 200), 60, np.uint8)
    >>> picture[20:80, 50:150] = 180
    >>> scan = PlaneMap(np.array([[0.1, 0, 0], [0, -0.1, 10.0], [0, 0, 1]]), np.zeros((9, 9)), (200, 100))
    >>> edge = shapely.box(0, 0, 20, 10)
    >>> found = board_copper(picture, scan, edge, level=None, copper_is="light", speck=0.01, where="layer 2")
    >>> [round(each, 2) for each in found.polygons[0].bounds]
    [4.95, 2.05, 14.95, 8.05]
    """
    shown = _in_pixels(view, edge)
    left, low, right, high = _box(shown, grey.shape)
    part = grey[low:high, left:right]
    if not part.size:
        return BoardCopper([], level or 0, 0)
    density = pixels_per_mm(view, edge)
    found = copper_polygons(
        part,
        level,
        copper_is,
        speck * density**2,
        scratch=FINEST * density,
        board=shapely.transform(shown, lambda xy: xy - np.array([left, low])),
        where=where,
    )
    whole = [shapely.transform(each, lambda xy: xy + np.array([left, low])) for each in found.polygons]
    return BoardCopper(
        to_board(Found(whole, found.level, found.specks), view, edge), found.level, found.specks
    )


def pixels_per_mm(view: PlaneMap, edge: Polygon) -> float:
    """Pixels along a millimetre in the middle of the board, the mean of both directions.

    >>> scan = PlaneMap(np.diag([0.1, -0.05, 1.0]), np.zeros((9, 9)))
    >>> round(pixels_per_mm(scan, shapely.box(0, 0, 10, 10)) ** 2)
    200
    """
    middle = view.to_pixels([[edge.centroid.x, edge.centroid.y]])
    return float(abs(np.linalg.det(view.slopes(middle)[0])) ** -0.5)


def to_board(found: Found, view: PlaneMap, edge: Polygon) -> list[Polygon]:
    """Areas in mm, valid, and only what lies on the board.

    Light beside the board passes for copper in a picture.  What crosses the board edge is cut off there,
    and with it the sliver along the edge that is left inside where the edge's place is a little wrong:
    up to the bound of the view and a pixel.

    >>> scan = PlaneMap(np.diag([0.1, 0.1, 1.0]), np.zeros((9, 9)))
    >>> beside = shapely.box(-50, -50, 0.5, 150)
    >>> pad = shapely.box(20, 20, 40, 40)
    >>> [each.bounds for each in to_board(Found([beside, pad], 99, 0), scan, shapely.box(0, 0, 10, 10))]
    [(2.0, 2.0, 4.0, 4.0)]
    """
    if not found.polygons:
        return []
    areas = polygons_of(shapely.transform(np.array(found.polygons, dtype=object), view.to_mm))
    shapely.prepare(edge)
    whole = shapely.contains_properly(edge, np.array(areas, dtype=object))
    crossing = ~whole & shapely.intersects(edge, np.array(areas, dtype=object))
    slack = _slack(view, edge)
    result: list[Polygon] = []
    for area, inside, cut in zip(areas, whole, crossing, strict=True):
        if inside:
            result.append(area)
        elif cut:
            result += _cut_off(area, edge, slack)
    return result


def _slack(view: PlaneMap, edge: Polygon) -> float:
    """How far the board edge may be from where the picture shows it, mm."""
    corners = view.to_pixels(shapely.get_coordinates(edge))
    u = float(view.standard_uncertainty(corners).max())
    return COVERAGE_FACTOR_PLANE * u + 1.0 / pixels_per_mm(view, edge)


def _cut_off(area: Polygon, edge: Polygon, slack: float) -> list[Polygon]:
    """The part of an area on the board, without slivers along the edge up to ``slack`` wide."""
    on_board = area.intersection(edge)
    rim = edge.difference(edge.buffer(-slack, join_style="mitre"))
    # What no disc of the slack fits into: opened by the disc, and a little more grown so that corners stay.
    thick = on_board.buffer(-slack / 2).buffer(slack)
    sliver = on_board.intersection(rim).difference(thick)
    parts = shapely.get_parts(on_board.difference(sliver) if not sliver.is_empty else on_board)
    # Where slivers meet in a corner the disc fits in; what stays there reaches no further in than this.
    inner = edge.buffer(-3 * slack, join_style="mitre")
    return [each for each in parts if each.geom_type == "Polygon" and each.intersects(inner)]


def keepouts(
    areas: Sequence[CopperArea], required: Callable[[int], Required], views: Mapping[int, PlaneMap]
) -> list[Keepout]:
    """Keep-outs of kind copper; ``required`` gives the clearance of a layer, ``views`` has each layer's map.

    The uncertainty of each is the greatest that the map has on it, combined with that of finding a boundary
    (root sum of squares, JCGM 100:2008 5.1.2).

    >>> scan = PlaneMap(np.diag([0.1, -0.1, 1.0]), np.zeros((9, 9)))
    >>> area = CopperArea(2, 1, "GND", shapely.box(0, 0, 5, 5), True)
    >>> (made,) = keepouts([area], lambda layer: Required(0.45, "inner copper"), {2: scan})
    >>> made.name, made.kind, made.may_cut, round(made.uncertainty, 6)
    ('2:GND', 'copper', True, 0.03)
    """
    made = []
    for area in areas:
        clearance = required(area.layer)
        made.append(
            Keepout(
                name=area.name,
                kind="copper",
                spine=area.polygon,
                radius=0.0,
                layers=(area.layer,),
                net=area.net,
                required=clearance.mm,
                reason=clearance.reason,
                may_cut=area.may_cut,
                uncertainty=_uncertainty(area, views[area.layer]),
            )
        )
    return made


def _uncertainty(area: CopperArea, view: PlaneMap) -> float:
    """Standard uncertainty, mm, of the boundary where the map knows it worst."""
    corners = shapely.get_coordinates(area.polygon)
    places = np.vstack([corners[:: -(-len(corners) // _SAMPLED)], _extremes(corners)])
    pixels = view.to_pixels(places)
    coarsest = np.linalg.norm(view.slopes(pixels), ord=2, axis=(1, 2)).max()
    return float(np.hypot(view.standard_uncertainty(pixels).max(), BOUNDARY * coarsest))


def _extremes(corners: Floats) -> Floats:
    """The corners furthest left, right, up and down: where a map is known worst."""
    return np.asarray(corners[np.concatenate([corners.argmin(axis=0), corners.argmax(axis=0)])])


def _in_pixels(view: PlaneMap, edge: Polygon) -> Polygon:
    """The board edge in the picture; its sides cut small, because a lens bends them."""
    return shapely.transform(shapely.segmentize(edge, edge.length / 200), view.to_pixels)


def _box(shown: Polygon, shape: tuple[int, ...]) -> tuple[int, int, int, int]:
    """Columns and rows of the picture that show the board, with a few beside it."""
    left, low, right, high = shown.bounds
    margin = 16
    clip = np.clip(
        [left - margin, low - margin, right + margin, high + margin],
        0,
        [shape[1], shape[0], shape[1], shape[0]],
    ).astype(int)
    return int(clip[0]), int(clip[1]), int(clip[2]), int(clip[3])
