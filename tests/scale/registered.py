"""Two made-up pictures of one board, of known cameras: points and holes that both show, read by chance.

Written without any code from `scale`, but for the map of the other view: fitted to points as in a job.
"""

from dataclasses import dataclass

import numpy as np

from trimgeo.model.planemap import PlaneMap
from trimgeo.scale.fit import fit_points

SIZE = (4000, 3000)
CORNERS = np.array([[4, 4], [146, 5], [145, 91], [5, 90], [77, 47], [30, 70.0]])
GRID = np.stack(np.meshgrid(np.linspace(0, 150, 7), np.linspace(0, 95, 5)), axis=-1).reshape(-1, 2)


def camera(random, tilt, mirrored=False, focal=3000.0, distance=330.0):
    """Board mm to pixels, shape (3, 3): a pinhole above (75, 47), tilted round an axis by chance."""
    around, roll = random.uniform(0, 2 * np.pi), random.uniform(-0.3, 0.3)
    axis, a = np.array([np.cos(around), np.sin(around), 0]), np.radians(tilt)
    cross = np.array([[0, 0, axis[1]], [0, 0, -axis[0]], [-axis[1], axis[0], 0]])
    turn = np.eye(3) + np.sin(a) * cross + (1 - np.cos(a)) * cross @ cross  # Rodrigues
    c, s = np.cos(roll), np.sin(roll)
    sides = [-1.0, -1.0, 1.0] if mirrored else [1.0, -1.0, -1.0]
    turn = turn @ np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]]) @ np.diag(sides)
    shift = np.array([0, 0, distance]) - turn @ np.array([75.0, 47.0, 0.0])
    lens = np.array([[focal, 0, 1999.5], [0, focal, 1499.5], [0, 0, 1]])
    return lens @ np.column_stack([turn[:, 0], turn[:, 1], shift])


def scanner(random, density=600 / 25.4, mirrored=False):
    """Board mm to pixels of a flatbed: turned by up to 3 degrees."""
    a = random.uniform(-0.05, 0.05)
    turn = density * np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
    turn = turn @ np.diag([-1.0 if mirrored else 1.0, -1.0])
    return np.vstack([np.column_stack([turn, [1999.5, 1499.5] - turn @ [75, 47]]), [0, 0, 1]])


def seen(matrix, mm):
    """Pixels, shape (n, 2), of board positions."""
    homogeneous = np.column_stack([mm, np.ones(len(mm))]) @ matrix.T
    return homogeneous[:, :2] / homogeneous[:, 2:]


def scaled_by_points(random, matrix, mirrored=False, count=9):
    """The map of the other view as a job has it: fitted to points that were read and measured by chance."""
    at = np.vstack([CORNERS[:4], random.uniform([5, 5], [145, 90], (count - 4, 2))])
    pixels = seen(matrix, at) + random.normal(0, 0.5, at.shape)
    measured = at + random.normal(0, 0.03, at.shape)
    return fit_points(pixels, measured, SIZE, turned_over=mirrored).to_board


def headers(rows):
    """Pin headers of 2 x 20 at 2.54 mm (common practice), from the corners given, shape (n, 2)."""
    grid = np.stack(np.meshgrid(np.arange(20) * 2.54, np.arange(2) * 2.54), axis=-1).reshape(-1, 2)
    return np.vstack([corner + grid for corner in rows])


def drilled(random, count=60, with_headers=True):
    """Holes of a board, mm: vias and mounting holes by chance, at least 0.9 mm apart, and two headers."""
    rows = headers([[20, 10], [60, 80.0]]) if with_headers else np.zeros((0, 2))
    holes, made = np.vstack([rows, np.zeros((count, 2))]), len(rows)
    while made < len(holes):
        at = random.uniform([3, 3], [147, 92])
        if (np.hypot(*(holes[:made] - at).T) > 0.9).all():
            holes[made], made = at, made + 1
    return holes, np.where(np.arange(len(holes)) < 80 * with_headers, 1.0, 0.4)


@dataclass
class Found:
    """A list as a hole finder gives it: pixels, standard uncertainties, diameters in mm."""

    pixels: np.ndarray
    sd: np.ndarray
    diameters: np.ndarray
    which: np.ndarray  # number of the true hole, -1 for a false one


def found(random, matrix, holes, diameters, keep=0.7, false=0.3, noise=0.1, apart=0.025):
    """The holes found in a picture: some lack, ``false`` of the list are none, in any order."""
    kept = np.flatnonzero(random.uniform(size=len(holes)) < keep)
    extra = round(len(kept) * false / (1 - false))
    at = holes[kept] + random.normal(0, apart, (len(kept), 2))
    at = np.vstack([at, random.uniform([3, 3], [147, 92], (extra, 2))])
    sizes = np.concatenate([diameters[kept], random.choice([0.4, 1.0], extra)])
    pixels = seen(matrix, at) + random.normal(0, noise, at.shape)
    order = random.permutation(len(at))
    which = np.concatenate([kept, np.full(extra, -1)])
    return Found(pixels[order], np.full(len(at), noise), sizes[order], which[order])


def greatest_error(to_board: PlaneMap, matrix, places=GRID):
    """mm: the greatest error of a map over the board; and the bound's places in pixels."""
    pixels = seen(matrix, places)
    return float(np.hypot(*(to_board.to_mm(pixels) - places).T).max()), pixels
