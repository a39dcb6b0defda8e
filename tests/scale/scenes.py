"""Made-up jobs and cameras for the tests of scale; poses are known, so the truth is."""

from pathlib import Path

import numpy as np
from PIL import Image

from trimgeo.model.capture import DpiScale, LengthToCheck, OriginPlace, PointsScale, ScalePoint, ViewTable
from trimgeo.model.job import About, BoardTable, Job

EDGE = ((0.0, 0.0), (100.0, 0.0), (100.0, 80.0), (0.0, 80.0))


def job(folder, **view):
    view.setdefault("name", "front")
    view.setdefault("shows", "top")
    board = BoardTable(thickness=1.6, edge=EDGE)
    return Job(job=About(title="scene"), board=board, view=(ViewTable(**view),), folder=Path(folder))


def points(pixels, at):
    listed = [
        ScalePoint(pixel=tuple(map(float, p)), at=tuple(map(float, q)))
        for p, q in zip(pixels, at, strict=True)
    ]
    return PointsScale(points=tuple(listed))


def dpi(value="file"):
    return DpiScale(dpi=value)


def place(origin, along):
    return OriginPlace(origin=tuple(map(float, origin)), along=tuple(map(float, along)))


def check(start, end, length):
    return LengthToCheck(
        **{"from": tuple(map(float, start)), "to": tuple(map(float, end)), "length": float(length)}
    )


def blank(path, size=(400, 300), mode="RGB", **save):
    Image.new(mode, size).save(path, **save)
    return path.name


def camera(tilt, around, focal=3000.0, distance=300.0, size=(4000, 3000)):
    """Board mm to pixels, shape (3, 3): a pinhole camera above (50, 40), tilted (degrees) round an axis."""
    a, b = np.radians([tilt, around])
    x, y, z = np.cos(b), np.sin(b), 0.0
    cross = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
    turn = np.eye(3) + np.sin(a) * cross + (1 - np.cos(a)) * cross @ cross  # Rodrigues
    turn = turn @ np.diag([1.0, -1.0, -1.0])
    shift = np.array([0, 0, distance]) - turn @ np.array([50.0, 40.0, 0.0])
    lens = np.array([[focal, 0, (size[0] - 1) / 2], [0, focal, (size[1] - 1) / 2], [0, 0, 1]])
    return lens @ np.column_stack([turn[:, 0], turn[:, 1], shift])


def seen(matrix, mm):
    """Pixels, shape (n, 2), of board positions."""
    homogeneous = np.column_stack([mm, np.ones(len(mm))]) @ matrix.T
    return homogeneous[:, :2] / homogeneous[:, 2:]
