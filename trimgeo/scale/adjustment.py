"""One least-squares adjustment of cameras, lenses and sheets from the corners they show."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from trimgeo.scale.bend import LOWEST, TERMS, shapes
from trimgeo.scale.camera import CAMERA, RADIAL, Camera, rotation

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

TAIL: Final = 8.0
"""Degrees of freedom of Student's t for a corner's miss: a Gaussian's core, and outliers let go."""

_TRUST: Final = 20.0
"""Readings that the stated sigma counts for when the misses say how good the corners really are."""

_LEAST_SHARE: Final = 0.5
"""A stated sigma is not taken for less than this share of itself: its errors may be common to neighbours."""

_ROUNDS, _STEPS = 6, 30

_SETTLED = 1e-4
"""A step that gains less log likelihood than this tells nothing."""


@dataclass(frozen=True, eq=False)
class Sheet:
    """A flat target: what is known beforehand of its scale and its bend.

    ``scale`` is true / nominal length as (mean of x and y, half their difference), ``scale_known`` their
    standard uncertainties; ``bend_known`` (TERMS,) and ``own_bend`` (LOWEST,) those, in mm, of the bend
    that all pictures of it share and of what each has besides.
    """

    half: Floats
    scale: Floats
    scale_known: Floats
    bend_known: Floats
    own_bend: Floats


@dataclass(frozen=True, eq=False)
class Sight:
    """A picture of a sheet: corners ``at`` (n, 2), nominal mm from its middle, seen at ``pixels``.

    ``known`` (16,) are standard uncertainties of the ``start`` camera's parameters beforehand, inf where
    nothing is known; sights of the same ``maker`` share their radial terms.  ``heights`` (h,) are the
    standard uncertainties of the heights of the shown face.
    """

    at: Floats
    pixels: Floats
    sigma: Floats
    start: Camera
    known: Floats
    sheet: int
    maker: int
    heights: Floats


@dataclass(frozen=True, eq=False)
class Layout:
    """Where each sight's parameters stand among all ``count``: its corners see the first ``seen`` of them."""

    count: int
    columns: list[Ints]
    seen: int


@dataclass(frozen=True, eq=False)
class State:
    """Parameters, shape (p,), and the turns of the cameras."""

    values: Floats
    turns: list[Floats]


@dataclass(frozen=True, eq=False)
class Adjusted:
    """What the corners say.

    ``information`` and ``pull`` are of the readings alone, ``prior`` the precision and ``expected`` the
    values of what is known beforehand; ``spread`` (v,) is what each sight's sigma had to be multiplied by;
    ``weights`` are of each corner.
    """

    sheets: tuple[Sheet, ...]
    sights: tuple[Sight, ...]
    layout: Layout
    state: State
    expected: Floats
    prior: Floats
    information: Floats
    pull: Floats
    spread: Floats
    weights: list[Floats]
    misses: list[Floats]

    @property
    def covariance(self) -> Floats:
        """Of all parameters, shape (p, p)."""
        return inverse(self.information + np.diag(self.prior))

    def camera(self, v: int) -> Camera:
        """The camera of sight v."""
        return _camera(self.sights[v], self.layout, self.state, v)

    def scale(self, v: int) -> Floats:
        """True / nominal length of the sheet of sight v, x and y."""
        mean, half = self.state.values[self.layout.columns[v][CAMERA : CAMERA + 2]]
        return np.array([mean + half, mean - half])

    def bend(self, v: int) -> Floats:
        """Bend of the sheet in sight v, shape (TERMS,), mm."""
        return _bend(self.layout, self.state, v)


def inverse(matrix: Floats) -> Floats:
    """Inverse of a positive definite matrix whose entries' sizes differ by many powers of ten."""
    scale = np.sqrt(np.diag(matrix))
    return np.asarray(np.linalg.inv(matrix / np.outer(scale, scale)) / np.outer(scale, scale))


def laid_out(sheets: Sequence[Sheet], sights: Sequence[Sight]) -> Layout:
    """Columns of each sight: camera (16), scale (2), bend (TERMS), own bend (LOWEST), heights."""
    taken = 0

    def new(count: int) -> Ints:
        nonlocal taken
        taken += count
        return np.arange(taken - count, taken)

    sheet_columns = [new(2 + TERMS) for _ in sheets]
    radial = {maker: new(3) for maker in sorted({sight.maker for sight in sights})}
    columns = []
    for sight in sights:
        camera = new(CAMERA - 3)
        camera = np.concatenate([camera[: RADIAL.start], radial[sight.maker], camera[RADIAL.start :]])
        columns.append(
            np.concatenate([camera, sheet_columns[sight.sheet], new(LOWEST), new(len(sight.heights))])
        )
    return Layout(taken, columns, CAMERA + 2 + TERMS + LOWEST)


def adjusted(sheets: Sequence[Sheet], sights: Sequence[Sight], start: Adjusted | None = None) -> Adjusted:
    """All parameters by maximum posterior.

    Student's t for the corners, Gaussians for what is known beforehand.
    Levenberg's method on the reweighted normal equations; between rounds each sight's sigma is multiplied
    by what its misses say (the EM step for the scale of a t distribution, Lange, Little and Taylor 1989),
    with the stated sigma counting as `_TRUST` readings.  The information of a reading is
    (TAIL + 2)/(TAIL + 4) of the weighted one (Fisher's, the same paper).
    """
    layout = laid_out(sheets, sights)
    expected, prior = _beforehand(sheets, sights, layout)
    if start is None:
        state = State(expected.copy(), [sight.start.turn for sight in sights])
        spread = _first_spread(sheets, sights, layout, state)
    else:
        state, spread = start.state, start.spread
    for _ in range(_ROUNDS):
        state, moved = _settled(sheets, sights, layout, state, expected, prior, spread)
        misses, slopes = _linear(sheets, sights, layout, state)
        weights = [_weights(m, s.sigma * k) for m, s, k in zip(misses, sights, spread, strict=True)]
        information, pull = _normal(sights, layout, misses, slopes, weights, spread)
        covariance = inverse(information + np.diag(prior))
        told = _spreads(sights, layout, misses, slopes, weights, spread, covariance)
        done = np.abs(told / spread - 1).max() < 0.01 and moved
        spread = told
        if done:
            break
    fisher = (TAIL + 2) / (TAIL + 4)
    return Adjusted(
        tuple(sheets), tuple(sights), layout, state, expected, prior,
        information * fisher, pull * fisher, spread, weights, misses,
    )  # fmt: skip


def _beforehand(sheets: Sequence[Sheet], sights: Sequence[Sight], layout: Layout) -> tuple[Floats, Floats]:
    expected, known = np.zeros(layout.count), np.full(layout.count, np.inf)
    for sight, columns in zip(sights, layout.columns, strict=True):
        sheet = sheets[sight.sheet]
        expected[columns[:CAMERA]] = sight.start.parameters
        known[columns[:CAMERA]] = sight.known
        expected[columns[CAMERA : CAMERA + 2]] = sheet.scale
        known[columns[CAMERA:]] = np.concatenate(
            [sheet.scale_known, sheet.bend_known, sheet.own_bend, sight.heights]
        )
    return expected, 1 / known**2


def _camera(sight: Sight, layout: Layout, state: State, v: int) -> Camera:
    step = state.values[layout.columns[v][:CAMERA]] - sight.start.parameters
    return replace(sight.start.moved(step), turn=state.turns[v])


def _bend(layout: Layout, state: State, v: int) -> Floats:
    first = CAMERA + 2
    bend = state.values[layout.columns[v][first : first + TERMS]].copy()
    bend[:LOWEST] += state.values[layout.columns[v][first + TERMS : first + TERMS + LOWEST]]
    return bend


def _places(sight: Sight, sheet: Sheet, layout: Layout, state: State, v: int, heights: Floats) -> Floats:
    mean, half = state.values[layout.columns[v][CAMERA : CAMERA + 2]]
    flat = sight.at * [mean + half, mean - half]
    return np.column_stack([flat, heights @ _bend(layout, state, v)])


def _misses(sheets: Sequence[Sheet], sights: Sequence[Sight], layout: Layout, state: State) -> list[Floats]:
    found = []
    for v, sight in enumerate(sights):
        sheet = sheets[sight.sheet]
        places = _places(sight, sheet, layout, state, v, shapes(sight.at, sheet.half))
        found.append(sight.pixels - _camera(sight, layout, state, v).seen(places))
    return found


def _linear(
    sheets: Sequence[Sheet], sights: Sequence[Sight], layout: Layout, state: State
) -> tuple[list[Floats], list[Floats]]:
    """Seen less predicted, (n, 2), and d(predicted)/d(own parameters), (n, 2, seen), of each sight."""
    slopes = []
    for v, sight in enumerate(sights):
        sheet = sheets[sight.sheet]
        heights = shapes(sight.at, sheet.half)
        places = _places(sight, sheet, layout, state, v, heights)
        by_camera, by_place = _camera(sight, layout, state, v).slopes(places)
        by = np.empty((len(places), 2, layout.seen))
        by[:, :, :CAMERA] = by_camera
        by[:, :, CAMERA] = (by_place[:, :, :2] @ sight.at[:, :, None])[:, :, 0]
        by[:, :, CAMERA + 1] = (by_place[:, :, :2] @ (sight.at * [1, -1])[:, :, None])[:, :, 0]
        by[:, :, CAMERA + 2 : CAMERA + 2 + TERMS] = by_place[:, :, 2:] * heights[:, None, :]
        by[:, :, CAMERA + 2 + TERMS :] = by[:, :, CAMERA + 2 : CAMERA + 2 + LOWEST]
        slopes.append(by)
    return _misses(sheets, sights, layout, state), slopes


def _weights(misses: Floats, sigma: Floats) -> Floats:
    return np.asarray((TAIL + 2) / (TAIL + (misses**2).sum(axis=1) / sigma**2))


def _normal(
    sights: Sequence[Sight],
    layout: Layout,
    misses: list[Floats],
    slopes: list[Floats],
    weights: list[Floats],
    spread: Floats,
) -> tuple[Floats, Floats]:
    information, pull = np.zeros((layout.count, layout.count)), np.zeros(layout.count)
    for v, sight in enumerate(sights):
        root = np.sqrt(weights[v]) / (sight.sigma * spread[v])
        by = (slopes[v] * root[:, None, None]).reshape(-1, layout.seen)
        columns = layout.columns[v][: layout.seen]
        information[np.ix_(columns, columns)] += by.T @ by
        pull[columns] -= by.T @ (misses[v] * root[:, None]).ravel()
    return information, pull


def _cost(sights: Sequence[Sight], misses: list[Floats], spread: Floats, off: Floats, prior: Floats) -> float:
    total = 0.5 * float((prior * off**2).sum())
    for v, sight in enumerate(sights):
        squares = (misses[v] ** 2).sum(axis=1) / (sight.sigma * spread[v]) ** 2
        total += (TAIL + 2) / 2 * float(np.log1p(squares / TAIL).sum())
    return total


def _settled(
    sheets: Sequence[Sheet],
    sights: Sequence[Sight],
    layout: Layout,
    state: State,
    expected: Floats,
    prior: Floats,
    spread: Floats,
) -> tuple[State, bool]:
    """The state of least cost for given spreads, and whether it was reached."""
    damping = 1e-6
    misses, slopes = _linear(sheets, sights, layout, state)
    cost = _cost(sights, misses, spread, state.values - expected, prior)
    for _ in range(_STEPS):
        weights = [_weights(m, s.sigma * k) for m, s, k in zip(misses, sights, spread, strict=True)]
        information, pull = _normal(sights, layout, misses, slopes, weights, spread)
        slope = pull + prior * (state.values - expected)
        total = information + np.diag(prior)
        while True:
            step = -inverse(total + damping * np.diag(np.diag(total))) @ slope
            tried = moved_by(layout, state, step)
            tried_misses = _misses(sheets, sights, layout, tried)
            tried_cost = _cost(sights, tried_misses, spread, tried.values - expected, prior)
            if tried_cost <= cost or damping > 1e8:
                break
            damping *= 10
        if not tried_cost <= cost:
            return state, True
        gain = cost - tried_cost
        state, cost, damping = tried, tried_cost, max(damping / 10, 1e-12)
        misses, slopes = _linear(sheets, sights, layout, state)
        if gain < _SETTLED:
            return state, True
    return state, False


def moved_by(layout: Layout, state: State, step: Floats) -> State:
    """The state with every parameter moved, shape (p,); turns by rotation vectors."""
    step = step.copy()
    turns = []
    for columns, turn in zip(layout.columns, state.turns, strict=True):
        turns.append(rotation(step[columns[10:13]]) @ turn)
        step[columns[10:13]] = 0.0
    return State(state.values + step, turns)


def _first_spread(sheets: Sequence[Sheet], sights: Sequence[Sight], layout: Layout, state: State) -> Floats:
    """From the median miss of the start: two coordinates' squares have a median of 2 ln 2."""
    found = []
    for sight, misses in zip(sights, _misses(sheets, sights, layout, state), strict=True):
        middle = float(np.median((misses**2).sum(axis=1) / sight.sigma**2))
        found.append(max(1.0, np.sqrt(middle / (2 * np.log(2)))))
    return np.array(found)


def _spreads(
    sights: Sequence[Sight],
    layout: Layout,
    misses: list[Floats],
    slopes: list[Floats],
    weights: list[Floats],
    spread: Floats,
    covariance: Floats,
) -> Floats:
    found = []
    for v, sight in enumerate(sights):
        scaled = np.sqrt(weights[v]) / sight.sigma
        columns = layout.columns[v][: layout.seen]
        by = (slopes[v] * scaled[:, None, None] / spread[v]).reshape(-1, layout.seen)
        used = float(np.einsum("ni,ij,nj->", by, covariance[np.ix_(columns, columns)], by))
        squares = float(((misses[v] * scaled[:, None]) ** 2).sum())
        free = max(misses[v].size - used, 1.0)
        found.append(max(np.sqrt((_TRUST + squares) / (_TRUST + free)), _LEAST_SHARE))
    return np.array(found)
