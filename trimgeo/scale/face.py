"""The map of the shown face: a plane above the card, seen by an adjusted camera."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trimgeo.model.planemap import PlaneMap
from trimgeo.scale.adjustment import Adjusted
from trimgeo.scale.camera import CAMERA, FOCAL, Camera

Floats = NDArray[np.float64]
Height = float | tuple[tuple[tuple[float, float], float], ...]

_LENS = 8
_SMALL = 1e-3


@dataclass(frozen=True, eq=False)
class Face:
    """Where the shown face lies and how it is written down.

    ``height`` above the card is one, mm, or three (pixel, mm); ``corner`` is the card's nominal lower left
    corner from its middle; ``mirrored`` says that x runs to the viewer's left; ``size`` is the picture's.
    """

    height: Height
    corner: Floats
    mirrored: bool
    size: tuple[int, int]


def face_map(fit: Adjusted, v: int, face: Face) -> tuple[PlaneMap, Floats]:
    """The map of the face in sight v, and the derivative of all that its covariance is of by every parameter.

    Shape (17, p): 9 entries and 8 parameters of the lens.  To first order (GUM 5.2) the map's covariance
    is D C D' with C that of the adjustment, in which lens, pose, scale of the card (bars), its bend and
    the heights of the face are parameters with their own prior uncertainty: whatever the corners do not
    tell of them stays in it.  The bend has no own column: it acts through what it leaves open of lens and
    pose.
    """
    camera, scale = fit.camera(v), fit.scale(v)
    columns = fit.layout.columns[v]
    heights = fit.state.values[columns[fit.layout.seen :]]
    raw = _matrix(camera, scale, heights, face)
    gauge = float(raw[2] @ [(face.size[0] - 1) / 2, (face.size[1] - 1) / 2, 1.0])
    covariance = fit.covariance
    spread = np.sqrt(np.diag(covariance))
    own = [*range(CAMERA + 2), *range(fit.layout.seen, len(columns))]
    slopes = np.zeros((9 + _LENS, fit.layout.count))
    for k in own:
        step = _SMALL * spread[columns[k]]
        ends = [
            _matrix(*_shifted(camera, scale, heights, k, sign * step, fit.layout.seen), face)
            for sign in (1, -1)
        ]
        slopes[:9, columns[k]] = (ends[0] - ends[1]).ravel() / (2 * step * gauge)
    for k in range(_LENS):
        slopes[9 + k, columns[k]] = camera.lens.focal if k == FOCAL else 1.0
    matrix = raw / gauge
    eye = _eye(camera, scale, heights, face)
    return PlaneMap(matrix, slopes @ covariance @ slopes.T, face.size, camera.lens, eye), slopes


def _shifted(
    camera: Camera, scale: Floats, heights: Floats, k: int, step: float, seen: int
) -> tuple[Camera, Floats, Floats]:
    """Camera, scale and heights with one parameter moved."""
    if k < CAMERA:
        return camera.moved(step * np.eye(CAMERA)[k]), scale, heights
    if k < CAMERA + 2:
        return camera, scale + step * np.array([1.0, 1.0 if k == CAMERA else -1.0]), heights
    moved = heights.copy()
    moved[k - seen] += step
    return camera, scale, moved


def _frame(camera: Camera, scale: Floats, heights: Floats, face: Face) -> tuple[Floats, Floats]:
    """Origin, shape (3,), and axes, rows of (3, 3), of the face in the card's frame about its middle.

    The face's x is the card's x laid into its plane; its origin lies straight above the card's corner.
    """
    corner = face.corner * scale
    if not isinstance(face.height, tuple):
        return np.array([*corner, face.height + heights[0]]), np.eye(3)
    pixels = np.array([pixel for pixel, _ in face.height])
    z = np.array([mm for _, mm in face.height]) + heights
    rays = _rays(camera, pixels)
    eye = camera.eye
    places = eye + rays * ((z - eye[2]) / rays[:, 2])[:, None]
    up = np.cross(places[1] - places[0], places[2] - places[0])
    up *= np.sign(up[2]) / np.linalg.norm(up)
    along = np.array([1.0, 0, 0]) - up[0] * up
    along /= np.linalg.norm(along)
    over = places[0, 2] - (up[:2] @ (corner - places[0, :2])) / up[2]
    return np.array([*corner, over]), np.array([along, np.cross(up, along), up])


def _rays(camera: Camera, pixels: Floats) -> Floats:
    """Directions in the card's frame, shape (n, 3)."""
    centre = np.array(camera.lens.centre)
    square = centre + (pixels - centre) @ np.linalg.inv(camera.pixel_shape).T
    ideal = (camera.lens.ideal(square) - centre) / camera.lens.focal
    return np.asarray(np.column_stack([ideal, np.ones(len(ideal))]) @ camera.turn)


def _matrix(camera: Camera, scale: Floats, heights: Floats, face: Face) -> Floats:
    """Ideal pixel to the face's mm, shape (3, 3).

    The pixels' shape, which comes after the lens, is taken before it: they differ by its bend x 1e-4.
    """
    origin, axes = _frame(camera, scale, heights, face)
    centre, shape = np.array(camera.lens.centre), camera.pixel_shape
    inner = np.eye(3)
    inner[:2, :2] = camera.lens.focal * shape
    inner[:2, 2] = centre
    sign = np.array([-1.0 if face.mirrored else 1.0, 1.0])[:, None]
    board = np.vstack([sign * axes[:2], origin]) @ camera.turn.T
    board[2] += camera.shift
    return np.asarray(np.linalg.inv(inner @ board.T))


def _eye(camera: Camera, scale: Floats, heights: Floats, face: Face) -> tuple[float, float, float]:
    origin, axes = _frame(camera, scale, heights, face)
    x, y, z = axes @ (camera.eye - origin)
    return (float(-x if face.mirrored else x), float(y), float(z))
