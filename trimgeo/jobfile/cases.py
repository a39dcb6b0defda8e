"""The enclosure in millimetres: cavity and posts from points, circles or drawings."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import shapely

from trimgeo.errors import JobError, NothingThereError
from trimgeo.jobfile.shapefiles import Shape, read_shapes, told_unit
from trimgeo.jobfile.shapes import around_disc, polygon
from trimgeo.jobfile.words import place
from trimgeo.model.board import Case, Circle, Ring
from trimgeo.model.case import Disc, ShapeFile
from trimgeo.model.job import Job

OWN_LAYERS = ("CASE", "POSTS")
"""The layers of our own drawings that hold cavity and posts."""


LEAST_ROOM = 1.0
"""mm: no board goes where the case is narrower than this all over."""

LEAST_CAVITY = 10.0
"""mm: a cavity shorter than this was more likely given in inches: nobody cuts a board for it by hand."""


def case(job: Job) -> Case | None:
    """The enclosure of `case_given` alone."""
    return case_given(job)[0]


def case_given(job: Job) -> tuple[Case | None, tuple[str, ...]]:
    """The enclosure that the job gives, in the board frame, or None; and warnings.

    Of a drawing the largest shape is the cavity, what lies in it are posts; of our own its layers say so.
    Raises `trimgeo.JobError` where a shape is none, where something stands outside the cavity, and
    where posts or gap fill it.

    >>> from trimgeo.model.case import CaseTable
    >>> from trimgeo.model.job import About, BoardTable
    >>> board = BoardTable(thickness=1.6, edge=((0, 0), (9, 0), (9, 9)))
    >>> post, inside = Disc(at=(5, 5), diameter=6), ((0, 0), (40, 0), (40, 30), (0, 30))
    >>> tray = CaseTable(cavity=inside, gap=0.3, holes=(post,))
    >>> found, told = case_given(Job(job=About(title="t"), board=board, case=tray))
    >>> found.gap, len(found.posts), round(found.room.area, 1)
    (0.3, 1, 1171.7)
    """
    given = job.case
    if given is None:
        return None, ()
    where = place(job.source, "[case]", None, "cavity")
    posts: list[Ring] = []
    told: list[str] = []
    if isinstance(given.cavity, ShapeFile):
        first, rest = _drawn(job, given.cavity, where)
        cavity, posts = first.ring, [shape.ring for shape in rest]
        told += told_unit([first], given.cavity.file, "the case's cavity")
    else:
        cavity = Ring(polygon(np.array(given.cavity), where))
    at_holes = place(job.source, "[case]", None, "holes")
    for post in given.holes:
        if isinstance(post, ShapeFile):
            shapes = read_shapes(job.folder / post.file, post.layer, at_holes)
            told += told_unit(shapes, post.file, "what holds the case's posts")
            posts += [shape.ring for shape in shapes]
        else:
            posts.append(_post(post, at_holes))
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
    return found, (*told, *told_case(found))


def told_case(found: Case) -> tuple[str, ...]:
    """Warnings about a case that is likely not the one that is meant.

    >>> tray = Case(Ring(shapely.box(0, 0, 40, 30)), (Ring(shapely.box(499, 499, 501, 501)),), 0.3)
    >>> told_case(tray)
    ('post 1 of the case, at (500, 500), lies outside the cavity and counts for nothing: mend its place',)
    """
    beside = []
    for n, post in enumerate(found.posts, 1):
        if not shapely.intersects(post.polygon, found.cavity.polygon):
            middle = shapely.centroid(post.polygon)
            beside.append(
                f"post {n} of the case, at ({middle.x:g}, {middle.y:g}), lies outside the cavity and "
                "counts for nothing: mend its place"
            )
    return (*told_cavity(found), *beside)


def told_cavity(found: Case | None) -> tuple[str, ...]:
    """A warning where the cavity is so small that it was likely given in inches.

    >>> told_cavity(Case(Ring(shapely.box(0, 0, 2.4, 2.4)), (), 0.0))
    ("the case's cavity is 2.4 x 2.4 mm: lengths are millimetres, 25.4 to an inch",)
    """
    if found is None:
        return ()
    left, low, right, high = found.cavity.polygon.bounds
    if max(right - left, high - low) >= LEAST_CAVITY:
        return ()
    return (
        f"the case's cavity is {right - left:.4g} x {high - low:.4g} mm: lengths are millimetres, "
        "25.4 to an inch",
    )


def _drawn(job: Job, given: ShapeFile, where: str) -> tuple[Shape, list[Shape]]:
    """Cavity and posts of a drawing."""
    file = job.folder / given.file
    if given.layer is None:
        own = _if_there(file, OWN_LAYERS[0], where)
        if own:
            return own[0], list(_if_there(file, OWN_LAYERS[1], where))
        # else a drawing of somebody else: all its shapes are judged
    shapes = read_shapes(file, given.layer, where)
    largest = max(shapes, key=lambda shape: shape.ring.polygon.area)
    rest = [shape for shape in shapes if shape is not largest]
    for shape in rest:
        if not shapely.intersects(largest.ring.polygon, shape.ring.polygon):
            raise JobError(
                where,
                f"found {len(shapes)} closed shapes, and not all lie in the largest one",
                "name with `layer` a layer that holds the cavity, and perhaps posts within it",
            )
    return largest, rest


def _if_there(file: Path, layer: str, where: str) -> tuple[Shape, ...]:
    """The shapes of a layer, if the drawing has it: a post that cannot be read is told, not left out."""
    try:
        return read_shapes(file, layer, where)
    except NothingThereError:
        return ()


def _post(post: Disc | Sequence[tuple[float, float]], where: str) -> Ring:
    if isinstance(post, Disc):
        circle = Circle((float(post.at[0]), float(post.at[1])), post.diameter / 2)
        return Ring(around_disc(circle), (circle,))
    return Ring(polygon(np.array(post), where))
