"""What the wheel's body, or the holder of the hand-piece, would run into: tall parts that stay."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, MultiPolygon, Point, Polygon

from trimgeo.cutting.axle import Pass, outward
from trimgeo.model.job import Cutter
from trimgeo.model.phrases import together
from trimgeo.model.plan import Hit
from trimgeo.plane.rings import Floats

HAND_PIECE: Final = 150.0
"""How far a hand-piece reaches along its axis, mm (common practice): nobody holds one shorter than a hand."""


@dataclass(frozen=True, eq=False)
class Standing:
    """A part that stands on the face that is cut from: ``spine`` grown by ``radius``, ``height`` mm high.

    ``must_live`` says that it is a keep-out that may not be lost.
    """

    name: str
    height: float
    spine: Point | LineString | Polygon | MultiPolygon
    radius: float = 0.0
    must_live: bool = False


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
    if not standing:
        return ()
    spines, radii = np.array([part.spine for part in standing]), np.array([part.radius for part in standing])
    heights = np.array([part.height for part in standing])
    found: dict[Hit, None] = {}
    for one in along:
        for by, side, areas, reached in _areas(one, heights, cutter, thickness):
            for n in np.flatnonzero(reached & shapely.dwithin(areas, spines, radii)).tolist():
                part = standing[n]
                found[Hit(part.name, part.height, one.cut, by, side, part.must_live)] = None
    return tuple(sorted(found, key=lambda hit: (hit.cut, hit.name, hit.by, hit.side or "")))


_Swept = tuple[Literal["wheel", "holder"], Literal["waste", "kept"] | None, Any, NDArray[np.bool_]]


def _areas(one: Pass, heights: Floats, cutter: Cutter, thickness: float) -> list[_Swept]:
    """What wheel and holder sweep over the board up to each height, mm, and whether they come so low."""
    holder, wander, every = cutter.holder, cutter.wander, np.ones(len(heights), dtype=bool)
    if cutter.kind == "wheel" and cutter.diameter is not None:
        radius = cutter.diameter / 2
        axle = radius - thickness - cutter.breakthrough
        half, wide = _half_chords(radius, axle, heights), cutter.kerf / 2 + wander
        areas: list[_Swept] = [("wheel", None, _strips(one, half, -wide, wide), every)]
        if holder is not None:
            half = _half_chords(holder.radius, axle, heights)
            low = cutter.kerf / 2 + holder.reach - wander
            areas.append(("holder", "waste", _strips(one, half, low, low + HAND_PIECE), half > 0))
            areas.append(("holder", "kept", _strips(one, half, -low - HAND_PIECE, -low), half > 0))
        return areas
    if cutter.kind != "bit" or holder is None:
        return []
    path = LineString([one.start, one.end]) if np.any(one.start != one.end) else Point(one.start)
    low = holder.reach - thickness - cutter.breakthrough
    return [("holder", None, path.buffer(holder.radius + wander), heights > low)]


def _half_chords(radius: float, axle: float, heights: Floats) -> Floats:
    """Half the longest level chord, mm, of an upright disc up to each height; 0 where it is all higher."""
    below = np.maximum(axle - heights, 0.0)
    return np.asarray(np.sqrt(np.maximum(radius**2 - below**2, 0.0)))


def _strips(one: Pass, half: Floats, low: float, high: float) -> Any:
    """Rectangles along a pass, longer by each ``half`` at both ends, ``low`` to ``high`` across it."""
    out: Floats = outward(one)
    start, end = one.start - half[:, None] * one.along, one.end + half[:, None] * one.along
    corners = [start + low * out, end + low * out, end + high * out, start + high * out]
    return shapely.polygons(np.stack(corners, axis=1))


def hit_sentences(found: Sequence[Hit]) -> tuple[str, ...]:
    """What to do about the parts that are in the way, cut by cut, in words; cuts that read alike are one.

    What must live stays where it is, whatever is in its way; other parts may be taken off.

    >>> hit_sentences([Hit("J1", 12.0, cut, "holder", "kept") for cut in (3, 4)])[0][:58]
    'Along cuts 3 and 4 hold the hand-piece over the waste: ove'
    """
    said: dict[str, list[int]] = {}
    for cut in dict.fromkeys(hit.cut for hit in found):
        for text in _about([hit for hit in found if hit.cut == cut]):
            said.setdefault(text, []).append(cut)
    return tuple(f"Along {cuts_named(cuts)} {text}" for text, cuts in said.items())


def _about(met: Sequence[Hit]) -> list[str]:
    """Sentences on one cut, without its number."""
    said = []
    wheel = [hit for hit in met if hit.by == "wheel"]
    if parts := _names(hit for hit in wheel if hit.must_live):
        said.append(
            f"the wheel runs into {parts}, which must survive: stop short and saw that end, "
            "or cut from the other face."
        )
    if parts := _names(hit for hit in wheel if not hit.must_live):
        said.append(f"the wheel runs into {parts}: take it off, or saw that end.")
    said += _about_holder([hit for hit in met if hit.by == "holder"])
    return said


def _about_holder(met: Sequence[Hit]) -> list[str]:
    """Sentences on the hand-piece along one cut: over which side to hold it, or what must give way."""
    said = []
    kept, waste = (_names(hit for hit in met if hit.side == side) for side in ("kept", "waste"))
    if kept and waste:
        fixed = {hit.side for hit in met if hit.must_live}
        way = "saw that end" if {"kept", "waste"} <= fixed else _loose(fixed)
        said.append(
            f"the hand-piece runs into {kept} over the kept board and into {waste} over the waste: "
            f"{way}, or cut from the other face."
        )
    elif kept or waste:
        here, there = ("waste", "kept board") if kept else ("kept board", "waste")
        said.append(f"hold the hand-piece over the {here}: over the {there} it runs into {kept or waste}.")
    upright = [hit for hit in met if hit.side is None]
    if parts := _names(hit for hit in upright if hit.must_live):
        said.append(
            f"the hand-piece runs into {parts}, which must survive: use a longer bit, "
            "or cut from the other face."
        )
    if parts := _names(hit for hit in upright if not hit.must_live):
        said.append(f"the hand-piece runs into {parts}: take it off, or use a longer bit.")
    return said


def _loose(fixed: set[Literal["waste", "kept"] | None]) -> str:
    """What may be taken off where parts that must live stand on ``fixed`` sides, at most one of the two."""
    if "kept" in fixed:
        return "take off what stands over the waste"
    return "take off what stands over the kept board" if "waste" in fixed else "take one of them off"


def _names(met: Iterable[Hit]) -> str:
    return ", ".join(f"{hit.name} ({hit.height:.1f} mm high)" for hit in met)


def cuts_named(numbers: Sequence[int]) -> str:
    """Cuts by number, runs of three or more as ranges.

    >>> cuts_named([3]), cuts_named([3, 5]), cuts_named([1, 2, 3, 4, 7])
    ('cut 3', 'cuts 3 and 5', 'cuts 1 to 4 and 7')
    """
    runs: list[list[int]] = []
    for n in sorted(numbers):
        if runs and n == runs[-1][-1] + 1:
            runs[-1].append(n)
        else:
            runs.append([n])
    words: list[str] = []
    for run in runs:
        words += [f"{run[0]} to {run[-1]}"] if len(run) > 2 else [str(n) for n in run]
    return f"cut{'s' if len(numbers) > 1 else ''} {together(words)}"
