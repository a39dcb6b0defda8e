"""Holes as a blurred picture shows them, in pixels: the profile of a disc, the fit of a hole to pixels.

The blur is taken as Gaussian: lens, focus, pixel aperture and resampling together come near one
(central limit theorem, elementary).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(24)


def normal_below(z: Floats) -> Floats:
    """The share of a normal distribution below ``z`` (any shape), to 1e-7: Abramowitz and Stegun 7.1.26.

    >>> normal_below(np.array([-1.0, 0.0, 1.959964])).round(4).tolist()
    [0.1587, 0.5, 0.975]
    """
    x = np.abs(z) / np.sqrt(2)
    t = 1 / (1 + 0.3275911 * x)
    series = t * (0.254829592 + t * (-0.284496736 + t * (1.421413741 + t * (-1.453152027 + t * 1.061405429))))
    upper = 1 - 0.5 * series * np.exp(-x * x)
    return np.asarray(np.where(z >= 0, upper, 1 - upper), dtype=np.float64)


def blurred_disc(r: Floats, radius: float, blur: float) -> Floats:
    """Brightness, 0 to 1, at distance ``r`` from the centre of a disc that is 1, blurred; pixels.

    The disc is cut into chords along one axis: each is a blurred interval, and the chords are
    summed with the blur's weight across them (Fubini).  A small disc's half level lies well
    inside its rim, which is why a threshold alone shrinks small holes.

    >>> blurred_disc(np.array([0.0, 5.0, 9.0]), 5.0, 1.0).round(3).tolist()
    [1.0, 0.46, 0.0]
    """
    if radius > 4 * blur:  # a gently bent edge: the half level moves in by blur²/2R (expansion in blur/R)
        return np.asarray(normal_below((radius - r) / blur - blur / (2 * radius)), dtype=np.float64)
    half = min(radius, 5 * blur)
    # Nodes crowd at the ends (sine), where a chord of a small disc shrinks as a square root.
    angle = _NODES * np.pi / 2
    across = half * np.sin(angle)
    weight = _WEIGHTS * np.pi / 2 * half * np.cos(angle)
    weight = weight * np.exp(-0.5 * (across / blur) ** 2) / (blur * np.sqrt(2 * np.pi))
    chord = np.sqrt(np.maximum(radius**2 - across**2, 0.0))
    ends = normal_below((chord - r[..., None]) / blur) - normal_below((-chord - r[..., None]) / blur)
    return np.asarray(ends @ weight)


_KNOWN = 1e4
"""Weight, in pixels, of a level that is known."""


@dataclass(frozen=True)
class Disc:
    """A blurred hole fitted to pixels: ``centre`` (column, row) and ``radius`` in pixels.

    ``rim`` is the outer radius of the ring around it, None without one; ``blurs`` are of each channel.
    ``contrast`` is the step at the hole's rim over all channels, ``residual`` the robust standard
    deviation of the pixels about the model, ``misfit`` their mean distance from it, and ``deviations``
    those of centre (one direction) and radius.
    """

    centre: tuple[float, float]
    radius: float
    rim: float | None
    blurs: tuple[float, ...]
    contrast: float = 0.0
    residual: float = 0.0
    misfit: float = 0.0
    deviations: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True)
class Channel:
    """One brightness of the pixels, (n,): its ``blur``, pixels, None to fit it; its ring's level if known."""

    values: Floats
    blur: float | None
    ring_level: float | None = None


@dataclass(frozen=True)
class Far:
    """Where the far rim of a hole is seen: at ``foot + (centre - foot) * size``, smaller by ``size``.

    ``foot`` (column, row) is the camera's; ``size`` is h / (h + t) at height h over a board of thickness t
    (similar triangles).  ``lit``: the wall is wide enough to be of another level on each side.
    """

    foot: tuple[float, float]
    size: float
    lit: bool


def fit_disc(
    points: Floats, channels: Sequence[Channel], start: Disc, far: Far | None = None, rounds: int = 10
) -> Disc | None:
    """Fit a blurred hole, with a ring where ``start`` has one, to pixels around it.

    ``points`` (n, 2) are pixel positions, ``channels`` their brightnesses.  With ``far`` the hole's
    opening is what both rims have in common, the rest of it is wall.  Gauss-Newton with damping on shape and
    levels together; the levels, linear, are solved anew after each step; pixels off the model weigh less
    (Tukey's biweight at 4.7 robust standard deviations: textbook).  None where the fit runs away.
    """
    model = _Model(points, tuple(channels), start, far)
    shape = model.first()
    first, limit = shape.copy(), max(1.5, 0.4 * start.radius)
    weights, damping = np.ones((len(points), len(channels))), 1e-3
    state = model.solved(shape, weights)
    cost = state.cost(weights)
    for turn in range(rounds):
        normal = state.normal(weights)
        normal += damping * np.diag(np.diag(normal) + 1e-9)
        step = np.linalg.solve(normal, state.push(weights))[: len(shape)]
        trial = shape - np.clip(step, -1.0, 1.0)
        if not model.sound(trial) or np.abs(trial - first)[:3].max() > limit:
            damping *= 10
            if damping > 1e3:
                return None
            continue
        new = model.solved(trial, weights)
        if new.cost(weights) > cost and turn > 1:
            damping *= 10
            if damping > 1e3:
                break
            continue
        settled = np.abs(trial - shape).max() < 0.004
        shape, state = trial, new
        damping = max(damping / 10, 1e-6)
        weights = state.weights()
        cost = state.cost(weights)
        if settled and turn > 1:
            break
    return model.disc(shape, state, weights)


@dataclass(frozen=True)
class _State:
    """Levels (channels, m), residuals (n, channels), their slopes (n, channels, k), designs (n, m)."""

    levels: Floats
    residual: Floats
    slopes: Floats
    designs: tuple[Floats, ...]

    def spreads(self) -> Floats:
        spreads = 1.4826 * np.median(np.abs(self.residual), axis=0) + 0.1
        # Without noise, a rim that is not quite the model's would be an outlier as a whole.
        return np.asarray(np.maximum(spreads, 0.015 * np.abs(self.levels[:, 0] - self.levels[:, 1])))

    def weights(self) -> Floats:
        """Tukey's, and each channel by its own noise; the mean channel weighs one."""
        spreads = self.spreads()
        share = spreads**-2 / np.mean(spreads**-2)
        return np.maximum(1 - (self.residual / (4.7 * spreads)) ** 2, 0.0) ** 2 * share

    def cost(self, weights: Floats) -> float:
        return float((weights * self.residual**2).sum())

    def normal(self, weights: Floats) -> Floats:
        k, m = self.slopes.shape[2], self.levels.shape[1]
        total = np.zeros((k + m * len(self.designs),) * 2)
        for n, design in enumerate(self.designs):
            slopes, weighted = self.slopes[:, n], design * weights[:, n, None]
            part = slice(k + n * m, k + (n + 1) * m)
            total[:k, :k] += (slopes * weights[:, n, None]).T @ slopes
            total[:k, part] = slopes.T @ weighted
            total[part, :k] = total[:k, part].T
            total[part, part] = weighted.T @ design
        return total

    def push(self, weights: Floats) -> Floats:
        pulled = weights * self.residual
        parts = [np.einsum("nck,nc->k", self.slopes, pulled)]
        return np.concatenate(parts + [design.T @ pulled[:, n] for n, design in enumerate(self.designs)])


class _Model:
    """The pixels of one fit; a shape is (column, row, radius[, rim], blurs that are not known)."""

    def __init__(self, points: Floats, channels: tuple[Channel, ...], start: Disc, far: Far | None) -> None:
        self.points, self.channels, self.start, self.far = points, channels, start, far
        self.ring = start.rim is not None
        at = 3 + self.ring
        self.places: list[int | None] = []  # of each channel's blur within a shape
        for channel in channels:
            self.places.append(at if channel.blur is None else None)
            at += channel.blur is None
        self.size = at

    def first(self) -> Floats:
        shape = [*self.start.centre, self.start.radius]
        if self.start.rim is not None:
            shape.append(self.start.rim)
        shape += [b for b, place in zip(self.start.blurs, self.places, strict=True) if place is not None]
        return np.array(shape, dtype=np.float64)

    def blurs(self, shape: Floats) -> tuple[float, ...]:
        pairs = zip(self.channels, self.places, strict=True)
        return tuple(float(c.blur if c.blur is not None else shape[place]) for c, place in pairs)

    def sound(self, shape: Floats) -> bool:
        return bool(
            np.isfinite(shape).all()
            and shape[2] > 0.7
            and all(0.3 < blur < 5.0 for blur in self.blurs(shape))
            and (not self.ring or shape[3] > shape[2] + 0.5)
        )

    def solved(self, shape: Floats, weights: Floats) -> _State:
        """The best levels for a shape, what is left of the pixels then, and its slopes with the shape."""
        off = self.points - shape[:2]
        parts = [
            self._channel(channel, off, shape, blur, place, weights[:, n])
            for n, (channel, blur, place) in enumerate(
                zip(self.channels, self.blurs(shape), self.places, strict=True)
            )
        ]
        levels, residuals, slopes, designs = zip(*parts, strict=True)
        return _State(np.array(levels), np.column_stack(residuals), np.stack(slopes, axis=1), designs)

    def _channel(
        self, channel: Channel, off: Floats, shape: Floats, blur: float, place: int | None, weights: Floats
    ) -> tuple[Floats, Floats, Floats, Floats]:
        radius = float(shape[2])
        near, near_slopes = _circle(off, radius, blur, 1.0)
        columns = [near, 1 - near]
        ways = None
        if self.far is not None:
            to_far = (np.array(self.far.foot) - shape[:2]) * (1 - self.far.size)
            far, far_slopes = _circle(off - to_far, radius * self.far.size, blur, self.far.size)
            wall = near * (1 - far)
            columns = [near * far, 1 - near, wall]
            if self.far.lit:
                ways = off / np.maximum(np.hypot(*off.T), 1e-9)[:, None]
                columns += [wall * ways[:, 0], wall * ways[:, 1]]
        if self.ring:
            outer, outer_slopes = _circle(off, float(shape[3]), blur, 1.0)
            columns[1:2] = [outer - near, 1 - outer]
        design = np.column_stack(columns)
        levels = _levels(design, channel, weights)
        residual = design @ levels - channel.values
        shared = [0, 1, 2] + ([] if place is None else [place])
        used = len(shared)
        slopes = np.zeros((len(off), self.size))
        inside = np.full(len(off), levels[0])
        if self.far is not None:
            of_wall = np.full(len(off), levels[2 + self.ring])
            if ways is not None:
                of_wall += ways @ levels[3 + self.ring :]
            slopes[:, shared] += (far_slopes * (near * (levels[0] - of_wall))[:, None])[:, :used]
            inside = far * levels[0] + (1 - far) * of_wall
        slopes[:, shared] += (near_slopes * (inside - levels[1])[:, None])[:, :used]
        if self.ring:
            shared[2] = 3
            slopes[:, shared] += (outer_slopes * (levels[1] - levels[2]))[:, :used]
        if channel.ring_level is not None:
            design[:, 1] = 0.0  # it is known: no step of the fit may pay with it
        return levels, residual, slopes, design

    def disc(self, shape: Floats, state: _State, weights: Floats) -> Disc:
        normal = state.normal(weights / np.mean(state.spreads() ** -2) ** -1)
        normal += 1e-6 * np.eye(len(normal))
        # Neighbouring pixels share their noise after resampling: about four pixels for one.
        deviations = 2 * np.sqrt(np.maximum(np.diag(np.linalg.inv(normal)), 0.0))
        return Disc(
            (float(shape[0]), float(shape[1])),
            float(shape[2]),
            float(shape[3]) if self.ring else None,
            self.blurs(shape),
            float(np.linalg.norm(state.levels[:, 0] - state.levels[:, 1])),
            float(np.linalg.norm(state.spreads())),
            float(np.linalg.norm(np.abs(state.residual).mean(axis=0))),
            (float(deviations[:2].max()), float(deviations[2])),
        )


def _levels(design: Floats, channel: Channel, weights: Floats) -> Floats:
    weighted = design * weights[:, None]
    normal = weighted.T @ design + 1e-3 * np.eye(design.shape[1])
    right = weighted.T @ channel.values
    if channel.ring_level is not None:
        normal[1, 1] += _KNOWN
        right[1] += _KNOWN * channel.ring_level
    return np.asarray(np.linalg.solve(normal, right), dtype=np.float64)


def _circle(off: Floats, radius: float, blur: float, size: float) -> tuple[Floats, Floats]:
    """A blurred disc, (n,), and its slopes, (n, 4), with the near rim's centre and radius, and blur."""
    r = np.hypot(*off.T)
    grid = np.arange(max(0.0, radius - 5 * blur), radius + 5 * blur, 0.3 * blur)
    profile = blurred_disc(grid, radius, blur)
    value = np.asarray(np.interp(r, grid, profile), dtype=np.float64)
    fall = np.interp(r, grid, np.gradient(profile, grid), 0.0, 0.0)
    toward = -(fall / np.maximum(r, 1e-9))[:, None] * off
    return value, np.column_stack([toward * size, -fall * size, -fall * (r - radius) / blur])
