"""What a job says, in millimetres: the pieces of a `trimgeo.model.board.Board`.

Views must be scaled already; every function takes those that the job's ``on`` may name.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from trimgeo.jobfile.cases import case, case_given, told_cavity
from trimgeo.jobfile.keepouts import described_layers, keepouts
from trimgeo.jobfile.outlines import edge_given, edge_ring, given_outline, outline_given, told_size
from trimgeo.jobfile.positions import marks
from trimgeo.jobfile.shapes import Floats, around_disc, polygon
from trimgeo.jobfile.words import place
from trimgeo.model.board import Circle, FaceName, Hole, Part, Probe, View
from trimgeo.model.job import BoardHole, Job, PartTable, ProbeTable

__all__ = [
    "case",
    "case_given",
    "described_layers",
    "edge_given",
    "edge_ring",
    "given_outline",
    "holes",
    "keepouts",
    "outline_given",
    "parts",
    "probes",
    "told_cavity",
    "told_size",
]


def holes(job: Job, views: Mapping[str, View]) -> tuple[Hole, ...]:
    """Holes of the bare board, in the order of the job.

    >>> from trimgeo.model.job import About, BoardTable
    >>> hole = BoardHole(name="H1", at=(3, 4), diameter=3.2)
    >>> board = BoardTable(thickness=1.6, edge=((0, 0), (9, 0), (9, 9)), holes=(hole,))
    >>> holes(Job(job=About(title="t"), board=board), {})
    (Hole(name='H1', at=(3.0, 4.0), diameter=3.2, plated=True),)
    """
    tables = job.board.holes
    places = _places(job, tables, views, "[[board.holes]]")
    return tuple(
        Hole(table.name, (float(x), float(y)), table.diameter, table.plated)
        for table, (x, y) in zip(tables, places, strict=True)
    )


def probes(job: Job, views: Mapping[str, View]) -> tuple[Probe, ...]:
    """Places to measure, in mm, in the order of the job.

    Raises `trimgeo.JobError` where a pixel lies off its picture.

    >>> from trimgeo.model.job import About, BoardTable
    >>> board = BoardTable(thickness=1.6, edge=((0, 0), (9, 0), (9, 9)))
    >>> table = ProbeTable(name="TP1", at=(3, 4), face="top", rail="3V3")
    >>> probes(Job(job=About(title="t"), board=board, probe=(table,)), {})
    (Probe(name='TP1', at=(3.0, 4.0), face='top', rail='3V3'),)
    """
    tables = job.probe
    places = _places(job, tables, views, "[[probe]]")
    return tuple(
        Probe(table.name, (float(x), float(y)), table.face, table.rail)
        for table, (x, y) in zip(tables, places, strict=True)
    )


def parts(job: Job, views: Mapping[str, View]) -> tuple[Part, ...]:
    """Parts that come off, those that must go first; a circle is a polygon around it.

    A part stands on its ``face``, else on the face that its view shows, else on top.

    Raises `trimgeo.JobError` where a shape is at fault.

    >>> from trimgeo.model.job import About, BoardTable
    >>> board = BoardTable(thickness=1.6, edge=((0, 0), (9, 0), (9, 9)))
    >>> battery = PartTable(name="B1", polygon=((1, 1), (5, 1), (5, 3)), height=4.5)
    >>> (part,) = parts(Job(job=About(title="t"), board=board, lift=(battery,)), {})
    >>> part.face, part.height, part.area.area, part.must_go
    ('top', 4.5, 4.0, True)
    """
    tables = [*(("[[lift]]", each) for each in job.lift), *(("[[part]]", each) for each in job.part)]
    return tuple(_part(job, header, table, views) for header, table in tables)


def _part(job: Job, header: str, table: PartTable, views: Mapping[str, View]) -> Part:
    circle = table.circle
    where = place(job.source, header, table.name, "polygon" if circle is None else "circle")
    points = (circle.at,) if circle else table.polygon or ()
    xy = marks([points], [table.on], views, lambda _: where).xy
    shown = views[table.on].shows if table.on else "top"
    face: FaceName = table.face or ("bottom" if shown == "bottom" else "top")
    area = (
        around_disc(Circle((float(xy[0, 0]), float(xy[0, 1])), circle.diameter / 2))
        if circle
        else polygon(xy, where)
    )
    return Part(table.name, area, face, table.height, must_go=header == "[[lift]]")


def _places(
    job: Job, tables: Sequence[BoardHole | ProbeTable], views: Mapping[str, View], header: str
) -> Floats:
    """Places in mm, shape (k, 2), of entries that have one each."""
    if not tables:
        return np.empty((0, 2))
    return marks(
        [(table.at,) for table in tables],
        [table.on for table in tables],
        views,
        lambda i: place(job.source, header, tables[i].name, "at"),
    ).xy
