"""One random job through the package and through the brute force: whatever differs, in words."""

import importlib.util
from pathlib import Path

import numpy as np
import shapely

from trimgeo.cutting.clearance import rows
from trimgeo.cutting.exposure import severed
from trimgeo.model.board import Keepout
from trimgeo.model.job import Placing


def _beside(name):
    spec = importlib.util.spec_from_file_location(name, Path(__file__).with_name(f"{name}.py"))
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


brute_force, random_jobs = _beside("brute_force"), _beside("random_jobs")

PROMISED = 1e-9
"""mm, the project's own promise."""


def differences(seed):
    """(number of keep-outs compared, list of sentences)."""
    rng = np.random.default_rng(seed + 1_000_000)
    board, finished, new_sides, shapes = random_jobs.random_job(seed)
    keepouts = [_keepout(n, shape, board, rng) for n, shape in enumerate(shapes)]
    new_edges = [shapely.LineString(side) for side in new_sides]
    wander, sanding = rng.uniform(0, 1, 2)
    placing = Placing(print=rng.uniform(0, 0.3), taping=rng.uniform(0, 0.3), finish=rng.uniform(0, 0.3))
    found = rows(
        keepouts, shapely.Polygon(finished), new_edges, shapely.Polygon(board), wander, sanding, placing
    )
    cut = {one.name: one for one in severed(keepouts, new_edges)}
    tops = brute_force.summits(board, finished)
    wrong = []
    for keepout, shape, row in zip(keepouts, shapes, found, strict=True):
        nominal = brute_force.nominal(shape, board, finished, new_sides, tops)
        parts = placing.print, placing.taping, placing.finish, keepout.uncertainty
        allowance = max(0.0, wander - sanding) + 2 * np.sqrt(np.sum(np.square(parts)))
        wrong += [
            f"job {seed}, {keepout.name}, {shape}: {text}"
            for text in (
                *_row_wrong(row, keepout, nominal, allowance),
                *_place_wrong(row, shape, board, finished, new_sides),
                *_cut_wrong(cut.get(keepout.name), shape, new_sides),
            )
        ]
    return len(shapes), wrong


def _keepout(n, shape, board, rng):
    spine = {
        "polygon": lambda: shapely.Polygon(shape[1]),
        "circle": lambda: shapely.Point(shape[1]),
        "path": lambda: shapely.LineString(shape[1]),
    }[shape[0]]()
    radius = 0.0 if shape[0] == "polygon" else float(shape[2])
    return Keepout(
        f"K{n}",
        "trace",
        spine,
        radius,
        (1,),
        None,
        rng.uniform(0, 3),
        "",
        may_cut=bool(rng.random() < 0.2),
        uncertainty=rng.uniform(0, 0.3),
        on_board=brute_force.on_board(shape, board) and bool(rng.random() < 0.8),
    )


def _row_wrong(row, keepout, nominal, allowance):
    if (row.nominal is None) != (nominal is None):
        yield f"nominal {row.nominal}, brute force {nominal}"
        return
    expected = "clear"
    if nominal is not None:
        if abs(row.nominal - nominal) > PROMISED:
            yield f"nominal {row.nominal}, brute force {nominal}"
        if abs(row.worst - (nominal - allowance)) > 2 * PROMISED:
            yield f"worst {row.worst}, brute force {nominal - allowance}"
        if not keepout.may_cut and nominal - allowance < keepout.required:
            expected = "tight" if nominal >= keepout.required else "breached"
    if row.state != expected:
        yield f"state {row.state}, brute force {expected}"


def _place_wrong(row, shape, board, finished, new_sides):
    if row.at is None:
        return
    at = np.array([row.at])
    if (
        not brute_force.in_shape(at, shape, 1e-8)[0]
        or not brute_force.in_shape(at, ("polygon", board), 1e-8)[0]
    ):
        yield f"{row.at} is not on the keep-out and the board"
    sides = brute_force.sides_of(finished) if row.nominal < 0 else new_sides
    if abs(brute_force.gap(at, sides).min() - abs(row.nominal)) > 1e-8:
        yield f"{row.at} is not at {row.nominal}"
    if row.nominal < 0 and brute_force.in_polygon(at, finished)[0]:
        yield f"{row.at} is not outside"


def _cut_wrong(found, shape, new_sides):
    cut, points = brute_force.crossings(shape, new_sides)
    if cut != (found is not None):
        yield f"severed {found}, brute force {cut}"
    elif cut:
        apart = np.linalg.norm(np.array(found.at)[:, None] - points, axis=2)
        if apart.min(axis=0).max() > 1e-7 or apart.min(axis=1).max() > 1e-7:
            yield f"crossings {found.at}, brute force {points.tolist()}"
