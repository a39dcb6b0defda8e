"""A small drawing of the board for the report: numbered sides and corners, to set out by caliper."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from trimgeo.model.plan import Plan

NEAR = 0.02
"""Corners nearer than this share of the board's width bear one label: both lines lie side by side."""


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
    letter: float


def set_out_figure(plan: Plan) -> Figure:
    """The board with the numbers that the table of caliper distances uses."""
    edge = shapely.get_coordinates(plan.board.edge.polygon.exterior)
    left, bottom, right, top = plan.board.edge.polygon.bounds
    letter = 0.028 * (right - left)
    margin = 3.2 * letter
    box = (left - margin, -top - margin, right - left + 2 * margin, top - bottom + 2 * margin)
    used = {d.edge for each in plan.set_out for d in each.distances if d.edge is not None}
    return Figure(
        view_box=" ".join(f"{v:.3f}" for v in box),
        edge=_path(edge),
        finished=_path(shapely.get_coordinates(plan.finished.polygon.exterior)),
        holes=tuple((h.at[0], -h.at[1], h.diameter / 2) for h in plan.board.holes),
        sides=tuple(_beside(edge, n, letter, plan) for n in range(1, len(edge)) if n in used),
        corners=_corners(plan, NEAR * (right - left), 1.3 * letter),
        letter=letter,
    )


def _path(points: np.ndarray) -> str:
    return "M" + "L".join(f"{x:.3f} {-y:.3f}" for x, y in points) + "Z"


def _beside(edge: np.ndarray, n: int, letter: float, plan: Plan) -> Label:
    """The number of a side, outside the board where no corner is labelled."""
    start, end = edge[n - 1], edge[n]
    along = (end - start) / np.hypot(*(end - start))
    outside = 1.3 * letter * np.array([along[1], -along[0]])
    taken = np.array([each.at for each in plan.set_out])
    places = [start + share * (end - start) + outside for share in (0.5, 0.7, 0.3, 0.85, 0.15)]
    gaps = [float(np.hypot(*(taken - place).T).min()) for place in places]
    x, y = next((p for p, gap in zip(places, gaps, strict=True) if gap > 6 * letter), places[np.argmax(gaps)])
    return Label(f"side {n}", float(x), -float(y))


def _corners(plan: Plan, near: float, distance: float) -> tuple[Label, ...]:
    """Numbers of corners, those that lie side by side on one label, outside the outline's middle."""
    middle = np.array(plan.finished.polygon.centroid.coords[0])
    groups: list[list[int]] = []
    places = [np.array(each.at) for each in plan.set_out]
    for i, place in enumerate(places):
        home = next((g for g in groups if np.hypot(*(places[g[0]] - place)) < near), None)
        if home is None:
            groups.append([i])
        else:
            home.append(i)
    labels = []
    for group in groups:
        outward = places[group[0]] - middle
        x, y = places[group[0]] + distance * outward / max(float(np.hypot(*outward)), 1e-9)
        text = "/".join(str(plan.set_out[i].n) for i in group)
        labels.append(Label(text, float(x), -float(y)))
    return tuple(labels)
