"""A small drawing of the board for the report: numbered sides and corners, to set out by caliper."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from trimgeo.model.plan import Plan, SetOut

Floats = NDArray[np.float64]

NEAR = 0.02
"""Corners nearer than this share of the board's width bear one label: both lines lie side by side."""


_AROUND = ((0, 1), (0, -1), (1, 0), (-1, 0))


@dataclass(frozen=True)
class Label:
    """A text centred at a place; y runs down here, as in SVG."""

    text: str
    x: float
    y: float


@dataclass(frozen=True)
class Figure:
    """What the page draws: SVG path data in mm with y down, labels, and the size of a letter."""

    view_box: str
    edge: str
    finished: str
    holes: tuple[tuple[float, float, float], ...]
    sides: tuple[Label, ...]
    corners: tuple[Label, ...]
    names: tuple[Label, ...]
    letter: float


def to_set_out(plan: Plan) -> tuple[SetOut, ...]:
    """The corners that a person has to mark: of the guide line and of new edges, not the board's own."""
    ends = {end for cut in plan.cuts for end in (cut.start, cut.end)}
    return tuple(each for each in plan.set_out if each.line == "guide" or each.at in ends)


def numbers_explained(plan: Plan) -> str:
    """What the numbers of corners mean, which are left out, and what two on one place are."""
    marked = to_set_out(plan)
    said = [
        f"{_span([each.n for each in marked if each.line == line])}: corners of the {name}"
        for line, name in (("finished", "finished edge"), ("guide", "guide line, to stay outside of"))
        if any(each.line == line for each in marked)
    ]
    words = "; ".join(said) + "."
    if skipped := sorted({each.n for each in plan.set_out} - {each.n for each in marked}):
        one = len(skipped) == 1
        words += f" {_span(skipped)}: {'a corner' if one else 'corners'} that the board has already."
    left, _, right, _ = plan.board.edge.polygon.bounds
    paired = [group for group in _groups(marked, NEAR * (right - left)) if len(group) > 1]
    if paired:
        text = "/".join(str(marked[i].n) for i in paired[0])
        words += f" {text} on the drawing: places that lie side by side, of finished edge and guide line."
    return words


def _span(numbers: list[int]) -> str:
    """Numbers that follow each other, in words.

    >>> _span([1, 2, 3]), _span([6, 7]), _span([4]), _span([1, 3])
    ('1 to 3', '6 and 7', '4', '1, 3')
    """
    first, last = numbers[0], numbers[-1]
    if len(numbers) == 1:
        return str(first)
    if last - first + 1 > len(numbers):
        return ", ".join(str(n) for n in numbers)
    return f"{first} and {last}" if last == first + 1 else f"{first} to {last}"


def set_out_figure(plan: Plan) -> Figure:
    """The board with the numbers that the table of caliper distances uses."""
    edge = shapely.get_coordinates(plan.board.edge.polygon.exterior)
    left, bottom, right, top = plan.board.edge.polygon.bounds
    letter = 0.028 * (right - left)
    margin = 4.5 * letter
    box = (left - margin, -top - margin, right - left + 2 * margin, top - bottom + 2 * margin)
    used = {d.edge for each in to_set_out(plan) for d in each.distances if d.edge is not None}
    return Figure(
        view_box=" ".join(f"{v:.3f}" for v in box),
        edge=_path(edge),
        finished=_path(shapely.get_coordinates(plan.finished.polygon.exterior)),
        holes=tuple((h.at[0], -h.at[1], h.diameter / 2) for h in plan.board.holes),
        sides=tuple(_beside(edge, n, letter, plan) for n in range(1, len(edge)) if n in used),
        corners=_corners(plan, NEAR * (right - left), letter),
        names=_named_holes(plan, letter),
        letter=letter,
    )


def _path(points: Floats) -> str:
    return "M" + "L".join(f"{x:.3f} {-y:.3f}" for x, y in points) + "Z"


def _beside(edge: Floats, n: int, letter: float, plan: Plan) -> Label:
    """The number of a side, outside the board where no corner is labelled (it runs counter-clockwise)."""
    start, end = edge[n - 1], edge[n]
    along = (end - start) / np.hypot(*(end - start))
    taken = np.array([each.at for each in to_set_out(plan)])
    places = [start + share * (end - start) for share in (0.5, 0.7, 0.3, 0.85, 0.15)]
    gaps = [float(np.hypot(*(taken - place).T).min()) for place in places]
    place = next(
        (p for p, gap in zip(places, gaps, strict=True) if gap > 6 * letter), places[np.argmax(gaps)]
    )
    return _off(f"side {n}", place, np.array([along[1], -along[0]]), letter)


def _off(text: str, place: Floats, outward: Floats, letter: float) -> Label:
    """A text so far from a place, in a direction of length 1, that its box clears it."""
    half_width, half_height = 0.31 * letter * len(text), 0.5 * letter
    distance = 0.6 * letter + abs(outward[0]) * half_width + abs(outward[1]) * half_height
    x, y = place + distance * outward
    return Label(text, float(x), -float(y))


def _corners(plan: Plan, near: float, letter: float) -> tuple[Label, ...]:
    """Numbers of corners, those that lie side by side on one label, outside the outline's middle."""
    middle = np.array(plan.finished.polygon.centroid.coords[0])
    marked = to_set_out(plan)
    places = [np.array(each.at) for each in marked]
    labels = []
    for group in _groups(marked, near):
        outward = places[group[0]] - middle
        outward = outward / max(float(np.hypot(*outward)), 1e-9)
        text = "/".join(str(marked[i].n) for i in group)
        labels.append(_off(text, places[group[0]], outward, letter))
    return tuple(labels)


def _groups(marked: tuple[SetOut, ...], near: float) -> list[list[int]]:
    """Which corners lie so near to each other that they bear one label, by their place in ``marked``."""
    groups: list[list[int]] = []
    places = [np.array(each.at) for each in marked]
    for i, place in enumerate(places):
        home = next((g for g in groups if np.hypot(*(places[g[0]] - place)) < near), None)
        if home is None:
            groups.append([i])
        else:
            home.append(i)
    return groups


def _named_holes(plan: Plan, letter: float) -> tuple[Label, ...]:
    """The names of the holes that are measured from, on whichever side of each is furthest from a line."""
    used = {d.hole for each in to_set_out(plan) for d in each.distances}
    lines = shapely.union(plan.board.edge.polygon.exterior, plan.finished.polygon.exterior)
    labels = []
    for hole in (hole for hole in plan.board.holes if hole.name in used):
        tried = [
            _off(hole.name, np.array(hole.at) + hole.diameter / 2 * np.array(n), np.array(n), 0.8 * letter)
            for n in _AROUND
        ]
        gaps = [shapely.distance(lines, shapely.Point(label.x, -label.y)) for label in tried]
        labels.append(tried[int(np.argmax(gaps))])
    return tuple(labels)
