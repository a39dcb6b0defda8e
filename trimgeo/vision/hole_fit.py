"""One hole measured: steps around its middle tell its rim and its ring, a fit places them between pixels."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from shapely import Geometry, Point

from trimgeo.model.board import Pixels
from trimgeo.vision.hole_candidates import Walls
from trimgeo.vision.hole_model import Batch, Fitted, fit_holes

Floats = NDArray[np.float64]

_BAND = 4.5
"""Pixels to both sides of a rim that are fitted."""
LUMA = np.array([0.114, 0.587, 0.299])
"""Of blue, green and red (ITU-R BT.601), as JPEG keeps it finer than colour."""
AXES = np.array([LUMA, [1.0, 0.0, 0.0] - LUMA, [0.0, 0.0, 1.0] - LUMA])
"""The channels of a fit: brightness, and what blue and red have more."""
_UNLEARNT = 8.0
"""Grey levels by which what openings and rings show may be off what is believed where none showed it pure."""
_TELLS = 12.0
"""Difference of two fits' square sums that tells which is true (tests/bench/board_holes.py, even seeds to 34:
true of 69 in 71; the likelihood ratio of 400 says nothing of how little pictures are like models)."""
_SAMPLES = 300
"""Pixels of a hole that are fitted, at most."""
NARROW_WALL, _WIDE_WALL = 0.4, 3.0
"""Pixels: a wall narrower is not seen; one wider shows that the light comes from one side."""


@dataclass(frozen=True)
class Disc:
    """A blurred hole in pixels: ``centre`` (column, row), ``radius``, and ``rim`` of a ring or None.

    ``blurs`` are those of brightness and colour; for the rest see `hole_model.Fitted`: ``deviations`` are of
    centre (one direction) and radius.
    """

    centre: tuple[float, float]
    radius: float
    rim: float | None
    blurs: tuple[float, float]
    contrast: float = 0.0
    residual: float = 0.0
    misfit: float = 0.0
    deviations: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True)
class Fit:
    """A hole fitted: its ``disc``, and the colours in its opening, around it and beyond its ring.

    ``cover``: share of the directions in which its rim is seen; ``ring``: the outer radius of a ring, wide
    or not.
    """

    disc: Disc
    inside: Floats
    around: Floats
    beyond: Floats
    cover: float
    ring: float | None
    spreads: tuple[float, ...] = ()


@dataclass(frozen=True)
class Gain:
    """How bright a picture is: 1 + ``slope`` . (at - ``middle``), to ``spread``, one standard deviation."""

    middle: Floats
    slope: Floats
    spread: float

    def at(self, centre: Floats) -> float:
        """The brightness at a pixel (column, row), of that of the middle."""
        return float(1 + self.slope @ (centre - self.middle))


@dataclass(frozen=True)
class Lit:
    """Light that falls under a board from beside: up to ``reach`` pixels from its ``edge`` (also pixels).

    What holes show there is brighter or darker than elsewhere by up to a ``share`` of its brightness.
    """

    edge: Geometry
    reach: float
    share: float

    def at(self, centre: Floats) -> float:
        """By what share what a hole at a pixel (column, row) shows may be brighter or darker than most."""
        near = self.edge.distance(Point(float(centre[0]), float(centre[1]))) < self.reach
        return self.share if near else 0.0


@dataclass(frozen=True)
class Scene:
    """What all holes of a picture share: its ``pixels``, and where their ``walls`` are seen.

    ``blurs`` of brightness and colour and the ``metal`` of the rings (blue, green, red) are None if unknown.
    ``spreads``, grey levels, are how far off opening and metal may be; near the board's edge, ``lit``, more.
    """

    pixels: Pixels
    walls: Walls
    blurs: tuple[float, float] | None = None
    metal: Floats | None = None
    gain: Gain | None = None
    spreads: tuple[float, float] = (_UNLEARNT, _UNLEARNT)
    lit: Lit | None = None
    noise: Floats = field(default_factory=lambda: np.array([3.0, 3.0, 3.0]))


def _fits(
    scene: Scene,
    begun: Sequence[Fit],
    radii: Sequence[tuple[float, float | None]],
    bands: Sequence[tuple[float, float]],
    free: bool = False,
) -> list[Fit | None]:
    """Fits of radius and ring ``radii`` begun at ``begun``, of pixels in ``bands``: one kind at once.

    ``free``: blurs are fitted too, and nothing is believed of levels.
    """
    told: list[Fit | None] = [None] * len(begun)
    shifts = scene.walls.shift(np.array([fit.disc.centre for fit in begun]).reshape(-1, 2))
    walls = np.hypot(*shifts.T)
    kinds: dict[tuple[bool, int], list[int]] = {}
    for n, (_, rim) in enumerate(radii):
        kind = (rim is not None, int(walls[n] > NARROW_WALL) + int(walls[n] > _WIDE_WALL))
        kinds.setdefault(kind, []).append(n)
    for (ringed, wall), which in sorted(kinds.items()):
        batch, kept = _batch(scene, begun, radii, which, shifts, bands)
        if free:
            batch = replace(batch, known=np.zeros_like(batch.known))
        if not kept:
            continue
        made = fit_holes(replace(batch, foot=batch.foot if wall else None, lit=wall > 1, free=free))
        for row, n in enumerate(kept):
            told[n] = _told(begun[n], made, row, ringed)
    return told


def _batch(
    scene: Scene,
    begun: Sequence[Fit],
    radii: Sequence[tuple[float, float | None]],
    which: list[int],
    shifts: Floats,
    bands: Sequence[tuple[float, float]],
) -> tuple[Batch, list[int]]:
    """The pixels of holes of one kind, and which of them have enough."""
    kept, offs, colours, shapes = [], [], [], []
    for n in which:
        radius, rim = radii[n]
        at = np.array(begun[n].disc.centre)
        points, shown = _band(scene.pixels, at, radius, *bands[n], shifts[n])
        if len(points) < 20:
            continue
        kept.append(n)
        offs.append(points - at)
        colours.append(shown @ AXES.T)
        shapes.append([0.0, 0.0, radius] if rim is None else [0.0, 0.0, radius, rim, 0.0, 0.0])
    most = max(map(len, offs), default=0)
    used = np.array([np.arange(most) < len(each) for each in offs], dtype=np.float64).reshape(-1, most)
    blurs = (1.0, 1.8) if scene.blurs is None else scene.blurs
    centres = np.array([begun[n].disc.centre for n in kept]).reshape(-1, 2)
    known = np.zeros((len(kept), 2, 3, 2))
    for row, n in enumerate(kept):
        centre = np.array(begun[n].disc.centre)
        uneven = 0.0 if scene.lit is None else scene.lit.at(centre)
        known[row, 0] = _believed(scene, begun[n].inside, centre, scene.spreads[0], uneven)
        if scene.metal is not None and radii[n][1] is not None:
            known[row, 1] = _believed(scene, scene.metal, centre, scene.spreads[1], 0.0)
    batch = Batch(
        _padded(offs, most, 2),
        _padded(colours, most, 3),
        used,
        np.array(shapes),
        np.tile([blurs[0], blurs[1], blurs[1]], (len(kept), 1)),
        known,
        scene.noise,
        np.array(scene.walls.foot) - centres,
        1 - scene.walls.share,
    )
    return batch, kept


def _padded(parts: Sequence[Floats], most: int, width: int) -> Floats:
    """Rows of up to ``most`` values of so many numbers each, filled up with zeros: (n, most, width)."""
    every = np.zeros((len(parts), most, width))
    for row, part in enumerate(parts):
        every[row, : len(part)] = part
    return every


def _believed(scene: Scene, colour: Floats, centre: Floats, off: float, uneven: float) -> Floats:
    """Levels of a colour at a place and 1 / deviation², (channels, 2).

    ``off`` is how far, grey levels, it may be off, and ``uneven`` by what share it may be in another light.
    """
    gain = Gain(centre, np.zeros(2), 0.05) if scene.gain is None else scene.gain
    levels = AXES @ colour * gain.at(centre)
    spread = np.array([gain.spread * levels[0] + off / 4, *[off / 2] * 2]) + uneven * np.abs(levels)
    return np.column_stack([levels, spread**-2])


def learnt(scene: Scene, begun: Sequence[Fit]) -> list[Fit]:
    """Holes fitted with nothing believed of blurs and levels."""
    radii = [(start.disc.radius, start.disc.rim) for start in begun]
    bands = [(a - _BAND, (a + 1.0 if b is None else b) + 3.0) for a, b in radii]
    made = _fits(scene, begun, radii, bands, free=True)
    return [fit for fit in made if fit is not None]


def best_of(scene: Scene, begun: Sequence[Sequence[Fit]]) -> list[Fit]:
    """For each centre the likeliest of its starts on the same pixels; unsure where others are as likely."""
    flat = [start for each in begun for start in each]
    radii = [(start.disc.radius, start.disc.rim) for start in flat]
    bands = []
    for each in begun:
        sizes = [(start.disc.radius, start.disc.rim or start.disc.radius + 1.0) for start in each]
        bands += (
            [(min(a for a, _ in sizes) - _BAND, max(b for _, b in sizes) + 3.0)] * len(each) if each else []
        )
    made = _fits(scene, flat, radii, bands)
    told, at = [], 0
    for each in begun:
        fits = [fit for fit in made[at : at + len(each)] if fit is not None]
        at += len(each)
        if fits:
            told.append(_likeliest(fits))
    return told


def _likeliest(fits: list[Fit]) -> Fit:
    best = min(fits, key=lambda fit: fit.disc.misfit)
    enough = best.disc.misfit + max(_TELLS, 0.02 * best.disc.misfit)
    apart = max(abs(fit.disc.radius - best.disc.radius) for fit in fits if fit.disc.misfit <= enough)
    deviations = (best.disc.deviations[0], max(best.disc.deviations[1], apart / 2))
    return replace(best, disc=replace(best.disc, deviations=deviations))


def _told(start: Fit, made: Fitted, row: int, ringed: bool) -> Fit | None:
    """What a fit says of the hole it began with; None where that is none."""
    if not made.sound[row] or made.contrast[row] < 10 or made.residual[row] > 0.2 * made.contrast[row]:
        return None
    x, y, radius = made.shape[row, :3]
    disc = Disc(
        (start.disc.centre[0] + float(x), start.disc.centre[1] + float(y)),
        float(radius),
        float(made.shape[row, 3]) if ringed else None,
        (float(made.blurs[row, 0]), float(made.blurs[row, 1])),
        float(made.contrast[row]),
        float(made.residual[row]),
        float(made.misfit[row]),
        (float(made.deviations[row, 0]), float(made.deviations[row, 1])),
    )
    cover = min(start.cover, float(made.cover[row]))
    colours = made.levels[row].T @ np.linalg.inv(AXES).T
    return replace(
        start,
        disc=disc,
        ring=disc.rim if ringed else start.ring,
        cover=cover,
        inside=colours[0],
        around=colours[1],
        # Beyond a wide ring, whose outer rim is left out, lies what was seen there to begin with.
        beyond=colours[2] if ringed else (colours[1] if start.ring is None else start.beyond),
        spreads=tuple(made.spreads[row].tolist()),
    )


def _band(
    pixels: Pixels, at: Floats, radius: float, innermost: float, outermost: float, shift: Floats
) -> tuple[Floats, Floats]:
    """Positions, (n, 2), and colours, (n, 3), of the pixels about both rims of a hole."""
    low = np.maximum(np.floor(at - outermost - 1), 0).astype(int)
    high = np.minimum(np.ceil(at + outermost + 1) + 1, [pixels.shape[1], pixels.shape[0]]).astype(int)
    if (high - low < 3).any():
        return np.empty((0, 2)), np.empty((0, 3))
    patch = pixels[low[1] : high[1], low[0] : high[0]]
    x, y = np.arange(low[0], high[0])[None, :] - at[0], np.arange(low[1], high[1])[:, None] - at[1]
    r = np.hypot(x, y)
    far = np.hypot(x - shift[0], y - shift[1])
    use = (r <= outermost) & ((r >= innermost) | (np.abs(far - radius) < _BAND))
    row, column = np.nonzero(use)
    if len(row) > _SAMPLES:
        some = np.linspace(0, len(row) - 1, _SAMPLES).astype(np.intp)
        row, column = row[some], column[some]
    points = np.column_stack([column + low[0], row + low[1]]).astype(np.float64)
    return points, patch[row, column].astype(np.float64)
