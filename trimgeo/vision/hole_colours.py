"""What holes show, told from all of them: the ground through their openings, the metal of their rings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trimgeo.vision.hole_fit import Fit

Floats = NDArray[np.float64]

_ALIKE = 32.0
"""Distance of two colours, grey levels, that may be one: light falls off, dust is seen through."""
_FEWEST = 3
"""Ringed holes that must agree on what the metal is."""
_DARKEST = 0.28
"""Of the ground beside the board, the light that a deep hole leaves of it."""
_SMALL = 4.5
"""Pixels: the opening of a hole of a smaller radius is seen mixed with what lies around it."""


@dataclass(frozen=True)
class Shown:
    """Colours (blue, green, red): ``metal`` of the rings or None; ``openings``, (n, 3), of holes in rings.

    ``ground`` is what lies beside the board, None where it is not known.
    """

    metal: Floats | None
    openings: Floats
    ground: Floats | None

    @property
    def known(self) -> bool:
        """Whether it is known what a hole shows."""
        return self.ground is not None or len(self.openings) >= _FEWEST

    def through(self, fit: Fit) -> bool:
        """Whether the ground may be what a hole shows: neither metal, nor ink, nor the board's own face."""
        contrast = float(np.linalg.norm(fit.around - fit.inside))
        if fit.ring is not None and float(np.linalg.norm(fit.inside - fit.beyond)) < 0.25 * contrast:
            return False  # a printed ring or a letter: its inside is the surface again
        if not self.known:
            return True
        off = self._off_open(fit)
        if self.metal is not None and fit.ring is None:
            off = max(off, off + 0.7 * (off - float(np.linalg.norm(fit.inside - self.metal))))
        return off < _ALIKE

    def _off_open(self, fit: Fit) -> float:
        """How far, grey levels, a hole is from what holes show; a small one is mixed with its ring."""
        mixed = 0.5 if fit.disc.radius < _SMALL else 0.0
        ends = [(each, each + mixed * (fit.around - each)) for each in self.openings]
        off = sorted(_off_segment(fit.inside, a, b) for a, b in ends)[1:]
        if self.ground is not None and not off:
            off = [_off_segment(fit.inside, self.ground * _DARKEST, self.ground * 1.05)]
        return min(off)


def shown_by(fits: Sequence[Fit], ground: tuple[float, float, float] | None) -> Shown:
    """What the holes of a picture show, told from those that lie in a ring of metal."""
    beside = None if ground is None else np.array(ground)
    ringed = [fit for fit in fits if fit.cover > 0.9 and fit.disc.radius > 3 and _in_metal(fit)]
    if beside is not None:  # on a card, black and white, the ground shows two levels of one colour
        ringed = [fit for fit in ringed if _tinted(fit.inside, beside) < _ALIKE / 2]
    every = _no_pads(ringed)
    shown = _of_rings(every, beside)
    if beside is not None and not len(shown.openings):
        return _of_ground(fits, ringed, beside)
    return shown


def _tinted(colour: Floats, ground: Floats) -> float:
    """How far, grey levels, a colour is from being darker or brighter ground."""
    way = ground / max(float(np.linalg.norm(ground)), 1e-9)
    return float(np.linalg.norm(colour - way * float(way @ colour)))


def _of_ground(fits: Sequence[Fit], ringed: list[Fit], ground: Floats) -> Shown:
    """What holes show where that may be the ground beside the board: what most such discs show."""
    a, b = ground * _DARKEST, ground * 1.05
    insides = [f.inside for f in fits if f.cover > 0.9 and f.disc.radius > 3]
    opening = _commonest([each for each in insides if _off_segment(each, a, b) < _ALIKE / 2])
    if opening is None:
        return Shown(None, np.empty((0, 3)), ground)
    open_ones = [f for f in ringed if np.linalg.norm(f.inside - opening) < _ALIKE]
    metal = _commonest([f.around for f in open_ones if np.linalg.norm(f.around - opening) > _ALIKE])
    return Shown(metal, np.tile(opening, (_FEWEST, 1)), ground)


def _commonest(colours: list[Floats]) -> Floats | None:
    """The middle of the thickest crowd of colours; None where too few are alike."""
    if len(colours) < _FEWEST:
        return None
    every = np.array(colours)
    near = np.linalg.norm(every[:, None] - every[None], axis=2) < 0.75 * _ALIKE
    most = int(np.argmax(near.sum(axis=1)))
    return np.median(every[near[most]], axis=0) if near[most].sum() >= _FEWEST else None


def _of_rings(ringed: list[Fit], beside: Floats | None) -> Shown:
    if beside is not None:
        a, b = beside * _DARKEST, beside * 1.05
        open_ones = [fit for fit in ringed if _off_segment(fit.inside, a, b) < _ALIKE / 2]
        ringed = open_ones if len(open_ones) >= _FEWEST else ringed
    if len(ringed) < _FEWEST:
        return Shown(None, np.empty((0, 3)), beside)
    # The widest rings show their metal unmixed.
    widest = sorted(ringed, key=lambda fit: fit.disc.radius - (fit.ring or 0.0))[
        : max(_FEWEST, len(ringed) // 3)
    ]
    metal = np.median([fit.around for fit in widest], axis=0)
    of_metal = [
        fit.inside
        for fit in ringed
        if np.linalg.norm(fit.around - metal) < 2 * _ALIKE and np.linalg.norm(fit.inside - metal) > _ALIKE
    ]
    if len(of_metal) < _FEWEST:
        return Shown(metal, np.empty((0, 3)), beside)
    inside = np.array(of_metal)
    middle = np.median(inside, axis=0)
    agreed = np.linalg.norm(inside - middle, axis=1) < 0.75 * _ALIKE + 0.1 * np.linalg.norm(middle)
    return Shown(metal, inside[agreed] if agreed.sum() >= _FEWEST else np.empty((0, 3)), beside)


def _no_pads(ringed: list[Fit]) -> list[Fit]:
    """Those whose inside is not what lies around several others: pads and leads are of the rings' metal."""
    if not ringed:
        return ringed
    inside, around = (np.array([getattr(fit, name) for fit in ringed]) for name in ("inside", "around"))
    likeness = np.minimum(_ALIKE, 0.5 * np.linalg.norm(inside - around, axis=1))
    near = np.linalg.norm(inside[:, None] - around[None, :], axis=2) < likeness[:, None]
    return [fit for fit, count in zip(ringed, near.sum(axis=1), strict=True) if count < _FEWEST]


def _in_metal(fit: Fit) -> bool:
    """Whether something lies around the hole that is neither what is in it nor what lies beyond."""
    inner, outer = np.linalg.norm(fit.around - fit.inside), np.linalg.norm(fit.around - fit.beyond)
    across = np.linalg.norm(fit.inside - fit.beyond)
    return bool(fit.ring is not None and inner > 25 and outer > 25 and across > 0.4 * min(inner, outer))


def _off_segment(colour: Floats, a: Floats, b: Floats) -> float:
    way = b - a
    share = float(np.clip((colour - a) @ way / max(float(way @ way), 1e-9), 0, 1))
    return float(np.linalg.norm(colour - a - share * way))
