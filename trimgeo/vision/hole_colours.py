"""What holes show, told from all of them: the ground through their openings, the metal of their rings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trimgeo.vision.hole_fit import LUMA, Fit

Floats = NDArray[np.float64]

_ALIKE = 32.0
"""Distance of two colours, grey levels, that may be one: light falls off, dust is seen through."""
_APART = 14.0
"""Grey levels by which a metal must differ from what holes show, or no rim can be seen in it."""
_NOT_FACE = 24.0
"""Grey levels by which a ring's metal differs from what most of the board's face shows."""
METAL = 90.0
"""Brightness below which nothing that a ring is made of shows in a picture that is exposed for its board."""
_FEWEST = 3
"""Ringed holes that must agree on what the metal is."""
_FLAT = 6.0
"""Pixels: a ring that wide shows its own colour, whatever blur does at its rims."""
_DARKEST = 0.28
"""Of the ground beside the board, the light that a deep hole leaves of it."""
_SMALL = 4.5
"""Pixels: the opening of a hole of a smaller radius is seen mixed with what lies around it."""


@dataclass(frozen=True)
class Shown:
    """Colours (blue, green, red): ``metal`` of the rings, ``opening`` of holes; None where not known.

    ``sure``: holes in rings of metal agree on both.
    """

    metal: Floats | None
    opening: Floats | None
    sure: bool

    def through(self, fit: Fit) -> bool:
        """Whether the ground may be what a hole shows: neither metal, nor ink, nor the board's own face."""
        contrast = float(np.linalg.norm(fit.around - fit.inside))
        if fit.ring is not None and float(np.linalg.norm(fit.inside - fit.beyond)) < 0.25 * contrast:
            return False  # a printed ring or a letter: its inside is the surface again
        if self.opening is None:
            return False
        mixed = 0.5 if fit.disc.radius < _SMALL else 0.0
        off = _off_segment(fit.inside, self.opening, self.opening + mixed * (fit.around - self.opening))
        if self.metal is not None and fit.ring is None:
            off = max(off, off + 0.7 * (off - float(np.linalg.norm(fit.inside - self.metal))))
        return off < _ALIKE


def shown_by(fits: Sequence[Fit], ground: tuple[float, float, float] | None) -> Shown:
    """What the holes of a picture show, told from those that lie in a ring of metal.

    Where none do, a hole shows what most clear discs show; they may be pads, so that nothing is sure.
    """
    beside = None if ground is None else np.array(ground)
    clear = [fit for fit in fits if fit.cover > 0.9 and fit.disc.radius > 3]
    if beside is not None:  # on a card, black and white, the ground shows two levels of one tint
        clear = [fit for fit in clear if _tinted(fit.inside, beside) < _ALIKE / 2]
    surface = _commonest([fit.beyond for fit in fits])
    ringed = [fit for fit in clear if in_metal(fit) and float(fit.around @ LUMA) > METAL]
    if surface is not None:
        ringed = [fit for fit in ringed if np.linalg.norm(fit.around - surface) > _NOT_FACE]
    ringed = _no_pads(ringed)
    if beside is not None:
        a, b = beside * _DARKEST, beside * 1.05
        clear = [fit for fit in clear if _off_segment(fit.inside, a, b) < _ALIKE / 2]
        of_ground = [fit for fit in ringed if _off_segment(fit.inside, a, b) < _ALIKE / 2]
        ringed = of_ground if len(of_ground) >= _FEWEST else ringed
    shown = _of_rings(ringed)
    if shown is not None:
        return shown
    return Shown(None, _commonest([fit.inside for fit in clear]), False)


def _tinted(colour: Floats, ground: Floats) -> float:
    """How far, grey levels, a colour is from being darker or brighter ground."""
    way = ground / max(float(np.linalg.norm(ground)), 1e-9)
    return float(np.linalg.norm(colour - way * float(way @ colour)))


def _commonest(colours: list[Floats]) -> Floats | None:
    """The middle of the thickest crowd of colours; None where there are none."""
    if not colours:
        return None
    every = np.array(colours)
    near = np.linalg.norm(every[:, None] - every[None], axis=2) < 0.75 * _ALIKE
    most = int(np.argmax(near.sum(axis=1)))
    return np.asarray(np.median(every[near[most]], axis=0))


def _of_rings(ringed: list[Fit]) -> Shown | None:
    """Metal and opening of holes in rings; None where too few agree, or both are of one colour."""
    if len(ringed) < _FEWEST:
        return None
    # The widest rings show their metal unmixed.
    widest = sorted(ringed, key=_inwards)[: max(_FEWEST, len(ringed) // 3)]
    metal = _commonest([fit.around for fit in widest])
    assert metal is not None
    of_metal = [
        fit.inside
        for fit in ringed
        if np.linalg.norm(fit.around - metal) < 2 * _ALIKE and np.linalg.norm(fit.inside - metal) > _APART
    ]
    opening = _commonest(of_metal)
    if opening is None:
        return None
    inside = np.array(of_metal)
    agreed = np.linalg.norm(inside - opening, axis=1) < 0.75 * _ALIKE + 0.1 * np.linalg.norm(opening)
    if agreed.sum() < _FEWEST:
        return None
    return Shown(metal, np.asarray(np.median(inside[agreed], axis=0)), True)


def _inwards(fit: Fit) -> float:
    return fit.disc.radius - (fit.ring or 0.0)


def _no_pads(ringed: list[Fit]) -> list[Fit]:
    """Those whose inside is not what lies around several others: pads and leads are of the rings' metal."""
    if not ringed:
        return ringed
    inside, around = (np.array([getattr(fit, name) for fit in ringed]) for name in ("inside", "around"))
    likeness = np.minimum(_ALIKE, 0.5 * np.linalg.norm(inside - around, axis=1))
    near = np.linalg.norm(inside[:, None] - around[None, :], axis=2) < likeness[:, None]
    return [fit for fit, count in zip(ringed, near.sum(axis=1), strict=True) if count < _FEWEST]


def in_metal(fit: Fit) -> bool:
    """Whether a ring lies around the hole that is no blur between what is in it and what lies beyond."""
    inner, outer = np.linalg.norm(fit.around - fit.inside), np.linalg.norm(fit.around - fit.beyond)
    across = float(np.linalg.norm(fit.inside - fit.beyond))
    if fit.ring is None or inner < _APART or outer < _APART or across < 0.4 * min(inner, outer):
        return False
    blurred = _off_segment(fit.around, fit.inside, fit.beyond) < max(_APART, 0.12 * across)
    return not blurred or fit.ring - fit.disc.radius > _FLAT


def _off_segment(colour: Floats, a: Floats, b: Floats) -> float:
    way = b - a
    share = float(np.clip((colour - a) @ way / max(float(way @ way), 1e-9), 0, 1))
    return float(np.linalg.norm(colour - a - share * way))
