"""Copper of one layer out of its picture: polygons with sub-pixel edges and their holes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from trimgeo.vision.copper_level import Floats, Grey, Levels, find_levels, flat_level
from trimgeo.vision.copper_rings import Chains, Ints, crossings, signed_areas

CopperIs = Literal["light", "dark"]

SIMPLIFIED = 0.15
"""How far, in pixels, a boundary is moved to leave points out: less than noise moves it."""

_BAND = 128
"""Rows worked on at a time: what is not kept stays in the processor's cache."""

_LEAST_POINTS = 4
"""A boundary of fewer pixels encloses nothing that can be told from noise."""


@dataclass(frozen=True, eq=False)
class Found:
    """Copper in a picture.

    ``polygons`` are in pixels (column, row), holes kept; ``level`` is the grey used (its mean where light is
    uneven); ``specks`` is how many bits of copper or of gap below the stated size were dropped.
    """

    polygons: list[Polygon]
    level: int
    specks: int


def copper_polygons(
    grey: Grey,
    level: int | None,
    copper_is: CopperIs,
    speck_px2: float,
    *,
    scratch: float = 0.0,
    board: Polygon | None = None,
    where: str = "the picture of the layer",
) -> Found:
    """Areas of copper in a grey picture, shape (rows, columns), uint8.

    ``level`` is the grey between copper and the rest; None finds it, place by place, so that uneven
    light does no harm.  ``speck_px2``: smaller areas and smaller holes, px², are dropped.  ``scratch`` is
    the finest that copper or a gap can be, pixels; what is finer is mended where that is 3 or more (in a
    coarser picture a fine line cannot be told from a scratch: it stays).  ``board``, in pixels, bounds where
    levels are looked for.  Raises `trimgeo.JobError` at ``where`` where the
    picture does not show two greys.

    >>> picture = np.full((200, 200), 60, np.uint8)
    >>> picture[50:150, 20:90] = 180  # its edges lie half way between pixels
    >>> picture[80:100, 40:60] = 60
    >>> found = copper_polygons(picture, None, "light", 4.0)
    >>> [round(each, 1) for each in found.polygons[0].bounds], len(found.polygons[0].interiors)
    ([19.5, 49.5, 89.5, 149.5], 1)
    """
    levels = find_levels(grey, where, board) if level is None else flat_level(level)
    told = round(float(levels.middle.mean()))
    if copper_is == "dark":
        levels = Levels(255.0 - levels.light, 255.0 - levels.dark, levels.cell)
    smooth, mask = _thresholded(grey, levels, turned=copper_is == "dark")
    _mend(mask, scratch)
    polygons, specks = _traced(smooth, mask, levels, speck_px2)
    return Found(polygons, told, specks)


def _thresholded(grey: Grey, levels: Levels, turned: bool) -> tuple[Grey, Grey]:
    """The picture with copper light and its noise evened out a little, and where it is copper (255)."""
    rows, columns = grey.shape
    smooth, mask = np.empty_like(grey), np.empty_like(grey)
    table, step = _level_table(levels, rows, columns)
    band_rows = step * max(1, _BAND // step)
    for top in range(0, rows, band_rows):
        end = min(top + band_rows, rows)
        low, high = max(top - 1, 0), min(end + 1, rows)
        band = cv2.GaussianBlur(grey[low:high], (3, 3), 0.6, borderType=cv2.BORDER_REPLICATE)
        band = band[top - low : end - low]
        if turned:
            cv2.bitwise_not(band, dst=smooth[top:end])
        else:
            smooth[top:end] = band
        lines = table[top // step : -(-end // step)]
        border = np.repeat(np.repeat(lines, step, axis=1)[:, :columns], step, axis=0)[: end - top]
        cv2.compare(smooth[top:end], np.ascontiguousarray(border), cv2.CMP_GE, dst=mask[top:end])
    return smooth, mask


def _mend(mask: Grey, finest: float) -> None:
    """Takes lines of copper or gap finer than ``finest``, pixels, out of a mask, in its place.

    A square of k pixels fits in a line of any direction that is (k - 1)·√2 wide or more; what it does
    not fit in is too fine to have been made (opening and closing, Serra 1982).
    """
    side = int(finest / 2**0.5 + 1 + 1e-9)
    side -= 1 - side % 2
    if side < 3:
        return
    square, margin = np.ones((side, side), np.uint8), 2 * side
    above = mask[:0]
    for top in range(0, len(mask), _BAND):
        # The rows above are mended already: what they were is kept.
        band = np.vstack([above, mask[top : top + _BAND + margin]])
        first = len(above)
        above = band[max(first + _BAND - margin, 0) : first + _BAND]
        lines = cv2.subtract(band, cv2.morphologyEx(band, cv2.MORPH_OPEN, square))
        closed = cv2.morphologyEx(band, cv2.MORPH_CLOSE, square)
        end = min(_BAND, len(mask) - top)
        cv2.subtract(closed[first : first + end], lines[first : first + end], dst=mask[top : top + end])


def _level_table(levels: Levels, rows: int, columns: int) -> tuple[Grey, int]:
    """The level of each square of some pixels, rounded up: a grey is at the level where it reaches this.

    With it the side of the squares: a sixteenth of a cell, within which the level stays the same to a part of
    a grey.
    """
    step = max(1, int(levels.cell / 16)) if levels.middle.size > 1 else 64
    u, v = np.arange(0, columns, step) + (step - 1) / 2, np.arange(0, rows, step) + (step - 1) / 2
    places = np.stack(np.meshgrid(u, v), axis=-1).reshape(-1, 2)
    table = levels.at(places, levels.middle).reshape(len(v), len(u))
    return np.ceil(np.clip(table, 0, 255)).astype(np.uint8), step


def _traced(smooth: Grey, mask: Grey, levels: Levels, speck: float) -> tuple[list[Polygon], int]:
    """Polygons of a mask with sub-pixel edges, and how many specks were dropped."""
    contours, tree = cv2.findContours(mask, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    if not len(contours):
        return [], 0
    count = np.array([len(each) for each in contours])
    parent = np.asarray(tree)[0, :, 3]
    long = count >= _LEAST_POINTS
    small = int((~long).sum())
    kept = np.flatnonzero(long)
    if not len(kept):
        return [], small
    chains = Chains(
        np.concatenate([contours[i] for i in kept.tolist()])[:, 0].astype(np.int32, copy=False), count[kept]
    )
    points = crossings(chains, smooth, levels)
    area = np.zeros(len(contours))
    area[kept] = np.abs(signed_areas(points, chains.count))
    large = long & (area >= speck)
    outer = np.where(parent < 0, np.arange(len(contours)), parent)
    used = large & large[outer]
    # A hole of a dropped area goes with it and is none of its own.
    specks = int((~large & (large[outer] | (parent < 0))).sum())
    rings = np.empty(len(contours), dtype=object)
    rings[kept[used[kept]]] = _rings(points, chains.count, used[kept])
    return _assembled(rings, outer, np.flatnonzero(used)), specks


def _rings(points: Floats, count: Ints, used: NDArray[np.bool_]) -> NDArray[np.object_]:
    """Simplified rings of the chains that are used (Douglas and Peucker 1973)."""
    owner = np.repeat(np.cumsum(used) - 1, count)
    wanted = np.repeat(used, count)
    whole = shapely.linearrings(points[wanted], indices=owner[wanted])
    simple = shapely.simplify(whole, SIMPLIFIED, preserve_topology=False)
    collapsed = (shapely.get_type_id(simple) != 2) | (shapely.get_num_coordinates(simple) < 4)
    return np.asarray(np.where(collapsed, whole, simple))


def _assembled(rings: NDArray[np.object_], outer: Ints, used: Ints) -> list[Polygon]:
    """Polygons out of rings: each outer one with the holes that name it."""
    if not len(used):
        return []
    is_hole = outer[used] != used
    order = np.lexsort((used, is_hole, outer[used]))
    used = used[order]
    _, owner = np.unique(outer[used], return_inverse=True)
    areas = shapely.polygons(rings[used], indices=owner)
    return polygons_of(areas)


def polygons_of(areas: NDArray[np.object_]) -> list[Polygon]:
    """Valid polygons of areas, in order; repaired only where an area is not valid.

    >>> bow = shapely.Polygon([(0, 0), (2, 2), (2, 0), (0, 2)])
    >>> [each.area for each in polygons_of(np.array([bow, shapely.box(0, 0, 1, 1)]))]
    [1.0, 1.0, 1.0]
    """
    broken = ~shapely.is_valid(areas)
    if broken.any():
        areas = areas.copy()
        areas[broken] = shapely.make_valid(areas[broken], method="structure", keep_collapsed=False)
    parts = shapely.get_parts(shapely.get_parts(areas))  # a collection may hold several multi-polygons
    return [each for each in parts if each.geom_type == "Polygon" and not each.is_empty]
