"""Many blurred holes fitted to their pixels at once: shapes by Gauss-Newton, levels eliminated from it.

The levels of opening, ring, surface and wall enter linearly: for each shape they are solved for, and the
shape's normal equations are those that remain (variable projection: Golub and Pereyra 1973, with the
slopes that Kaufman 1975 keeps).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from trimgeo.vision.subpixel import blurred_discs

Floats = NDArray[np.float64]

_ROUNDS = 9
_SETTLED = 0.008
"""Pixels: a shape that moves by less is found."""
_LEAST_SPREAD = 0.5
"""Grey levels: rounding alone leaves 0.29 (1 / root 12)."""
_EDGE = (0.06, 0.2)
"""Pixels by which a rim lies off its place in brightness and in colour (JPEG's is of 2 x 2 pixels)."""
_RING_LEAST = 1.2
"""A ring narrower than this, pixels, is none."""
_SHARED = 2.0
"""Neighbouring pixels share their noise after resampling: about four pixels for one."""
_COLOUR_SHARED = 16.0
"""Pixels that share their colour, and how far it is off: JPEG keeps one of 2 x 2, and little of its steps
(tests/bench/board_holes.py, ten of the seeds 202 to 286: with 4 pixels twice as many holes are wrong)."""
_PALE, _COLOURED = 18.0, 2.5
"""A rim that differs by fewer grey levels is seen by its colour alone, and lies off by so many times more
than noise says: JPEG's colour is no Gaussian blur (tests/bench/board_holes.py)."""
_OFF_BY = 1.2
"""Shapes are off by so many times what independent noise of the pixels says, and by the power of 3/4 of how
much more their squares are (tests/bench/board_holes.py, even seeds to 34)."""
_SECTORS = 24
_OFF = 0.25
"""Share of the step at the rim by which pixels of one direction may be off."""
_NOISY = 1.8
"""Or by so many times the picture's noise, if that is more."""
_CHUNK = 64


@dataclass(frozen=True)
class Batch:
    """Holes to fit, n of them with S pixels each, pixels as the unit.

    ``points`` (n, S, 2) are counted from the start's centre, ``colours`` (n, S, channels) what they show and
    ``used`` (n, S) 1 where a pixel counts.  ``shape`` (n, 3): centre and radius to begin with, or
    (n, 6) with the ring's outer radius and how far its middle is off the hole's.  ``blurs`` (n, channels).
    ``foot`` (n, 2), where walls are seen, is the camera's; ``size`` is h / (h + t) (similar triangles);
    ``lit``: the walls are wide enough to be of another level on each side.  ``free``: blurs are fitted too.
    ``known`` (n, 2, channels, 2): what opening and ring are believed to be before: level, and 1 / deviation².
    ``noise`` (channels,) is that of the picture, grey levels.
    """

    points: Floats
    colours: Floats
    used: Floats
    shape: Floats
    blurs: Floats
    known: Floats
    noise: Floats
    foot: Floats | None = None
    size: float = 1.0
    lit: bool = False
    free: bool = False

    def part(self, which: NDArray[np.intp] | NDArray[np.bool_]) -> Batch:
        """The holes that are asked for."""
        return replace(
            self,
            points=self.points[which],
            colours=self.colours[which],
            used=self.used[which],
            shape=self.shape[which],
            blurs=self.blurs[which],
            known=self.known[which],
            foot=None if self.foot is None else self.foot[which],
        )


@dataclass(frozen=True)
class Fitted:
    """What was fitted: ``shape`` as in `Batch`, ``blurs``, ``deviations`` (n, 2) of centre and radius.

    ``contrast`` is the step at the hole's rim over all channels, ``residual`` by how much more than noise
    pixels are off the model (robust standard deviation), ``misfit`` their square sum over the picture's
    noise, of as many as are independent; ``spreads`` (n, channels) are the deviations of each channel and
    ``levels`` (n, channels, columns); ``sound`` is False where the fit ran away.
    ``cover``: share of the directions in which the pixels are like the model.
    """

    shape: Floats
    blurs: Floats
    deviations: Floats
    contrast: Floats
    residual: Floats
    misfit: Floats
    spreads: Floats
    levels: Floats
    cover: Floats
    sound: NDArray[np.bool_]


def fit_holes(batch: Batch) -> Fitted:
    """Fit all holes of a batch; pixels off the model weigh less (Tukey's biweight at 4.7 deviations)."""
    count = len(batch.points)
    parts = [_fit(batch.part(np.arange(a, min(a + _CHUNK, count)))) for a in range(0, max(count, 1), _CHUNK)]
    return Fitted(*(np.concatenate(each) for each in zip(*map(_arrays, parts), strict=True)))


def _arrays(fitted: Fitted) -> tuple[NDArray[np.generic], ...]:
    return tuple(getattr(fitted, name) for name in Fitted.__dataclass_fields__)


@dataclass
class _Basis:
    """Columns (n, S, m) of one blur's design, and slopes (n, S, k) of near, far and outer circle."""

    columns: Floats
    near: Floats
    far: Floats | None
    outer: Floats | None
    ways: Floats | None


def _fit(batch: Batch) -> Fitted:
    free = batch.blurs[:, [0, -1]] if batch.free else np.zeros((len(batch.points), 0))
    shape = np.hstack([batch.shape, free])
    first, limit = shape.copy(), np.maximum(1.5, 0.4 * shape[:, 2])
    weights = np.repeat(batch.used[..., None], batch.colours.shape[2], axis=2) / batch.noise**2
    damping = np.full(len(shape), 1e-3)
    basis = _bases(batch, shape)
    state = _settled(batch, basis, weights)
    weights = _weights(batch, state)
    state = _settled(batch, basis, weights)
    alive, done = np.ones(len(shape), bool), np.zeros(len(shape), bool)
    for turn in range(_ROUNDS):
        go = np.flatnonzero(alive & ~done)
        if not len(go):
            break
        sub = batch.part(go)
        a, g = state["normal"][go], state["push"][go]
        diagonal = np.einsum("nkk->nk", a)
        damped = a + (damping[go, None] * diagonal + 1e-9)[:, :, None] * np.eye(a.shape[1])
        trial = shape[go] - np.clip(np.linalg.solve(damped, g[..., None])[..., 0], -1.0, 1.0)
        good = _sound(batch, trial) & (np.abs(trial - first[go])[:, :3].max(axis=1) <= limit[go])
        trial = np.where(good[:, None], trial, shape[go])
        new = _settled(sub, _bases(sub, trial), weights[go])
        good &= (new["cost"] <= state["cost"][go]) | (turn < 2)
        damping[go] *= np.where(good, 0.1, 10.0)
        done[go] |= good & (np.abs(trial - shape[go]).max(axis=1) < _SETTLED) & (turn > 1)
        alive[go[damping[go] > 1e2]] = False
        took = go[good]
        shape[took] = trial[good]
        for name in state:
            state[name][took] = new[name][good]
        # The next step begins from equations of the old weights: near the end they change little.
        weights[took] = _weights(batch.part(took), {name: each[took] for name, each in state.items()})
        squares = (weights[took] * state["residual"][took] ** 2).sum(axis=(1, 2))
        state["cost"][took] = squares + state["believed"][took]
    return _told(batch, shape, state, weights)


def _ringed(batch: Batch) -> bool:
    return bool(batch.shape.shape[1] > 3)


def _sound(batch: Batch, shape: Floats) -> NDArray[np.bool_]:
    good = np.isfinite(shape).all(axis=1) & (shape[:, 2] > 0.7)
    if _ringed(batch):
        good &= shape[:, 3] > shape[:, 2] + _RING_LEAST
        good &= np.hypot(shape[:, 4], shape[:, 5]) < shape[:, 3] - shape[:, 2]
    if batch.free:
        good &= (shape[:, -2:] > 0.3).all(axis=1) & (shape[:, -2:] < 5.0).all(axis=1)
    return np.asarray(good)


def _bases(batch: Batch, shape: Floats) -> list[_Basis]:
    """The design of brightness, and of colour, whose blur is another."""
    k = shape.shape[1]
    return [_basis(batch, shape, k, n) for n in range(min(2, batch.colours.shape[2]))]


def _basis(batch: Batch, shape: Floats, k: int, channel: int) -> _Basis:
    ringed = _ringed(batch)
    blur = shape[:, k - 2 + channel] if batch.free else batch.blurs[:, channel]
    off = batch.points - shape[:, None, :2]
    at_blur = [k - 2 + channel] if batch.free else []
    near, near_slopes = _circle(off, shape[:, 2], blur, 1.0, [0, 1, 2, *at_blur], k)
    far_slopes = outer_slopes = ways = None
    columns = [near, 1 - near]
    if batch.foot is not None:
        to_far = (batch.foot - shape[:, :2]) * (1 - batch.size)
        far, far_slopes = _circle(
            off - to_far[:, None], shape[:, 2] * batch.size, blur, batch.size, [0, 1, 2, *at_blur], k
        )
        # Both rims run side by side: the blurred opening ends at the one further in (exact for straight
        # rims).
        opening, behind = np.minimum(near, far), (far < near).astype(np.float64)
        wall = near - opening
        columns = [opening, 1 - near, wall]
        far_slopes = far_slopes * behind[..., None]
        near_slopes = np.concatenate([near_slopes, behind[..., None]], axis=2)
        if batch.lit:
            ways = off / np.maximum(np.hypot(off[..., 0], off[..., 1]), 1e-9)[..., None]
            columns += [wall * ways[..., 0], wall * ways[..., 1]]
    if ringed:
        outer, outer_slopes = _circle(
            off - shape[:, None, 4:6], shape[:, 3], blur, 1.0, [0, 1, 3, *at_blur], k
        )
        outer_slopes[..., 4:6] = outer_slopes[..., 0:2]
        columns[1:2] = [outer - near, 1 - outer]
    return _Basis(np.stack(columns, axis=2), near_slopes, far_slopes, outer_slopes, ways)


def _circle(
    off: Floats, radius: Floats, blur: Floats, size: float, places: list[int], k: int
) -> tuple[Floats, Floats]:
    """Blurred discs, (n, S), and their slopes, (n, S, k), with centre, radius and blur at ``places``."""
    r = np.hypot(off[..., 0], off[..., 1])
    value, by_r, by_radius, by_blur = blurred_discs(r, radius[:, None], blur[:, None])
    slopes = np.zeros((*r.shape, k))
    toward = -size * by_r / np.maximum(r, 1e-9)
    slopes[..., places[0]] = toward * off[..., 0]
    slopes[..., places[1]] = toward * off[..., 1]
    slopes[..., places[2]] = by_radius * size
    if len(places) > 3:
        slopes[..., places[3]] = by_blur
    return value, slopes


def _settled(batch: Batch, bases: list[_Basis], weights: Floats) -> dict[str, Floats]:
    """The best levels for given shapes and weights, and the normal equations of the shapes."""
    n, channels = len(weights), weights.shape[2]
    k = batch.shape.shape[1] + 2 * batch.free
    normal, push = np.zeros((n, k, k)), np.zeros((n, k))
    cost, believed = np.zeros(n), np.zeros(n)
    residuals, edges, all_levels = np.empty(weights.shape), np.empty(weights.shape), []
    for c in range(channels):
        basis = bases[min(c, len(bases) - 1)]
        w, design, y = weights[..., c, None], basis.columns, batch.colours[..., c]
        weighted = (design * w).transpose(0, 2, 1)
        inner = weighted @ design
        right = (weighted @ y[..., None])[..., 0]
        for place in range(1 + _ringed(batch)):
            level, trust = batch.known[:, place, c].T
            inner[:, place, place] += trust
            right[:, place] += trust * level
        inner += 1e-5 * np.eye(design.shape[2])
        levels = np.asarray(np.linalg.solve(inner, right[..., None])[..., 0], dtype=np.float64)
        residual = (design @ levels[..., None])[..., 0] - y
        slopes = _slopes(basis, levels, _ringed(batch), k)
        across = weighted @ slopes
        pulled = (slopes * w).transpose(0, 2, 1)
        normal += pulled @ slopes - across.transpose(0, 2, 1) @ np.linalg.solve(inner, across)
        push += (pulled @ residual[..., None])[..., 0]
        cost += (w[..., 0] * residual**2).sum(axis=1)
        for place in range(1 + _ringed(batch)):
            level, trust = batch.known[:, place, c].T
            believed += trust * (levels[:, place] - level) ** 2
        residuals[..., c] = residual
        edges[..., c] = _edges(basis, levels, _ringed(batch)) * _EDGE[min(c, 1)]
        all_levels.append(levels)
    return {
        "normal": normal,
        "push": push,
        "cost": cost + believed,
        "believed": believed,
        "residual": residuals,
        "edges": edges,
        "rim": bases[0].near[..., 2],
        "levels": np.stack(all_levels, axis=1),
    }


def _edges(basis: _Basis, levels: Floats, ringed: bool) -> Floats:
    """By how much the levels change, per pixel of a rim's shift: there no picture is like a Gaussian blur."""
    change = np.abs(basis.near[..., 2] * (levels[:, 0] - levels[:, 1])[:, None])
    if basis.outer is not None:
        change = change + np.abs(basis.outer[..., 3] * (levels[:, 1] - levels[:, 2])[:, None])
    if basis.far is not None:
        change = change + np.abs(basis.far[..., 2] * (levels[:, 0] - levels[:, 2 + ringed])[:, None])
    return np.asarray(change)


def _slopes(basis: _Basis, levels: Floats, ringed: bool, k: int) -> Floats:
    """Slopes of the model with the shape, (n, S, k), for these levels, (n, m)."""
    outside = levels[:, 1, None]
    if basis.far is None:
        slopes = basis.near * (levels[:, 0, None] - outside)[..., None]
    else:
        behind = basis.near[..., -1]
        of_wall = levels[:, 2 + ringed, None]
        if basis.ways is not None:
            of_wall = of_wall + (basis.ways @ levels[:, 3 + ringed :, None])[..., 0]
        inside = (1 - behind) * levels[:, 0, None] + behind * of_wall
        slopes = basis.near[..., :k] * (inside - outside)[..., None]
        slopes += basis.far * (levels[:, 0, None] - of_wall)[..., None]
    if basis.outer is not None:
        slopes += basis.outer * (outside - levels[:, 2, None])[..., None]
    return np.asarray(slopes)


def _spreads(batch: Batch, state: dict[str, Floats]) -> Floats:
    """Robust standard deviation of each hole's channels, (n, channels): of every third pixel."""
    size = np.where(batch.used[:, ::3, None] > 0, np.abs(state["residual"][:, ::3]), np.inf)
    size.sort(axis=1)
    middle = (batch.used[:, ::3].sum(axis=1) / 2).astype(np.intp)
    spreads = 1.4826 * size[np.arange(len(size)), middle] + 0.1
    return np.asarray(np.maximum(spreads, _LEAST_SPREAD))


def _weights(batch: Batch, state: dict[str, Floats]) -> Floats:
    squares = _spreads(batch, state)[:, None] ** 2 + state["edges"] ** 2
    biweight = np.maximum(1 - state["residual"] ** 2 / (4.7**2 * squares), 0.0) ** 2
    independent = np.where(np.arange(squares.shape[2]) > 0, 1 / _COLOUR_SHARED, 1.0)
    return np.asarray(biweight * batch.used[..., None] * independent / squares)


def _told(batch: Batch, shape: Floats, state: dict[str, Floats], weights: Floats) -> Fitted:
    spreads = _spreads(batch, state)
    normal = state["normal"] + 1e-6 * np.eye(shape.shape[1])
    deviations = _OFF_BY * np.sqrt(np.maximum(np.einsum("nkk->nk", np.linalg.inv(normal)), 0.0))
    levels = state["levels"]
    off = (
        np.minimum(state["residual"] ** 2 / (batch.noise**2 + state["edges"] ** 2), 25.0)
        * batch.used[..., None]
    )
    blurs = batch.blurs
    if batch.free:
        blurs = np.column_stack([shape[:, -2]] + [shape[:, -1]] * (blurs.shape[1] - 1))
        shape = shape[:, :-2]
    # A trace that meets the rim is seen in brightness; colour is off its model everywhere.
    at_rim = np.abs(state["rim"]) * batch.used
    unlike = (off[..., 0] * at_rim).sum(axis=1) / np.maximum(at_rim.sum(axis=1), 1e-9)
    deviations *= np.maximum(unlike, 1.0)[:, None] ** 0.75
    faces = levels[:, 0, : 2 + _ringed(batch)]
    deviations *= np.where(np.ptp(faces, axis=1) < _PALE, _COLOURED, 1.0)[:, None]
    return Fitted(
        shape,
        blurs,
        np.column_stack([deviations[:, :2].max(axis=1), deviations[:, 2]]),
        np.linalg.norm(levels[:, :, 0] - levels[:, :, 1], axis=1),
        np.sqrt(np.maximum(spreads**2 - batch.noise**2, 0.0).sum(axis=1)),
        off.sum(axis=(1, 2)) / _SHARED**2,
        spreads,
        levels,
        _cover(batch, state, shape),
        _sound(replace(batch, free=False), shape) & np.isfinite(deviations).all(axis=1),
    )


def _cover(batch: Batch, state: dict[str, Floats], shape: Floats) -> Floats:
    """Share of the directions in which the pixels at the hole's rim are off the model by little."""
    off = batch.points - shape[:, None, :2]
    sector = ((np.arctan2(off[..., 1], off[..., 0]) / np.pi + 1) * _SECTORS / 2).astype(np.intp) % _SECTORS
    place = sector + _SECTORS * np.arange(len(off))[:, None]
    at_rim = np.abs(state["rim"]) * batch.used
    size = np.linalg.norm(state["residual"], axis=2) * at_rim
    total = np.bincount(place.ravel(), size.ravel(), _SECTORS * len(off)).reshape(-1, _SECTORS)
    count = np.bincount(place.ravel(), at_rim.ravel(), _SECTORS * len(off)).reshape(-1, _SECTORS)
    step = np.linalg.norm(state["levels"][:, :, 0] - state["levels"][:, :, 1], axis=1)
    most = np.maximum(_OFF * step, _NOISY * np.linalg.norm(batch.noise))
    seen = count > 1e-6
    like = (total <= most[:, None] * count) & seen
    return np.asarray(like.sum(axis=1) / np.maximum(seen.sum(axis=1), 1))
