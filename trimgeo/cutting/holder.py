"""What the wheel's body, or the holder of the hand-piece, would run into: tall parts that stay."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import shapely
from shapely import LineString, MultiPolygon, Point, Polygon

from trimgeo.cutting.axle import Pass, outward
from trimgeo.model.job import Cutter
from trimgeo.model.plan import Hit
from trimgeo.plane.rings import Floats

HAND_PIECE: Final = 150.0
"""How far a hand-piece reaches along its axis, mm (common practice): nobody holds one shorter than a hand."""


@dataclass(frozen=True, eq=False)
class Standing:
    """A part that stands on the face that is cut from: ``spine`` grown by ``radius``, ``height`` mm high."""

    name: str
    height: float
    spine: Point | LineString | Polygon | MultiPolygon
    radius: float = 0.0


def hits(
    along: Sequence[Pass], standing: Sequence[Standing], cutter: Cutter, thickness: float
) -> tuple[Hit, ...]:
    """The parts that wheel or holder would run into, cut by cut, on the least that the axle must travel.

    A wheel's axle is R - t - p above the board: at height z its body is as long as the chord there, so
    that it reaches further over the board than it cuts.  Its holder is a cylinder about the axle, from
    ``reach`` mm beside the wheel outward, over the waste or over the kept board: it may be held either way.
    A bit's holder stands upright, its end ``reach`` - t - p above the board.  Both stray by the wander.

    >>> wheel = Cutter(kind="wheel", kerf=1.0, diameter=38.0)
    >>> one = Pass(np.array([0.0, 0.0]), np.array([20.0, 0.0]), np.array([1.0, 0.0]), 3)
    >>> tall = Standing("J1", 12.0, shapely.box(36, -2, 40, 2))  # at 12 mm the wheel is 18.4 mm long ahead
    >>> [(hit.name, hit.cut, hit.by) for hit in hits([one], [tall], wheel, 1.6)]
    [('J1', 3, 'wheel')]
    """
    found: dict[Hit, None] = {}
    for part in standing:
        for one in along:
            for by, side, area in _areas(one, part.height, cutter, thickness):
                if shapely.dwithin(area, part.spine, part.radius):
                    found[Hit(part.name, part.height, one.cut, by, side)] = None
    return tuple(sorted(found, key=lambda hit: (hit.cut, hit.name, hit.by, hit.side or "")))


_By = Literal["wheel", "holder"]
_Side = Literal["waste", "kept"] | None


def _areas(one: Pass, height: float, cutter: Cutter, thickness: float) -> list[tuple[_By, _Side, Polygon]]:
    """What wheel and holder sweep over the board at heights up to ``height``, mm."""
    holder, wander = cutter.holder, cutter.wander
    if cutter.kind == "wheel" and cutter.diameter is not None:
        radius = cutter.diameter / 2
        axle = radius - thickness - cutter.breakthrough
        half, wide = _half_chord(radius, axle, height), cutter.kerf / 2 + wander
        areas: list[tuple[_By, _Side, Polygon]] = [("wheel", None, _strip(one, half, -wide, wide))]
        if holder is not None and (half := _half_chord(holder.radius, axle, height)) > 0:
            low = cutter.kerf / 2 + holder.reach - wander
            areas.append(("holder", "waste", _strip(one, half, low, low + HAND_PIECE)))
            areas.append(("holder", "kept", _strip(one, half, -low - HAND_PIECE, -low)))
        return areas
    if cutter.kind != "bit" or holder is None or height <= holder.reach - thickness - cutter.breakthrough:
        return []
    path = LineString([one.start, one.end]) if np.any(one.start != one.end) else Point(one.start)
    return [("holder", None, path.buffer(holder.radius + wander))]


def _half_chord(radius: float, axle: float, height: float) -> float:
    """Half the longest level chord, mm, of an upright disc up to a height; 0 where it is all higher."""
    if height >= axle:
        return radius
    return math.sqrt(max(radius**2 - (axle - height) ** 2, 0.0))


def _strip(one: Pass, half: float, low: float, high: float) -> Polygon:
    """A rectangle along a pass, longer by ``half`` at both ends, ``low`` to ``high`` across it."""
    out: Floats = outward(one)
    start, end = one.start - half * one.along, one.end + half * one.along
    return Polygon([start + low * out, end + low * out, end + high * out, start + high * out])


def hit_sentences(found: Sequence[Hit]) -> tuple[str, ...]:
    """What to do about the parts that are in the way, cut by cut, in words.

    >>> hit_sentences([Hit("J1", 12.0, 3, "holder", "kept")])
    ('Along cut 3 hold the hand-piece over the waste: over the kept board it runs into J1 (12.0 mm high).',)
    """
    said: list[str] = []
    for cut in dict.fromkeys(hit.cut for hit in found):
        ways: dict[tuple[str, str | None], list[str]] = {}
        for hit in found:
            if hit.cut == cut:
                ways.setdefault((hit.by, hit.side), []).append(f"{hit.name} ({hit.height:.1f} mm high)")
        said += _about({way: ", ".join(parts) for way, parts in ways.items()}, f"Along cut {cut}")
    return tuple(said)


def _about(names: dict[tuple[str, str | None], str], cut: str) -> list[str]:
    """Sentences on one cut: ``names`` of the parts in the way, by what runs into them, and where."""
    said = []
    if parts := names.get(("wheel", None)):
        said.append(f"{cut} the wheel runs into {parts}: take it off, or saw the end of that cut.")
    kept, waste = names.get(("holder", "kept")), names.get(("holder", "waste"))
    if kept and waste:
        said.append(
            f"{cut} the hand-piece runs into {kept} over the kept board and into {waste} over the waste: "
            "take one of them off, or cut from the other face."
        )
    elif kept or waste:
        here, there = ("waste", "kept board") if kept else ("kept board", "waste")
        said.append(
            f"{cut} hold the hand-piece over the {here}: over the {there} it runs into {kept or waste}."
        )
    if parts := names.get(("holder", None)):
        said.append(f"{cut} the hand-piece runs into {parts}: take it off, or use a longer bit.")
    return said
