"""The enclosure in millimetres: cavity and posts from points, circles or drawings."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import shapely

from trimgeo.errors import JobError, NothingThereError
from trimgeo.jobfile.shapefiles import Shape, read_shapes
from trimgeo.jobfile.shapes import around_disc, polygon
from trimgeo.jobfile.words import place
from trimgeo.model.board import Case, Circle, Ring
from trimgeo.model.case import Disc, Post, ShapeFile
from trimgeo.model.job import Job

OWN_LAYERS = ("CASE", "POSTS")
"""The layers of our own drawings that hold cavity and posts."""


LEAST_ROOM = 1.0
"""mm: no board goes where the case is narrower than this all over."""


def case(job: Job) -> Case | None:
    """The enclosure that the job gives, in the board frame, or None.

    Of a drawing the largest shape is the cavity, what lies in it are posts; of our own its layers say so.
    Raises `trimgeo.JobError` where a shape is none, where something stands outside the cavity, and
    where posts or gap fill it.

    >>> from trimgeo.model.case import CaseTable
    >>> from trimgeo.model.job import About, BoardTable
    >>> board = BoardTable(thickness=1.6, edge=((0, 0), (9, 0), (9, 9)))
    >>> post, inside = Disc(at=(5, 5), diameter=6), ((0, 0), (40, 0), (40, 30), (0, 30))
    >>> tray = CaseTable(cavity=inside, gap=0.3, holes=(post,))
    >>> found = case(Job(job=About(title="t"), board=board, case=tray))
    >>> found.gap, len(found.posts), round(found.room.area, 1)
    (0.3, 1, 1171.7)
    """
    given = job.case
    if given is None:
        return None
    where = place(job.source, "[case]", None, "cavity")
    posts: list[Ring] = []
    if isinstance(given.cavity, ShapeFile):
        cavity, posts = _drawn(job, given.cavity, where)
    else:
        cavity = Ring(polygon(np.array(given.cavity), where))
    at_holes = place(job.source, "[case]", None, "holes")
    for post in given.holes:
        posts += _posts(job, post, at_holes)
    found = Case(cavity, tuple(posts), given.gap, given.lid, given.floor)
    if found.room.is_empty:
        raise JobError(
            at_holes, "found posts that fill the whole cavity", "give smaller ones, or a larger cavity"
        )
    if shapely.buffer(found.room, -given.gap - LEAST_ROOM / 2).is_empty:
        raise JobError(
            place(job.source, "[case]", None, "gap"),
            f"found {given.gap:g}, which leaves no room in the cavity",
            "give a smaller gap, or a larger cavity",
        )
    return found


def _drawn(job: Job, given: ShapeFile, where: str) -> tuple[Ring, list[Ring]]:
    """Cavity and posts of a drawing."""
    file = job.folder / given.file
    if given.layer is None:
        own = _if_there(file, OWN_LAYERS[0], where)
        if own:
            return own[0].ring, [shape.ring for shape in _if_there(file, OWN_LAYERS[1], where)]
        # else a drawing of somebody else: all its shapes are judged
    shapes = read_shapes(file, given.layer, where)
    largest = max(shapes, key=lambda shape: shape.ring.polygon.area)
    rest = [shape.ring for shape in shapes if shape is not largest]
    for ring in rest:
        if not shapely.intersects(largest.ring.polygon, ring.polygon):
            raise JobError(
                where,
                f"found {len(shapes)} closed shapes, and not all lie in the largest one",
                "name with `layer` a layer that holds the cavity, and perhaps posts within it",
            )
    return largest.ring, rest


def _if_there(file: Path, layer: str, where: str) -> tuple[Shape, ...]:
    """The shapes of a layer, if the drawing has it: a post that cannot be read is told, not left out."""
    try:
        return read_shapes(file, layer, where)
    except NothingThereError:
        return ()


def _posts(job: Job, post: Post, where: str) -> list[Ring]:
    if isinstance(post, ShapeFile):
        return [shape.ring for shape in read_shapes(job.folder / post.file, post.layer, where)]
    if isinstance(post, Disc):
        circle = Circle((float(post.at[0]), float(post.at[1])), post.diameter / 2)
        return [Ring(around_disc(circle), (circle,))]
    return [Ring(polygon(np.array(post), where))]
