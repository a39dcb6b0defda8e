"""Curves that come as many short chords: found, so that they are told once and not chord by chord."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from shapely import Polygon

from trimgeo.cutting.holder import cuts_named
from trimgeo.cutting.remarks import short_cuts, thin_waste
from trimgeo.model.plan import XY, Cut
from trimgeo.plane.offsets import SAME
from trimgeo.plane.rings import Floats, turns

MOST_TOLD: Final = 12
"""So many short cuts in a row may be meant one by one; more that follow a curve are a curve."""

SHORT: Final = 5.0
"""mm: a chord of a curve is no longer; what is, is sawn as a cut of its own."""

SHARP: Final = 20.0
"""Degrees by which one chord of a curve turns from the last at most: a circle of 18 sides looks round."""


@dataclass(frozen=True)
class Curve:
    """Cuts that are chords of one curve, in their order."""

    cuts: tuple[Cut, ...]

    @property
    def length(self) -> float:
        """Of all chords, mm."""
        return sum(cut.length for cut in self.cuts)

    @property
    def middle(self) -> XY:
        """A point halfway, mm."""
        return self.cuts[len(self.cuts) // 2].start


def curves(cuts: Sequence[Cut]) -> tuple[Curve, ...]:
    """Runs of more than `MOST_TOLD` short straight cuts, one after the other, that turn one way bit by bit.

    >>> import shapely
    >>> from trimgeo.cutting.edges import new_edges
    >>> from trimgeo.model.board import Ring
    >>> board, disc = Ring(shapely.box(-50, -50, 50, 50)), Ring(shapely.Point(0, 0).buffer(20))
    >>> (found,) = curves(new_edges(disc, board))
    >>> len(found.cuts), round(found.length, 1)
    (64, 125.6)
    """
    runs: list[list[Cut]] = [[]]
    sense = 0.0
    for cut in cuts:
        turn = _turn(runs[-1][-1], cut) if runs[-1] else 0.0
        if not runs[-1] or abs(turn) > SHARP or turn * sense < 0 or not _is_chord(cut):
            runs.append([])
            sense = turn = 0.0
        if _is_chord(cut):
            runs[-1].append(cut)
            sense = sense or turn
    return tuple(Curve(tuple(run)) for run in runs if len(run) > MOST_TOLD)


def _is_chord(cut: Cut) -> bool:
    return cut.circle is None and cut.length <= SHORT


def _turn(before: Cut, after: Cut) -> float:
    """Degrees from one cut to the next; more than any curve's where they do not meet."""
    if np.hypot(*np.subtract(before.end, after.start)) > SAME:
        return 360.0
    return float(turns(_way(before), _way(after)))


def _way(cut: Cut) -> Floats:
    return np.subtract(cut.end, cut.start)


def told_curves(found: Sequence[Curve], edge: Polygon, reach: float, kerf: float) -> tuple[str, ...]:
    """A sentence on each curve, with all that would be said of its chords one by one.

    ``reach`` as for `trimgeo.cutting.remarks.thin_waste`; ``kerf`` mm.
    """
    said = []
    for curve in found:
        x, y = curve.middle
        many = len(curve.cuts)
        text = (
            f"{cuts_named([cut.n for cut in curve.cuts])} are {many} short chords that follow a curve near "
            f"({x:.2f}, {y:.2f}), {curve.length:.1f} mm in all: saw beside it in a few straight cuts and "
            "file to the line"
        )
        if short := len(short_cuts(curve.cuts, kerf)):
            text += f"; {short} of them are shorter than the kerf of {kerf:.2f} mm is wide"
        if thin := len(thin_waste(curve.cuts, edge, reach)):
            text += f"; {thin} of them take off a strip that is mostly narrower than {reach:.1f} mm"
        said.append(text)
    return tuple(said)
