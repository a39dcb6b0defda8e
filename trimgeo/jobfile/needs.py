"""Tables that a command cannot do without."""

from __future__ import annotations

from typing import Literal, overload

from trimgeo.errors import JobError
from trimgeo.jobfile.words import place
from trimgeo.model.job import Cutter, Finish, Job, OutlineTable

_EXAMPLES = {
    "cutter": 'a [cutter] table, such as kind = "wheel", kerf = 1.0 and diameter = 38',
    "finish": "a [finish] table, such as sanding = 0.3",
    "outline": 'an [outline] table, such as build = "smallest" or points = [[0, 0], [50, 0], [50, 40]]',
}


@overload
def need(job: Job, table: Literal["cutter"]) -> Cutter: ...
@overload
def need(job: Job, table: Literal["finish"]) -> Finish: ...
@overload
def need(job: Job, table: Literal["outline"]) -> OutlineTable: ...
def need(job: Job, table: Literal["cutter", "finish", "outline"]) -> Cutter | Finish | OutlineTable:
    """The table, which must be there.

    Raises `trimgeo.JobError` with an example of what to add where the job has none.

    >>> from trimgeo.model.job import About, BoardTable
    >>> square = BoardTable(thickness=1.6, edge=((0, 0), (1, 0), (1, 1)))
    >>> need(Job(job=About(title="t"), board=square, finish=Finish(sanding=0.3)), "finish").sanding
    0.3
    """
    found: Cutter | Finish | OutlineTable | None = getattr(job, table)
    if found is None:
        raise JobError(job.source, f"found no [{table}]", f"add {_EXAMPLES[table]}")
    return found


def need_case(job: Job) -> None:
    """The enclosure, without which the fewest cuts would be none at all.

    Raises `trimgeo.JobError` where the job asks for the fewest cuts and has no [case].

    >>> from trimgeo.model.job import About, BoardTable
    >>> square = BoardTable(thickness=1.6, edge=((0, 0), (1, 0), (1, 1)))
    >>> line = OutlineTable(build="fewest")
    >>> need_case(Job(job=About(title="t"), board=square, outline=line))  # doctest: +ELLIPSIS
    Traceback (most recent call last):
    trimgeo.errors.JobError: job.toml, [outline], build: found "fewest" without a [case]; add a [case] ...
    """
    if job.outline is None or job.outline.build != "fewest" or job.case is not None:
        return
    raise JobError(
        place(job.source, "[outline]", None, "build"),
        'found "fewest" without a [case]',
        'add a [case] with its cavity and gap, or use "smallest"',
    )


def need_to_cut(job: Job) -> Cutter:
    """The cutter, where it is to be known how it cuts and not only how wide.

    Raises `trimgeo.JobError` where the job has none, and for a wheel whose radius is not known, or too small
    to pass the far face of the board.

    >>> from trimgeo.model.job import About, BoardTable
    >>> square, bit = BoardTable(thickness=1.6, edge=((0, 0), (1, 0), (1, 1))), Cutter(kind="bit", kerf=2.0)
    >>> need_to_cut(Job(job=About(title="t"), board=square, cutter=bit)).kind
    'bit'
    """
    wheel = need(job, "cutter")
    if wheel.kind != "wheel":
        return wheel
    where = place(job.source, "[cutter]", None, "diameter")
    if wheel.diameter is None:
        raise JobError(where, "found a wheel without its diameter", "add it in mm, such as diameter = 38")
    thickness, beyond = job.board.thickness, wheel.breakthrough
    least = 2 * (thickness + beyond)
    if wheel.diameter < least:
        raise JobError(
            where,
            f"found {wheel.diameter:g} mm, and this cannot pass {beyond:g} mm beyond {thickness:g} mm",
            f"use a wheel of at least {least:g} mm, or a smaller breakthrough",
        )
    return wheel
